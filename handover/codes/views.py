"""Reporting by the code on a pack: the day's tasks and the form of one animal, without anybody's name, and its answer."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from handover.codes.access import REPORTS, for_holder
from handover.codes.forms import CodeForm
from handover.logs import actions, queries
from handover.logs.actions import KeyUsed
from handover.logs.forms import ReportForm, usual
from handover.logs.models import LogEntry
from handover.logs.views import day_context
from handover.logs.wording import answer_card, tomorrow_in_words
from handover.packs.codes import stop_codes
from handover.packs.models import Pack
from handover.packs.views import warnings_of
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.pages import done, pressed, show, status_of
from hospital.people.models import STAFF


def type_code(request: HttpRequest) -> HttpResponse:
    """For those who cannot scan."""
    form = CodeForm(request.POST or None)
    if done(form, lambda code: code):
        return redirect("codes:log", form.result)
    return show(request, "codes/type.html", {"form": form}, status=status_of(form))


@for_holder
def log(request: HttpRequest, code: str, pack: Pack) -> HttpResponse:
    """What today asks for, and the report of whoever holds the paper."""
    patient = pack.patient
    found = queries.day_of(patient, today(patient.hospital.zone))
    if request.method != "POST":
        form = ReportForm(initial=usual(found, now(), queries.usual_food(patient)), doses=found.doses)
        return _show_day(request, code, pack, found, form)
    form = ReportForm(request.POST, request.FILES, doses=queries.doses_named(patient, request.POST))
    try:
        if done(form, _receive, code, pack):
            return redirect("codes:answer", code, form.result.entry.key)
    except KeyUsed as used:
        form.add_error(None, str(used.sentence))
        form.data = form.data.copy()
        form.data["key"] = str(uuid.uuid4())
    return _show_day(request, code, pack, found, form)


def _receive(code: str, pack: Pack, **said: Any) -> actions.Received:
    if not REPORTS.count(code):
        raise ValidationError(_("Too many reports came by this code within an hour. Phone the hospital."))
    return actions.receive(pack.patient, by=pack.placement.carer.person, is_by_code=True, **said | {"corrects": None})


def _show_day(request: HttpRequest, code: str, pack: Pack, found: queries.Day, form: ReportForm) -> HttpResponse:
    context = day_context(found, form) | {
        "by_code_url": reverse("codes:log", args=[code]), "hospital": pack.patient.hospital, "warnings": warnings_of(pack),
    }  # fmt: skip
    return show(request, "codes/log.html", context, status=status_of(form))


@require_GET
@for_holder
def answer(request: HttpRequest, code: str, pack: Pack, key: uuid.UUID) -> HttpResponse:
    """What the report is answered with. Only reports by code, of this stay."""
    patient = pack.patient
    entry = get_object_or_404(LogEntry, patient=patient, placement=pack.placement, is_by_code=True, key=key)
    found = queries.day_of(patient, today(patient.hospital.zone))
    context = {
        "patient": patient, "hospital": patient.hospital, "card": answer_card(entry), "is_here": False, "day": found,
        "tomorrow": tomorrow_in_words(found), "by_code_url": reverse("codes:log", args=[code]),
    }  # fmt: skip
    return show(request, "codes/answer.html", context)


@require_POST
@for_patient(*STAFF)
def stop(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The codes on every paper about this animal open nothing any more."""
    if pressed(request, stop_codes, patient, by=request.user):
        messages.success(request, _("The code is stopped. Make a new pack for the carer: it gets a code of its own."))
    return redirect("packs:pack", patient.case_number)
