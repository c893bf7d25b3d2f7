"""Pages of the theatre: the day's list, the record with its big buttons, and what comes after."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.loader import render_to_string
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.medications.wording import parts
from hospital.ordersets.lines import about
from hospital.ordersets.queries import sets_after, signed_for
from hospital.pages import both_versions, done, pressed, seen_version, show, status_of, whole
from hospital.people.access import for_roles
from hospital.people.models import Role
from hospital.press import print_pdf
from hospital.procedures.queries import is_vet
from hospital.procedures.wording import left_by
from hospital.register.wording import rows as register_rows
from hospital.rules.anaesthesia import mark, minutes_between, missed
from hospital.theatre import actions
from hospital.theatre.chart_svg import anaesthetic_chart
from hospital.theatre.forms import UNITS, CallOffForm, CheckForm, MomentsForm, PlanForm, ReadingForm
from hospital.theatre.models import CHECKS, FIGURES, Anaesthetic, Stage, TheatreReading
from hospital.theatre.queries import anaesthetics_of, check_due_at, doses_during, drawn_up_apart, list_of, orders_under, readings_of
from hospital.theatre.wording import STEPS, after_list, kind_name, letters, missing_checks

IN_THEATRE = for_patient(Role.VET, Role.NURSE)


@require_GET
@for_roles(Role.VET, Role.NURSE)
def day(request: HttpRequest) -> HttpResponse:
    """The list of a day: planned, under anaesthesia, in recovery, done."""
    on = _day(request.GET.get("day", ""))
    rows = [_row(each) for each in list_of(request.user, request.hospital, on)]
    stages = [(stage, [row for row in rows if row["it"].stage == stage]) for stage in Stage]
    context = {"day": on, "is_today": on == today(), "stages": stages, "is_empty": not rows}
    return show(request, "theatre/day.html", context)


def _day(text: str) -> date:
    try:
        return parse_date(text) or today()
    except ValueError:
        return today()


def _row(it: Anaesthetic) -> dict[str, Any]:
    due = check_due_at(it, it.last_read_at)
    return {"it": it, "kind": kind_name(it), "due": due, "is_late": bool(due and due < now())}


@IN_THEATRE
def plan(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Put the animal on the list of a day."""
    form = PlanForm(request.POST or None, patient=patient, initial={"vet": request.user.pk, "kind": request.GET.get("kind")})
    if done(form, actions.plan, patient, by=request.user):
        messages.success(request, _("On the list."))
        return redirect("theatre:record", patient.case_number, form.result.pk)
    return _small(request, patient, form, _("Put on the theatre list"), _("Put on the list"))


def _small(request: HttpRequest, patient: Patient, form: BaseForm, heading: str, save: str, about: str = "") -> HttpResponse:
    versions = both_versions(form) if hasattr(form, "collision") else None
    context = {"patient": patient, "form": form, "versions": versions, "heading": heading, "save": save, "about": about}
    return show(request, "theatre/small.html", context, part="theatre/_small_form.html", status=status_of(form))


def _edited(
    request: HttpRequest, patient: Patient, it: Anaesthetic, form: BaseForm, action: Callable, words: tuple[str, str], **said: Any
) -> HttpResponse:
    """A page with one form about an anaesthetic; then its record again."""
    if done(form, action, Anaesthetic.objects.get(pk=it.pk), **said):
        return redirect("theatre:record", patient.case_number, it.pk)
    return _small(request, patient, form, *words)


