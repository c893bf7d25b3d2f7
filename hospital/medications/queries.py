"""Courses that run now, and doses that were given."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from hospital.admissions.models import Patient, Weight
from hospital.medications.models import MedicationOrder
from hospital.people.models import CLINICAL, Person
from hospital.rules.dosetimes import nth_dose_at
from hospital.rules.weights import has_changed


def orders_of(patient: Patient) -> QuerySet[MedicationOrder]:
    """Every course with the doses written down, who ordered it, and the patient's hospital: two queries."""
    return patient.medication_orders.select_related("ordered_by", "checked_by").prefetch_related(
        "doses_given"
    )


def last_dose_at(order: MedicationOrder, zone: str) -> datetime:
    """The planned moment of the last dose, in the hospital's zone."""
    return nth_dose_at(order.first_dose_at.astimezone(ZoneInfo(zone)), order.every_hours, order.doses - 1)


def ends_on(order: MedicationOrder, zone: str) -> date:
    """The last day on which the course is given: the day it was stopped, or that of its last dose."""
    return order.stopped_on or last_dose_at(order, zone).date()


def is_running(order: MedicationOrder, today: date, zone: str) -> bool:
    """Whether doses may still be due: not stopped, and the day of the last dose is not over."""
    return order.stopped_on is None and last_dose_at(order, zone).date() >= today


def next_dose_at(order: MedicationOrder, zone: str) -> datetime | None:
    """When the next dose falls due: the first planned one that nothing was written down for. None when all are."""
    written = len(order.doses_given.all())
    if written >= order.doses:
        return None
    return nth_dose_at(order.first_dose_at.astimezone(ZoneInfo(zone)), order.every_hours, written)


def needs_new_weight(order: MedicationOrder, latest_g: Decimal | None) -> bool:
    """Whether the animal's weight has moved by more than 10 % since the dose was worked out."""
    return latest_g is not None and has_changed(order.weight_g, latest_g)


def recent_weights(patient: Patient) -> list[Weight]:
    """The newest weight and the one before it."""
    return list(patient.weights.order_by("-weighed_at", "-pk")[:2])


def clinical_colleagues(patient: Patient, of: Person) -> QuerySet[Person]:
    """The other vets and nurses of the patient's hospital."""
    theirs = {"memberships__hospital": patient.hospital_id, "memberships__role__in": CLINICAL}
    return Person.objects.filter(is_active=True, **theirs).exclude(pk=of.pk).distinct().order_by("name")
