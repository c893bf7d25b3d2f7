"""The treatment sheet: all animals in the house, hour by hour, signed by one tap."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.medications.models import DoseGiven
from hospital.pages import pressed, show
from hospital.people.access import for_roles
from hospital.people.models import CLINICAL, STAFF
from hospital.press import print_pdf
from hospital.rules.sheet import shift_of
from hospital.ward import actions
from hospital.ward.forms import LOST, TapForm
from hospital.ward.models import Attended
from hospital.ward.queries import sheet_of, wards_of
from hospital.ward.wording import SHIFT_LABELS, SHIFTS, clock_note, hour_label, shift_words

BACK_HOURS, ON_HOURS = 4, 8  # of the shift "now"


@dataclass(frozen=True, slots=True)
class Asked:
    """Which shift of which day, and which ward."""

    shift: str
    day: date
    ward: str
    starts_at: datetime
    ends_at: datetime
    is_mine: bool = False

    def address(self, **other: Any) -> str:
        said = {"shift": self.shift, "day": self.day.isoformat(), "ward": self.ward, "mine": "1" if self.is_mine else "", **other}
        return "?" + urlencode({name: value for name, value in said.items() if value})


def _asked(request: HttpRequest) -> Asked:
    """From the address; whatever is strange there means now and everything."""
    zone, at = ZoneInfo(request.hospital.zone), now()
    local = at.astimezone(zone)
    shift, is_mine = request.GET.get("shift", "now"), "mine" in request.GET
    try:
        day = parse_date(request.GET.get("day", "")) or _usual_day(shift, local)
    except ValueError:
        day = _usual_day(shift, local)
    if shift not in SHIFTS or shift == "now":
        begins = (at - timedelta(hours=BACK_HOURS)).astimezone(zone).replace(minute=0, second=0, microsecond=0)
        return Asked("now", local.date(), request.GET.get("ward", ""), begins, (at + timedelta(hours=ON_HOURS)).astimezone(zone), is_mine)
    return Asked(shift, day, request.GET.get("ward", ""), *shift_of(day, *SHIFTS[shift], zone), is_mine)


def _usual_day(shift: str, local: datetime) -> date:
    """After midnight the night shift began yesterday."""
    began_yesterday = shift in ("night", "whole") and local.hour < 8
    return local.date() - timedelta(days=1) if began_yesterday else local.date()


@require_GET
@for_roles(*STAFF)
def sheet(request: HttpRequest) -> HttpResponse:
    """The sheet of a shift."""
    return show(request, "ward/sheet.html", _context(request, _asked(request)), part="ward/_sheet.html")


def _context(request: HttpRequest, asked: Asked) -> dict[str, Any]:
    found = sheet_of(request.user, request.hospital, asked.starts_at, asked.ends_at, now(), asked.ward, is_mine=asked.is_mine)
    rows = [(animal, [(task, task.by_hour(found.hours)) for task in animal.tasks]) for animal in found.animals]
    return {
        "asked": asked,
        "sheet": found,
        "rows": rows,
        "open_now": found.open_now(),
        "to_weigh": found.to_weigh(),
        "all_address": asked.address(mine=""),
        "mine_address": asked.address(mine="1"),
        "hour_labels": [hour_label(hour) for hour in found.hours],
        "now_hour": next((n for n, hour in enumerate(found.hours) if hour.holds(found.at)), None),
        "clock_note": clock_note(found.hours),
        "words": shift_words(asked.shift, asked.starts_at, asked.ends_at),
        "shifts": [(asked.address(shift=name, day=""), name, label) for name, label in SHIFT_LABELS],
        "before": asked.address(day=(asked.day - timedelta(days=1)).isoformat()) if asked.shift != "now" else "",
        "after": asked.address(day=(asked.day + timedelta(days=1)).isoformat()) if asked.shift != "now" else "",
        "wards": wards_of(request.user, request.hospital),
        "here": asked.address(),
        "can_tap": bool(set(request.roles) & set(CLINICAL)),
        "undoable": _undoable(request, found.at - actions.UNDO_FOR),
    }


def _undoable(request: HttpRequest, since: datetime) -> list[dict[str, Any]]:
    """One's own taps of the last minute."""
    mine = Patient.objects.visible_to(request.user).at(request.hospital)
    doses = DoseGiven.objects.filter(patient__in=mine, given_by=request.user, given_at__gte=since, register_line=None)
    rows = Attended.objects.filter(patient__in=mine, done_by=request.user, done_at__gte=since)
    told = [{"what": "dose", "row": each, "name": each.order.drug} for each in doses.select_related("order", "patient__species")]
    for each in rows.select_related("feeding", "fluid", "patient__species"):
        told.append({"what": "attended", "row": each, "name": each.feeding.food if each.feeding else each.fluid.fluid})
    return told


@require_POST
@for_patient(*CLINICAL)
def sign(request: HttpRequest, patient: Patient) -> HttpResponse:
    """One tap: given, not taken or missed."""
    form = TapForm(request.POST)
    try:
        if not form.is_valid():
            raise ValidationError(LOST)
        _sign(request, patient, form.cleaned_data)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return _back(request)


def _sign(request: HttpRequest, patient: Patient, said: dict[str, Any]) -> None:
    if said["what"] == "dose":
        order = get_object_or_404(patient.medication_orders, pk=said["pk"])
        actions.sign_dose(order, by=request.user, number=said["number"], kind=said["kind"])
        return
    plans = patient.feedingplans if said["what"] == "meal" else patient.fluidplans
    plan = get_object_or_404(plans, pk=said["pk"])
    actions.attend(plan, by=request.user, due_at=said["due_at"], kind=said["kind"])


@require_POST
@for_patient(*CLINICAL)
def mine(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Take an animal among one's own, or give it up."""
    if "no_more" in request.POST:
        actions.mind_no_more(patient, by=request.user)
    else:
        pressed(request, actions.mind, patient, by=request.user)
    return _back(request)


@require_POST
@for_patient(*CLINICAL)
def undo(request: HttpRequest, patient: Patient, what: str, row_id: int) -> HttpResponse:
    """Take one's own tap of the last minute back."""
    rows = {"dose": patient.doses_given, "attended": patient.attended}.get(what)
    if rows is None:
        raise Http404
    row = rows.filter(pk=row_id).first()
    try:
        if row is None:
            raise ValidationError(_("It is taken back already."))
        actions.undo(row, by=request.user)
        messages.success(request, _("Taken back."))
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return _back(request)


def _back(request: HttpRequest) -> HttpResponse:
    """To the sheet as it was asked for; only the sheet to htmx."""
    query = request.GET.urlencode()
    return redirect(reverse("ward:sheet") + (f"?{query}" if query else ""))


@require_GET
@for_roles(*STAFF)
def printed(request: HttpRequest) -> HttpResponse:
    """The sheet on paper, A4 across, with empty boxes to sign."""
    asked = _asked(request)
    html = render_to_string("ward/print.html", _context(request, asked) | {"hospital": request.hospital}, request)
    headers = {"Content-Disposition": f'inline; filename="treatment-sheet-{asked.day.isoformat()}-{asked.shift}.pdf"'}
    return HttpResponse(print_pdf(html, "ward.css"), content_type="application/pdf", headers=headers)