@IN_THEATRE
def change(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """Correct a line of the list."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    form = PlanForm(request.POST or None, patient=patient, instance=it)
    return _edited(request, patient, it, form, actions.change, (_("Change the theatre list"), _("Save changes")))


@IN_THEATRE
def call_off(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """Take it off the list, with the reason."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    form, words = CallOffForm(request.POST or None), (_("Take off the theatre list"), _("Call it off"))
    return _edited(request, patient, it, form, actions.call_off, words, seen_version=it.version)


@IN_THEATRE
def moments(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """Put right when something happened."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    form = MomentsForm(request.POST.copy() or None, instance=it, initial={"seen_version": it.version})
    return _edited(request, patient, it, form, actions.correct_moments, (_("Correct the times"), _("Save times")), by=request.user)


@IN_THEATRE
def check(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """The check before it begins, the airway, the breathing, gas and fluids."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    form = CheckForm(request.POST.copy() or None, instance=it, initial={"seen_version": it.version})
    if done(form, actions.check, Anaesthetic.objects.get(pk=it.pk), by=request.user):
        return redirect("theatre:record", patient.case_number, it.pk)
    versions = both_versions(form) if hasattr(form, "collision") else None
    context = {"patient": patient, "form": form, "versions": versions, "it": it}
    return show(request, "theatre/check.html", context, part="theatre/_check_form.html", status=status_of(form))


@IN_THEATRE
def record(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """The record: what happens next, one reading with big buttons, the grid and the chart."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    rows = readings_of(it)
    at = mark(_moment(request.GET.get("at", "")) or now())
    here = next((row for row in rows if row.at == at), None)
    before = next((row for row in reversed(rows) if row.at < at), None)
    fresh = {"at": at.isoformat(), "seen_version": here.version if here else 0}
    form = ReadingForm(request.POST.copy() or None, before=before, initial=_said(here) | fresh)
    if done(form, actions.read, it, by=request.user):
        return redirect("theatre:record", patient.case_number, it.pk)
    if hasattr(form, "collision"):  # what somebody else read stands in the grid below; saving once more corrects it
        form.data["seen_version"] = str(form.collision.theirs.version)
    context = _standing(it, rows) | {"patient": patient, "form": form, "at": at, "here": here, "before": before}
    return show(request, "theatre/record.html", context, part="theatre/_record.html", status=status_of(form))


def _moment(text: str) -> datetime | None:
    try:
        at = parse_datetime(text)
    except ValueError:
        return None
    return at if at and at.tzinfo else None


def _said(reading: TheatreReading | None) -> dict[str, Any]:
    return {name: getattr(reading, name) for name in ReadingForm.Meta.fields} if reading else {}


def _standing(it: Anaesthetic, rows: list[TheatreReading]) -> dict[str, Any]:
    """What the page and the print both say of an anaesthetic."""
    moment, due = now(), check_due_at(it, rows[-1].at if rows else None)
    until = it.gas_off_at or moment
    return {
        "it": it,
        "kind": kind_name(it),
        "stage": it.stage,
        "rows": [(row, [getattr(row, name) for name in FIGURES]) for row in rows],
        "heads": [(TheatreReading._meta.get_field(name).verbose_name, UNITS[name]) for name in FIGURES],
        "chart": _chart(it, rows),
        "moments": [(letter, label, getattr(it, name)) for letter, name, label in letters()],
        "missed": missed(it.begun_at, until, {row.at for row in rows}) if it.begun_at and it.stage != Stage.PLANNED else [],
        "missing": missing_checks(it),
        "checks": [(it._meta.get_field(name).verbose_name, getattr(it, name)) for name in CHECKS],
        "step": next(((name, label) for name, label in STEPS.items() if name == actions.next_step(it)), None) if it.begun_at else None,
        "minutes_under": minutes_between(it.begun_at, until) if it.begun_at else None,
        "due": due,
        "is_late": bool(due and due < moment),
        "doses": list(doses_during(it, moment)),
        "apart": register_rows(drawn_up_apart(it, moment)),
        "orders": [(order, parts(order)) for order in orders_under(it, it.patient.hospital.zone)] if not it.patient.closed_on else [],
        "left": left_by(it.procedure) if it.procedure else [],
        "needs_water_caution": it.patient.species.is_aquatic and "chelonian" in it.patient.species.group.lineage(),
        "is_reptile": "reptile" in it.patient.species.group.lineage(),
    }


def _chart(it: Anaesthetic, rows: list[TheatreReading]):
    zone = ZoneInfo(it.patient.hospital.zone)  # so that the ticks are full hours of the hospital's clock
    heads = [f"{TheatreReading._meta.get_field(name).verbose_name}, {UNITS[name]}" for name in FIGURES]
    series = [(head, [(row.at.astimezone(zone), getattr(row, name)) for row in rows]) for head, name in zip(heads, FIGURES, strict=True)]
    happened = [(letter, getattr(it, name)) for letter, name, _label in letters()]
    return anaesthetic_chart(series, [(letter, at.astimezone(zone) if at else None) for letter, at in happened])


@require_POST
@IN_THEATRE
def begin(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """Anaesthesia begins now."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    pressed(request, actions.begin, it, seen_version=seen_version(request))
    return redirect("theatre:record", patient.case_number, it.pk)


@require_POST
@IN_THEATRE
def step(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """The next thing happened just now."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    name = request.POST.get("step", "")
    pressed(request, actions.take_step, it, name, by=request.user, seen_version=seen_version(request))
    return redirect("theatre:record", patient.case_number, it.pk)


@require_POST
@IN_THEATRE
def same(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """One press: somebody looked, and nothing has changed."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    at = _moment(request.POST.get("at", "")) or now()
    pressed(request, actions.read_same, it, by=request.user, at=at)
    return redirect("theatre:record", patient.case_number, it.pk)


@IN_THEATRE
def what_next(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """What usually follows an operation: each with its own form, and what is there already ticked."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    if request.method == "POST":
        procedure = get_object_or_404(patient.procedures, pk=whole(request.POST.get("procedure", "")))
        pressed(request, actions.belongs_to, it, procedure, seen_version=seen_version(request))
        return redirect("theatre:next", patient.case_number, it.pk)
    on = (it.begun_at or now()).astimezone(ZoneInfo(patient.hospital.zone)).date()
    of_the_day = [] if it.procedure else list(patient.procedures.filter(done_on=on))
    rows = after_list(patient, it, on)
    sets = [about(each) for each in sets_after(patient.hospital, it.procedure.kind if it.procedure else it.kind)]
    context = {
        "patient": patient, "it": it, "kind": kind_name(it), "after": rows, "of_the_day": of_the_day, "rows": sets,
        "signed": signed_for(patient).filter(signed_at__date__gte=on), "is_vet": is_vet(request.user, patient),
    }  # fmt: skip
    return show(request, "theatre/next.html", context)


@require_GET
@IN_THEATRE
def print_record(request: HttpRequest, patient: Patient, anaesthetic_id: int) -> HttpResponse:
    """The record as a PDF."""
    it = get_object_or_404(anaesthetics_of(patient), pk=anaesthetic_id)
    if it.begun_at is None:
        messages.info(request, _("It has not begun: there is nothing to print."))
        return redirect("theatre:record", patient.case_number, it.pk)
    html = render_to_string("theatre/print.html", _standing(it, readings_of(it)) | {"patient": patient, "hospital": patient.hospital})
    response = HttpResponse(print_pdf(html, "record_print.css"), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="anaesthetic-{patient.case_number}-{it.pk}.pdf"'
    return response
