"""The one list of handover's tables."""

from handover.duty.models import DutyRules, DutyTurn, PassedOn
from handover.feeds.models import Feed
from handover.logs.models import LogEntry, LogPhoto, LogSeen
from handover.packs.models import AnimalCode, Pack
from handover.plans.models import CurrentPlan, Hold, Pin, Plan, PlannedDate, PlanRead, Proposal, RuleChoice, WaterDecision
from handover.protocols.models import Adoption, Advice, LibraryRow
from handover.questions.models import Message, Question
from handover.releases.models import CriterionFinding, GoAhead, ReleaseDay

__all__ = [
    "Adoption", "Advice", "AnimalCode", "CriterionFinding", "CurrentPlan", "DutyRules", "DutyTurn", "Feed", "GoAhead", "Hold",
    "LibraryRow", "LogEntry", "LogPhoto", "LogSeen", "Message", "Pack", "PassedOn", "Pin", "Plan", "PlanRead", "PlannedDate",
    "Proposal", "Question", "ReleaseDay", "RuleChoice", "WaterDecision",
]
