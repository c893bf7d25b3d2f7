"""The promised days at the clinic that are still to come: asked for by the hospital's side, which never imports this one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from handover.plans.models import CurrentPlan, PlannedDate
from handover.schedule.problem import CLINIC
from hospital.admissions.models import Patient


def visit_days(patients: Iterable[Patient], today: date) -> dict[int, tuple[date, ...]]:
    """By patient: the days on which its plan in force asks for it at the clinic, from today on."""
    rows = PlannedDate.objects.filter(patient__in=list(patients), place=CLINIC, done_on=None, on__gte=today)
    in_force = rows.filter(plan__in=CurrentPlan.objects.values("plan"))
    days: dict[int, set[date]] = defaultdict(set)
    for key, on in in_force.values_list("patient_id", "on"):
        days[key].add(on)
    return {key: tuple(sorted(found)) for key, found in days.items()}
