"""Pages for what is done to an animal."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import partial

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.pages import both_versions, done, show, status_of
from hospital.people.models import Role
from hospital.procedures import actions
from hospital.procedures.forms import (
    ROWS,
    BandageChangeForm,
    BandageForm,
    DayOffForm,
    EditBandageForm,
    EditProcedureForm,
    MilestoneForm,
    ProcedureForm,
    TakeBackForm,
    as_stored,
    as_typed,
)
from hospital.procedures.models import BandageChange, Milestone, Procedure
from hospital.procedures.versions import compare_procedure
from hospital.procedures.vocabulary import vocabulary
from hospital.procedures.wording import (
    bandage_line,
    bandage_watch,
    closure_line,
    implant_line,
    milestone_line,
)

TREATING = for_patient(Role.VET, Role.NURSE)


@TREATING
def add(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Record a procedure with its closures, bandages and implants."""
    if "more" in request.POST:
        return _with_one_more_row(request, patient, ProcedureForm, _("Save procedure"))
    fresh = {"key": uuid.uuid4(), "done_on": today(), "surgeon": request.user.pk, "closures": [{}]}
    form = ProcedureForm(request.POST or None, patient=patient, initial=fresh)
    if done(form, actions.record_procedure, patient, by=request.user):
        messages.success(request, _("Saved. The dates of the care plan follow from it."))
        return redirect("chart:patient", patient.case_number)
    return _show_procedure(request, patient, form, "procedures/add.html", _("Save procedure"))


@TREATING
def edit(request: HttpRequest, patient: Patient, procedure_id: int) -> HttpResponse:
    """Correct a procedure and what it left on or in the animal."""
    procedure = get_object_or_404(patient.procedures, pk=procedure_id)
    if "more" in request.POST:
        return _with_one_more_row(request, patient, EditProcedureForm, _("Save changes"))
    form = EditProcedureForm(
        request.POST or None, patient=patient, initial=as_stored(procedure), instance=procedure
    )
    if done(form, actions.edit_procedure, procedure):
        messages.success(request, _("Changed. Look at the care plan: its dates may follow."))
        return redirect("chart:patient", patient.case_number)
    saved = Procedure.objects.get(pk=procedure_id) if hasattr(form, "collision") else None
    versions = compare_procedure(form, saved) if saved else None
    return _show_procedure(request, patient, form, "procedures/edit.html", _("Save changes"), versions)


def _with_one_more_row(
    request: HttpRequest, patient: Patient, form_class: type[ProcedureForm], save: str
) -> HttpResponse:
    """The same page with what was typed and one more empty row of the kind that was asked for."""
    typed, kind = as_typed(request.POST), request.POST["more"]
    if kind in ROWS and len(typed[kind]) < ROWS[kind].max_num:
        typed[kind] = [*typed[kind], {}]
    form = form_class(patient=patient, initial=typed)
    if kind in ROWS and form.rows[kind].forms:
        first = form.rows[kind].forms[-1].visible_fields()[0]
        first.field.widget.attrs["autofocus"] = True
    page = "procedures/edit.html" if form_class is EditProcedureForm else "procedures/add.html"
    return _show_procedure(request, patient, form, page, save)


def _show_procedure(
    request: HttpRequest,
    patient: Patient,
    form: ProcedureForm,
    page: str,
    save: str,
    versions: list | None = None,
) -> HttpResponse:
    context = {
        "patient": patient,
        "form": form,
        "forms": form.with_mistakes(),
        "save": save,
        "versions": versions,
    }
    return show(request, page, context, part="procedures/_procedure_form.html", status=status_of(form))


@TREATING
def hint(request: HttpRequest, patient: Patient) -> HttpResponse:
    """What to write down, and to beware of, for a kind of procedure."""
    term = vocabulary().procedures.get(request.GET.get("kind", ""))
    return show(request, "procedures/_hint.html", {"term": term})


@dataclass(frozen=True, slots=True)
class Words:
    """What a page with one short form says."""

    heading: str
    save: str
    said: str
    about: str = ""
    caution: str = ""


def _small_page(
    request: HttpRequest, patient: Patient, form: BaseForm, action: Callable, target: object, words: Words
) -> HttpResponse:
    """A page with one short form about one thing on the animal; both versions after a collision."""
    if done(form, action, target):
        messages.success(request, words.said)
        return redirect("chart:patient", patient.case_number)
    versions = both_versions(form) if hasattr(form, "collision") else None
    context = {"patient": patient, "form": form, "versions": versions, **asdict(words)}
    return show(
        request, "procedures/small.html", context, part="procedures/_small_form.html", status=status_of(form)
    )


