"""What an outcome must agree with: the last things recorded, who may decide, where it was found."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import Max, QuerySet
from geographiclib.geodesic import Geodesic

from hospital.admissions.models import Patient
from hospital.people.models import STAFF, Person


def staff_of(patient: Patient) -> QuerySet[Person]:
    """The people of the patient's hospital who may decide on an outcome, by name."""
    theirs = {"memberships__hospital": patient.hospital_id, "memberships__role__in": STAFF}
    return Person.objects.filter(is_active=True, **theirs).distinct().order_by("name")


def last_recorded_on(patient: Patient) -> date | None:
    """The latest day on which something was recorded as done to the living animal, where the hospital is."""
    zone = ZoneInfo(patient.hospital.zone)
    days = [
        patient.procedures.aggregate(on=Max("done_on"))["on"],
        patient.examinations.aggregate(on=Max("examined_on"))["on"],
        patient.milestones.aggregate(on=Max("happened_on"))["on"],
    ]
    moments = [
        patient.placements.aggregate(at=Max("started_at"))["at"],
        patient.weights.aggregate(at=Max("weighed_at"))["at"],
        patient.doses_given.aggregate(at=Max("given_at"))["at"],
    ]
    days += [moment.astimezone(zone).date() for moment in moments if moment]
    return max((day for day in days if day), default=None)


def distance_m(patient: Patient, latitude: Decimal | None, longitude: Decimal | None) -> int | None:
    """Metres on the WGS 84 ellipsoid from where the animal was found; None while one of the places is not known."""
    ends = (patient.found_latitude, patient.found_longitude, latitude, longitude)
    if any(each is None for each in ends):
        return None
    return round(Geodesic.WGS84.Inverse(*map(float, ends), Geodesic.DISTANCE)["s12"])
