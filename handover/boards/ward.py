"""Animals in the hospital, and what is due for each today."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import prefetch_related_objects

from handover.boards.places import here
from handover.plans.outlook import Due, Outlook
from hospital.admissions.models import Patient
from hospital.medications.models import MedicationOrder
from hospital.medications.queries import last_dose_at, next_dose_at

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
    prefetch_related_objects([outlook.patient for outlook in inside], "medication_orders__doses_given")
    found = [_ward(outlook, at, today) for outlook in inside]
    return sorted(found, key=lambda each: (not each.has_something, each.place, each.patient.case_number))


def _ward(outlook: Outlook, at: datetime, today: date) -> Ward:
    placement, zone = here(outlook.patient), outlook.patient.hospital.zone
    orders = (order for order in outlook.patient.medication_orders.all() if _is_still_given(order, zone, at))
    doses = [dose for order in orders if (dose := _dose(order, zone, at, today))]
    return Ward(
        patient=outlook.patient,
        place=placement.ward if placement else "",
        due=tuple(due for due in outlook.due if due.on <= today),
        doses=tuple(sorted(doses, key=lambda each: each.at)),
    )


def _is_still_given(order: MedicationOrder, zone: str, at: datetime) -> bool:
    """Not stopped; doses that nobody wrote down are asked for until a little after the last one."""
    return order.stopped_on is None and last_dose_at(order, zone) > at - timedelta(days=ASKED_FOR_DAYS)


def _dose(order: MedicationOrder, zone: str, at: datetime, today: date) -> Dose | None:
    due_at = next_dose_at(order, zone)
    return Dose(order, due_at, is_late=due_at <= at) if due_at and due_at.date() <= today else None