@TREATING
def closure_out(request: HttpRequest, patient: Patient, closure_id: int) -> HttpResponse:
    """Sutures or staples are out."""
    closure = get_object_or_404(patient.closures, pk=closure_id)
    words = Words(
        _("Sutures or staples out"),
        _("Save day out"),
        _("Recorded: out of %(site)s.") % {"site": closure.site},
        about=closure_line(closure),
        caution=_("Count what you take out. If fewer come out than went in, look again."),
    )
    return _small_page(
        request, patient, DayOffForm(request.POST or None), actions.take_closure_out, closure, words
    )


@TREATING
def bandage_changed(request: HttpRequest, patient: Patient, bandage_id: int) -> HttpResponse:
    """A bandage was looked at or changed and stays on."""
    bandage = get_object_or_404(patient.bandages, pk=bandage_id)
    words = Words(
        _("Bandage changed"),
        _("Save change"),
        _("Recorded: bandage changed."),
        about=bandage_line(bandage),
        caution=bandage_watch(bandage),
    )
    action = partial(actions.change_bandage, by=request.user)
    return _small_page(request, patient, BandageChangeForm(request.POST or None), action, bandage, words)


@TREATING
def bandage_off(request: HttpRequest, patient: Patient, bandage_id: int) -> HttpResponse:
    """A bandage came off for good."""
    bandage = get_object_or_404(patient.bandages, pk=bandage_id)
    words = Words(
        _("Bandage off for good"), _("Save day off"), _("Recorded: bandage off."), about=bandage_line(bandage)
    )
    return _small_page(
        request, patient, DayOffForm(request.POST or None), actions.take_bandage_off, bandage, words
    )


@TREATING
def bandage_on(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A new bandage without an operation."""
    words = Words(
        _("Put a bandage on"),
        _("Save bandage"),
        _("Recorded: bandage on."),
        about=_("A bandage, dressing or splint without an operation. Checks and changes count from here."),
    )
    return _small_page(
        request, patient, BandageForm(request.POST or None), actions.put_bandage_on, patient, words
    )


@TREATING
def bandage_edit(request: HttpRequest, patient: Patient, bandage_id: int) -> HttpResponse:
    """Correct what was written about a bandage."""
    bandage = get_object_or_404(patient.bandages, pk=bandage_id)
    form = EditBandageForm(request.POST or None, instance=bandage, initial={"seen_version": bandage.version})
    words = Words(
        _("Change a bandage's record"),
        _("Save changes"),
        _("Changed. Look at the care plan: its dates may follow."),
    )
    return _small_page(request, patient, form, actions.edit_bandage, bandage, words)


@TREATING
def implant_out(request: HttpRequest, patient: Patient, implant_id: int) -> HttpResponse:
    """An implant is out."""
    implant = get_object_or_404(patient.implants, pk=implant_id)
    words = Words(
        _("Implant out"), _("Save day out"), _("Recorded: implant out."), about=implant_line(implant)
    )
    return _small_page(
        request, patient, DayOffForm(request.POST or None), actions.take_implant_out, implant, words
    )


@TREATING
def milestone(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Something happened that the care plan counts from."""
    form = MilestoneForm(request.POST or None, initial={"event": request.GET.get("event")})
    words = Words(
        _("Record a milestone"),
        _("Save milestone"),
        _("Recorded. The dates of the care plan follow from it."),
        about=_(
            "Something that happened and that the care plan counts from: first water, a test passed, a seal checked."
        ),
    )
    action = partial(actions.record_milestone, by=request.user)
    return _small_page(request, patient, form, action, patient, words)


@TREATING
def milestone_take_back(request: HttpRequest, patient: Patient, milestone_id: int) -> HttpResponse:
    """Remove a milestone that was recorded by mistake, after asking."""
    row = get_object_or_404(patient.milestones, pk=milestone_id)
    return _take_back(request, patient, row, milestone_line(row))


@TREATING
def bandage_change_take_back(request: HttpRequest, patient: Patient, change_id: int) -> HttpResponse:
    """Remove a bandage change that was recorded by mistake, after asking."""
    row = get_object_or_404(BandageChange.objects.select_related("bandage"), patient=patient, pk=change_id)
    return _take_back(request, patient, row, bandage_line(row.bandage))


def _take_back(
    request: HttpRequest, patient: Patient, row: Milestone | BandageChange, about: str
) -> HttpResponse:
    words = Words(
        _("Take this back?"),
        _("Take it back"),
        _("Taken back. Look at the care plan: its dates may follow."),
        about=about,
        caution=_("Only for what was recorded by mistake. The history keeps that it was written."),
    )
    return _small_page(request, patient, TakeBackForm(request.POST or None), actions.take_back, row, words)
