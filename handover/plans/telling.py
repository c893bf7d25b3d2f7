"""The button by which a carer says that a new plan is read, or the hospital that they were told."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from handover.plans.news import say_known
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.pages import pressed
from hospital.people.models import STAFF, Role


@require_POST
@for_patient(Role.CARER, *STAFF)
def known(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The days of the plan that was shown are known where the animal lives."""
    seen_plan = request.POST.get("seen_plan", "")
    if pressed(request, say_known, patient, by=request.user, seen_plan=int(seen_plan) if seen_plan.isdecimal() else 0):
        messages.success(request, _("Noted: the new days are known."))
    is_staff = request.user.memberships.filter(hospital=patient.hospital_id, role__in=STAFF).exists()
    return redirect("plans:plan" if is_staff else "logs:day", patient.case_number)
