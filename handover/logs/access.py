"""Who may send a report: staff, the carer who has the animal, and the carer who had it when the report was written."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import wraps

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from hospital.admissions.models import Patient, Placement
from hospital.people.models import EVERYONE, STAFF, Person


class DayConverter:
    """A day in an address, as ISO 8601 writes it; one that no calendar has is a 404."""

    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date) -> str:
        return value.isoformat()


def is_staff_for(person: Person, patient: Patient) -> bool:
    return person.memberships.filter(hospital=patient.hospital_id, role__in=STAFF).exists()


def for_reporter(view: Callable) -> Callable:
    """The view gets `patient` and `is_here`: whether the person may see the animal now. Anybody else's animal is a 404.

    A report may reach us after the animal has left the carer, so one who ever had it may still send.
    """

    @wraps(view)
    def guarded(request: HttpRequest, case_number: str, *args, **kwargs) -> HttpResponse:
        patients = Patient.objects.select_related("species__group", "hospital")
        seen = patients.visible_to(request.user)
        held = patients.filter(pk__in=Placement.objects.filter(carer__person=request.user).values("patient"))
        patient = seen.filter(case_number=case_number).first()
        if patient is not None:
            return view(request, patient, True, *args, **kwargs)
        return view(request, get_object_or_404(held, case_number=case_number), False, *args, **kwargs)

    guarded.allowed_roles = frozenset(EVERYONE)
    return guarded
