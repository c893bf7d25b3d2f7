"""Pages for examinations and rechecks, the drawing of the wounds, and the list of problems."""

from __future__ import annotations

from functools import partial
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.admissions.weighing import call_as_typed, chart_of, say_call, weighings_of
from hospital.clock import now, today
from hospital.examinations import actions
from hospital.examinations.forms import (
    CloseProblemForm,
    EditExaminationForm,
    EditProblemForm,
    ExaminationForm,
    MarkForm,
    ProblemForm,
    RecheckForm,
    WeighedForm,
)
from hospital.examinations.models import Examination, Problem, WoundMark
from hospital.examinations.queries import before, marked_examinations
from hospital.examinations.wording import alarm_line, drawings_of, findings_lines, mark_rows
from hospital.pages import both_versions, done, pressed, seen_version, show, status_of
from hospital.people.models import CLINICAL, STAFF, Role
from hospital.press import print_pdf
from hospital.rules.weights import Weighing

# What was decided at an examination leads to the page of that outcome.
OUTCOME_OF = {Examination.Decision.EUTHANASE: "euthanased", Examination.Decision.TRANSFER: "transferred"}


@for_patient(Role.VET, Role.NURSE)
def add(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Record an examination; `?kind=` chooses which. A recheck has a page of its own."""
    kind = request.GET.get("kind", Examination.Kind.OTHER)
    if kind == Examination.Kind.RECHECK:
        return redirect("examinations:recheck", patient.case_number)
    form, earlier = ExaminationForm(request.POST or None, initial={"kind": kind}, patient=patient), weighings_of(patient)
    if done(form, actions.record_examination, patient, by=request.user):
        messages.success(request, _("Examination saved."))
        _say_weight(request, patient, earlier, form)
        return redirect(_after(request, form.result))
    context = {"patient": patient, "form": form, **_weighed(request, patient, earlier)}
    return show(
        request, "examinations/add.html", context, part="examinations/_form.html", status=status_of(form)
    )


def _weighed(request: HttpRequest, patient: Patient, earlier: list[Weighing]) -> dict[str, Any]:
    """What stands beside the field of the weight: its curve, what the weight typed says, and when a vet is called."""
    on = today(patient.hospital.zone)
    call = call_as_typed(patient, earlier, request.POST.get("weight_g", ""), on)
    return {"weight_chart": chart_of(patient, earlier, on), "call": call, "alarm_line": alarm_line(patient)}


def _say_weight(request: HttpRequest, patient: Patient, earlier: list[Weighing], form: WeighedForm) -> None:
    if weight_g := form.cleaned_data["weight_g"]:
        say_call(request, patient, earlier, weight_g, form.cleaned_data["examined_on"])


def _after(request: HttpRequest, examination: Examination) -> str:
    """Where the work goes on: the drawing, the outcome that was decided, or the chart."""
    case_number = examination.patient.case_number
    if "draw" in request.POST:
        return reverse("examinations:drawing", args=[case_number, examination.pk])
    kind = OUTCOME_OF.get(examination.decision)
    if kind is None:
        return reverse("chart:patient", args=[case_number])
    return reverse("outcomes:record", args=[case_number]) + "?" + urlencode({"kind": kind, "reason": examination.decision_reason})


@for_patient(Role.VET, Role.NURSE)
def recheck(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Record a recheck and what was done at it; then the plan is looked at again."""
    form, earlier = RecheckForm(request.POST or None, patient=patient), weighings_of(patient)
    if done(form, actions.record_recheck, patient, by=request.user):
        _say_weight(request, patient, earlier, form)
        if "draw" in request.POST or form.result.decision in OUTCOME_OF:
            messages.success(request, _("Recheck saved."))
            return redirect(_after(request, form.result))
        messages.success(request, _("Recheck saved. Now look at the plan: what has changed follows from it."))
        return redirect("plans:replan", patient.case_number)
    context = {"patient": patient, "form": form, **_weighed(request, patient, earlier)}
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
    form = EditExaminationForm(request.POST or None, instance=examination, initial=fresh, patient=patient)
    if done(form, partial(actions.edit_examination, by=request.user), examination):
        messages.success(request, _("Changed. Look at the care plan: its dates may follow."))
        return redirect("chart:patient", patient.case_number)
    versions = both_versions(form) if hasattr(form, "collision") else None
    context = {"patient": patient, "form": form, "versions": versions}
    return show(
        request, "examinations/edit.html", context, part="examinations/_form.html", status=status_of(form)
    )


@require_GET
@for_patient(*STAFF)
def print_examination(request: HttpRequest, patient: Patient, examination_id: int) -> HttpResponse:
    """One examination with its drawing as a PDF."""
    seen = get_object_or_404(patient.examinations.select_related("examined_by").prefetch_related("marks"), pk=examination_id)
    context = {
        "patient": patient,
        "seen": seen,
        "lines": findings_lines(seen, patient.species.group.body_plan),
        "drawings": drawings_of(seen),
        "marks": mark_rows(seen),
        "printed_at": now(),
        "printed_by": request.user,
    }
    pdf = print_pdf(render_to_string("examinations/print.html", context), "record_print.css")
    headers = {"Content-Disposition": f'inline; filename="examination-{patient.case_number}-{seen.examined_on}.pdf"'}
    return HttpResponse(pdf, content_type="application/pdf", headers=headers)


# --- the drawing ------------------------------------------------------------------------------------------------------


@for_patient(*CLINICAL)
def drawing(request: HttpRequest, patient: Patient, examination_id: int) -> HttpResponse:
    """Touch the drawing where a wound is; beside it the drawing of the time before."""
    examination = get_object_or_404(patient.examinations, pk=examination_id)
    form = MarkForm(request.POST or None, body_plan=patient.species.group.body_plan)
    if done(form, actions.mark, examination, by=request.user):
        made = form.result
        messages.success(request, _("Mark %(number)d is set: %(kind)s.") % {"number": made.number, "kind": made.get_kind_display()})
        return redirect("examinations:drawing", patient.case_number, examination.pk)
    earlier = before(examination)
    context = {
        "patient": patient,
        "examination": examination,
        "form": form,
        "drawings": drawings_of(examination),
        "marks": mark_rows(examination),
        "earlier": earlier,
        "earlier_marks": mark_rows(earlier) if earlier else [],
        "earlier_drawings": drawings_of(earlier) if earlier else [],
        "can_take_over": bool(earlier) and {m.number for m in earlier.marks.all()} - {m.number for m in examination.marks.all()},
    }
    return show(request, "examinations/drawing.html", context, status=status_of(form))


@require_POST
@for_patient(*CLINICAL)
def unmark(request: HttpRequest, patient: Patient, mark_id: int) -> HttpResponse:
    made = get_object_or_404(WoundMark.objects.select_related("examination"), pk=mark_id, examination__patient=patient)
    at = made.examination_id
    pressed(request, actions.unmark, made, by=request.user, seen_version=seen_version(request))
    return redirect("examinations:drawing", patient.case_number, at)


@require_POST
@for_patient(*CLINICAL)
def take_over(request: HttpRequest, patient: Patient, examination_id: int) -> HttpResponse:
    """The marks of the time before, to be looked at again."""
    examination = get_object_or_404(patient.examinations, pk=examination_id)
    if pressed(request, actions.take_marks_over, examination, by=request.user):
        messages.success(request, _("Taken over. Take away what has healed."))
    return redirect("examinations:drawing", patient.case_number, examination.pk)


@require_GET
@for_patient(*STAFF)
def drawings(request: HttpRequest, patient: Patient) -> HttpResponse:
    """All drawings of an animal side by side, the newest first."""
    rows = [(each, drawings_of(each), mark_rows(each)) for each in marked_examinations(patient)]
    return show(request, "examinations/drawings.html", {"patient": patient, "rows": rows})


# --- problems ---------------------------------------------------------------------------------------------------------


@for_patient(*CLINICAL)
def problem_add(request: HttpRequest, patient: Patient) -> HttpResponse:
    form = ProblemForm(request.POST or None)
    if done(form, actions.open_problem, patient, by=request.user):
        messages.success(request, _("On the list: %(name)s.") % {"name": form.result.name})
        return redirect("chart:patient", patient.case_number)
    return _show_problem(request, patient, form, _("Add a problem"), _("Put it on the list"))


@for_patient(*CLINICAL)
def problem_edit(request: HttpRequest, patient: Patient, problem_id: int) -> HttpResponse:
    problem = _problem(patient, problem_id)
    form = EditProblemForm(request.POST or None, instance=problem, initial={"seen_version": problem.version})
    if done(form, partial(actions.edit_problem, by=request.user), problem):
        messages.success(request, _("Changed: %(name)s.") % {"name": form.result.name})
        return redirect("chart:patient", patient.case_number)
    versions = both_versions(form) if hasattr(form, "collision") else None
    return _show_problem(request, patient, form, _("Change a problem"), _("Save"), problem=problem, versions=versions)


@for_patient(*CLINICAL)
def problem_close(request: HttpRequest, patient: Patient, problem_id: int) -> HttpResponse:
    problem = _problem(patient, problem_id)
    form = CloseProblemForm(request.POST or None, initial={"seen_version": problem.version})
    if done(form, partial(actions.close_problem, by=request.user), problem):
        messages.success(request, _("Closed: %(name)s.") % {"name": form.result.name})
        return redirect("chart:patient", patient.case_number)
    return _show_problem(request, patient, form, _("Close a problem"), _("Close it"), problem=problem)


def _problem(patient: Patient, problem_id: int) -> Problem:
    return get_object_or_404(patient.problems, pk=problem_id, closed_on=None)


def _show_problem(request: HttpRequest, patient: Patient, form: Any, heading: str, save: str, **more: Any) -> HttpResponse:
    context = {"patient": patient, "form": form, "heading": heading, "save": save, **more}
    return show(request, "examinations/problem.html", context, part="examinations/_problem_form.html", status=status_of(form))
