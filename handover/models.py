"""The one list of handover's tables."""

from handover.feeds.models import Feed
from handover.logs.models import LogEntry, LogPhoto, LogSeen
from handover.packs.models import AnimalCode, Pack
from handover.plans.models import CurrentPlan, Hold, Pin, Plan, PlannedDate, PlanRead, Proposal, RuleChoice, WaterDecision
from handover.protocols.models import Adoption, Advice, LibraryRow
from handover.releases.models import CriterionFinding, GoAhead, ReleaseDay

__all__ = [
    "Adoption", "Advice", "AnimalCode", "CriterionFinding", "CurrentPlan", "Feed", "GoAhead", "Hold", "LibraryRow", "LogEntry",
    "LogPhoto", "LogSeen", "Pack", "Pin", "Plan", "PlanRead", "PlannedDate", "Proposal", "ReleaseDay", "RuleChoice", "WaterDecision",
]
