"""Animals in the hospital, and what is due for each today."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from handover.boards.places import here
from handover.plans.outlook import Due, Outlook
from hospital.admissions.models import Patient
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import last_dose_at
from hospital.rules.dosetimes import nth_dose_at

ASKED_FOR_DAYS = 2  # after the last dose of a course


@dataclass(frozen=True, slots=True)
class Dose:
    """A medicine that falls due today; `at` may lie on an earlier day when nothing was written down since."""

    order: MedicationOrder
    at: datetime
    is_late: bool


@dataclass(frozen=True, slots=True)
class Ward:
    """An animal in the hospital, and what is due for it today."""

    patient: Patient
    place: str
    due: tuple[Due, ...]
    doses: tuple[Dose, ...]

    @property
    def has_something(self) -> bool:
        return bool(self.due or self.doses)


def in_the_ward(known: Mapping[int, Outlook], at: datetime, today: date) -> list[Ward]:
    """Animals that live in the hospital; those with something due first, by their place."""
    inside = [outlook for outlook in known.values() if not (here(outlook.patient) and here(outlook.patient).carer_id)]
    written = _written_down([outlook.patient for outlook in inside])
    found = [_ward(outlook, written, at, today) for outlook in inside]
    return sorted(found, key=lambda each: (not each.has_something, each.place, each.patient.case_number))


def _written_down(patients: list[Patient]) -> dict[int, int]:
    """By order: how many doses are given, refused or missed."""
    count: dict[int, int] = defaultdict(int)
    for order_id in DoseGiven.objects.filter(patient__in=patients).values_list("order_id", flat=True):
        count[order_id] += 1
    return count


def _ward(outlook: Outlook, written: Mapping[int, int], at: datetime, today: date) -> Ward:
    placement, zone = here(outlook.patient), outlook.patient.hospital.zone
    orders = (order for order in outlook.patient.medication_orders.all() if _is_still_given(order, zone, at))
    doses = [dose for order in orders if (dose := _dose(order, written[order.pk], zone, at, today))]
    return Ward(
        patient=outlook.patient,
        place=placement.ward if placement else "",
        due=tuple(due for due in outlook.due if due.on <= today),
        doses=tuple(sorted(doses, key=lambda each: each.at)),
    )


def _is_still_given(order: MedicationOrder, zone: str, at: datetime) -> bool:
    """Not stopped; doses that nobody wrote down are asked for until a little after the last one."""
    return order.stopped_on is None and last_dose_at(order, zone) > at - timedelta(days=ASKED_FOR_DAYS)


def _dose(order: MedicationOrder, written: int, zone: str, at: datetime, today: date) -> Dose | None:
    if written >= order.doses:
        return None
    due_at = nth_dose_at(order.first_dose_at.astimezone(ZoneInfo(zone)), order.every_hours, written)
    return Dose(order, due_at, is_late=due_at <= at) if due_at.date() <= today else None
