"""Views of one patient: found through the person, refused by role."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls.converters import StringConverter

from hospital.admissions.models import Patient
from hospital.people.models import Role
from hospital.rules import casenumbers


class CaseNumberConverter(StringConverter):
    """A case number in an address; one that cannot exist is a 404."""

    regex = "[0-9A-Za-z]{5,9}"

    def to_python(self, value: str) -> str:
        casenumbers.sequence_of(value)
        return value.upper()


def for_patient(*roles: Role) -> Callable:
    """The view gets `patient` instead of a case number. Somebody else's patient is a 404; the wrong role is a 403.

    A role counts at the patient's own hospital; a carer is a carer of the animals placed with them.
    """

    def decorate(view: Callable) -> Callable:
        @wraps(view)
        def guarded(request: HttpRequest, case_number: str, *args, **kwargs) -> HttpResponse:
            seen = Patient.objects.visible_to(request.user).select_related("species__group", "hospital", "cause")
            patient = get_object_or_404(seen, case_number=case_number)
            held = set(request.user.memberships.filter(hospital=patient.hospital_id).values_list("role", flat=True))
            if not held & set(roles):
                raise PermissionDenied
            return view(request, patient, *args, **kwargs)

        guarded.allowed_roles = frozenset(roles)
        guarded.takes_patient = True
        return guarded

    return decorate
