"""Pages for samples and their results."""

from __future__ import annotations

import uuid
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from hospital.admissions.access import for_patient
from hospital.admissions.forms import WithdrawForm
from hospital.admissions.models import Patient
from hospital.labs import actions
from hospital.labs.forms import MORE_LINES, MOST_LINES, EditSampleForm, NewSampleForm, SampleForm
from hospital.labs.queries import samples_of, trends, withdrawn_of
from hospital.labs.vocabulary import AMOUNTS, BLOOD, FAECES, UNITS
from hospital.labs.wording import how, range_line, result_lines, sample_title, value_line, verdict_in_words
from hospital.pages import both_versions, done, show, status_of
from hospital.people.models import CLINICAL, STAFF

OFFERED = {"names": [*BLOOD, *FAECES], "amounts": AMOUNTS, "units": UNITS}


@require_GET
@for_patient(*STAFF)
def samples(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Samples that wait, results line by line, and how a value went."""
    found = list(samples_of(patient))
    rows = [(sample, [_row(finding) for finding in sample.findings.all()]) for sample in found]
    courses = [(each, [(on, _row(finding)) for on, finding in each.findings]) for each in trends(found)]
    context = {"patient": patient, "rows": rows, "trends": courses, "is_clinical": bool(set(request.roles) & set(CLINICAL))}
    context["withdrawn"] = [(each, sample_title(each), result_lines(each)) for each in withdrawn_of(patient)]
    return show(request, "labs/samples.html", context)


def _row(finding: Any) -> dict[str, Any]:
    words = {"value": value_line(finding), "range": range_line(finding), "verdict": verdict_in_words(finding)}
    return {"finding": finding, "is_odd": how(finding) in ("low", "high"), **words}


@for_patient(*CLINICAL)
def add(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A sample, with its result if it was read at once."""
    form = NewSampleForm(_with_more_lines(request), initial={"kind": request.GET.get("kind"), "key": uuid.uuid4()})
    if "more" not in request.POST and done(form, actions.record_sample, patient, by=request.user):
        words = _("Result saved.") if form.result.resulted_on else _("Sample saved. It waits for its result on the chart.")
        messages.success(request, words)
        return redirect("labs:samples", patient.case_number)
    return _show_form(request, patient, form)


@for_patient(*CLINICAL)
def edit(request: HttpRequest, patient: Patient, sample_id: int) -> HttpResponse:
    """The result of a sample that waited, or a correction."""
    sample = get_object_or_404(patient.samples, pk=sample_id)
    fresh = {"seen_version": sample.version} | ({} if sample.resulted_on else {"resulted_on": None})
    form = EditSampleForm(_with_more_lines(request), instance=sample, initial=fresh)
    if "more" not in request.POST and done(form, partial(actions.edit_sample, by=request.user), sample):
        messages.success(request, _("Result saved."))
        return redirect("labs:samples", patient.case_number)
    versions = both_versions(form) if hasattr(form, "collision") else None
    return _show_form(request, patient, form, sample=sample, versions=versions)


@for_patient(*CLINICAL)
def withdraw(request: HttpRequest, patient: Patient, sample_id: int) -> HttpResponse:
    """A sample that was recorded by mistake, or under the wrong animal."""
    sample = get_object_or_404(patient.samples(manager="written"), pk=sample_id)
    form = WithdrawForm(request.POST or None, patients=Patient.objects.visible_to(request.user).at(patient.hospital))
    if done(form, actions.withdraw_sample, sample, by=request.user):
        if moved := form.result.moved_to:
            messages.success(request, _("Withdrawn here, and recorded under %(animal)s.") % {"animal": moved.patient})
            return redirect("labs:samples", moved.patient.case_number)
        messages.success(request, _("The sample was withdrawn. It stays on record."))
        return redirect("labs:samples", patient.case_number)
    context = {"form": form, "patient": patient, "sample": sample, "title": sample_title(sample)}
    return show(request, "labs/withdraw.html", context, part="labs/_withdraw_form.html", status=status_of(form))


def _with_more_lines(request: HttpRequest) -> Any:
    """What was sent; with more empty lines if they were asked for. Nothing that was typed is lost."""
    if request.method != "POST":
        return None
    data = request.POST.copy()
    if "more" in data and data.get("lines-TOTAL_FORMS", "").isdecimal():
        data["lines-TOTAL_FORMS"] = str(min(MOST_LINES, int(data["lines-TOTAL_FORMS"][:4]) + MORE_LINES))
    return data


def _show_form(request: HttpRequest, patient: Patient, form: SampleForm, **more: Any) -> HttpResponse:
    status = 200 if "more" in request.POST else status_of(form)
    context = {"patient": patient, "form": form, "offered": OFFERED, **more}
    return show(request, "labs/sample.html", context, part="labs/_form.html", status=status)
