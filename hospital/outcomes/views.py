"""Pages for the end of a case."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.outcomes import actions
from hospital.outcomes.forms import OutcomeForm, ReopenForm
from hospital.outcomes.queries import distance_m
from hospital.pages import done, show, status_of
from hospital.people.models import Role


@for_patient(Role.VET, Role.NURSE, Role.COORDINATOR)
def record(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Record how the case ended: a form, a page to check what was written, then it is saved."""
    if patient.closed_on:
        return redirect("chart:patient", patient.case_number)
    asked = {name: request.GET.get(name) for name in ("kind", "place", "reason")}
    fresh = {"happened_on": today(), "decided_by": request.user.pk, **asked}
    form = OutcomeForm(request.POST or None, patient=patient, initial=fresh)
    if "change" in request.POST:
        form = OutcomeForm(initial=request.POST.dict(), patient=patient)
    if "confirmed" in request.POST and done(form, actions.record_outcome, patient, by=request.user):
        messages.success(request, _("Saved. The case is closed."))
        return redirect("chart:patient", patient.case_number)
    if "confirmed" not in request.POST and form.is_bound and form.is_valid():
        return _check(request, patient, form)
    context = {"patient": patient, "form": form, "centre": _centre(patient)}
    return show(request, "outcomes/record.html", context, part="outcomes/_form.html", status=status_of(form))


def _centre(patient: Patient) -> str:
    """Where the map begins: where the animal was found, or the hospital."""
    if patient.found_latitude is not None:
        return f"{patient.found_latitude},{patient.found_longitude}"
    return f"{patient.hospital.latitude},{patient.hospital.longitude}"


def _check(request: HttpRequest, patient: Patient, form: OutcomeForm) -> HttpResponse:
    """What was written, to be read once more before it closes the case."""
    point = form.cleaned_data["latitude"], form.cleaned_data["longitude"]
    context = {
        "patient": patient,
        "form": form,
        "outcome": form.instance,
        "distance_m": distance_m(patient, *point),
    }
    return show(request, "outcomes/check.html", context)


@for_patient(Role.VET, Role.COORDINATOR)
def reopen(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Open a closed case again, with a reason."""
    form = ReopenForm(request.POST or None)
    if done(form, actions.reopen, patient, by=request.user):
        messages.success(request, _("The case is open again. Say where the animal lives now."))
        return redirect("chart:patient", patient.case_number)
    context = {"patient": patient, "form": form}
    return show(
        request, "outcomes/reopen.html", context, part="outcomes/_reopen_form.html", status=status_of(form)
    )
