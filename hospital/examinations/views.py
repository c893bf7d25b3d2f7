"""Pages for examinations and rechecks."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.examinations import actions
from hospital.examinations.forms import EditExaminationForm, ExaminationForm, RecheckForm
from hospital.examinations.models import Examination
from hospital.examinations.wording import alarm_line
from hospital.pages import both_versions, done, show, status_of
from hospital.people.models import Role


@for_patient(Role.VET, Role.NURSE)
def add(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Record an examination; `?kind=` chooses which. A recheck has a page of its own."""
    kind = request.GET.get("kind", Examination.Kind.OTHER)
    if kind == Examination.Kind.RECHECK:
        return redirect("examinations:recheck", patient.case_number)
    form = ExaminationForm(request.POST or None, initial={"kind": kind})
    if done(form, actions.record_examination, patient, by=request.user):
        messages.success(request, _("Examination saved."))
        return redirect("chart:patient", patient.case_number)
    context = {"patient": patient, "form": form, "alarm_line": alarm_line(patient)}
    return show(
        request, "examinations/add.html", context, part="examinations/_form.html", status=status_of(form)
    )


@for_patient(Role.VET, Role.NURSE)
def recheck(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Record a recheck and what was done at it; then the plan is looked at again."""
    form = RecheckForm(request.POST or None, patient=patient)
    if done(form, actions.record_recheck, patient, by=request.user):
        messages.success(request, _("Recheck saved. Now look at the plan: what has changed follows from it."))
        return redirect("plans:replan", patient.case_number)
    context = {"patient": patient, "form": form, "alarm_line": alarm_line(patient)}
    return show(
        request,
        "examinations/recheck.html",
        context,
        part="examinations/_recheck_form.html",
        status=status_of(form),
    )


@for_patient(Role.VET, Role.NURSE)
def edit(request: HttpRequest, patient: Patient, examination_id: int) -> HttpResponse:
    """Correct an examination."""
    examination = get_object_or_404(patient.examinations, pk=examination_id)
    fresh = {"seen_version": examination.version}
    form = EditExaminationForm(request.POST or None, instance=examination, initial=fresh)
    if done(form, partial(actions.edit_examination, by=request.user), examination):
        messages.success(request, _("Changed. Look at the care plan: its dates may follow."))
        return redirect("chart:patient", patient.case_number)
    versions = both_versions(form) if hasattr(form, "collision") else None
    context = {"patient": patient, "form": form, "versions": versions}
    return show(
        request, "examinations/edit.html", context, part="examinations/_form.html", status=status_of(form)
    )
