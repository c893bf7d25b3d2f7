"""Lists of the animals in care that a person chose in the address."""

from __future__ import annotations

from django.http import HttpRequest

from handover.releases.forms import ListForm
from hospital.admissions.models import Patient, PatientQuerySet
from hospital.admissions.queries import living_at, matching
from hospital.people.models import Carer


def chosen(request: HttpRequest) -> tuple[ListForm, PatientQuerySet]:
    """The filter of a list, read from the address, and the animals in care here that it leaves."""
    carers = Carer.objects.at(request.hospital).filter(is_active=True).select_related("person").order_by("person__name")
    form = ListForm(request.GET, carers=list(carers))
    patients = Patient.objects.visible_to(request.user).at(request.hospital).in_care()
    patients = matching(living_at(patients, request.GET.get("where", "")), request.GET.get("words", "")[:80])
    seen = patients.select_related("hospital", "species__group", "cause")
    return form, seen.prefetch_related("placements__carer__person").order_by("pk")
