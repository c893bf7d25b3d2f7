"""Paper comes back: a week of a log sheet typed into one grid, by the hospital or by the carer."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.logs import actions, queries
from handover.logs.access import is_staff_for
from handover.logs.paper_forms import DAYS, PaperWeek
from handover.schedule.answers import Answer
from hospital.admissions.access import for_patient
from hospital.admissions.days import admitted_on
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.pages import show
from hospital.people.models import EVERYONE


@for_patient(*EVERYONE)
def paper(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A week of the paper log in one grid; what is logged already stands beside it to read."""
    week = _week(request, patient)
    if request.method == "POST" and not week.said:
        messages.info(request, _("Nothing was typed, so nothing was stored."))
    elif request.method == "POST" and _is_stored(request, patient, week):
        return redirect("logs:past", patient.case_number)
    is_staff, day = is_staff_for(request.user, patient), today(patient.hospital.zone)
    context = {
        "patient": patient, "week": week, "form": week, "today": day, "is_staff": is_staff,
        "base": "base.html" if is_staff else "base_carer.html",
        "before": week.last - timedelta(DAYS) if week.rows and week.rows[0].on > _first(request, patient) else None,
        "after": min(week.last + timedelta(DAYS), day) if week.last < day else None,
        "asks_bandage": patient.bandages.exists(),
    }  # fmt: skip
    return show(request, "logs/paper.html", context, status=422 if week.mistaken else 200)


def _week(request: HttpRequest, patient: Patient) -> PaperWeek:
    last = _asked(request, patient)
    days = [last - timedelta(n) for n in range(DAYS)]
    stored = queries.reports_between(patient, days[-1], days[0])
    if request.method == "POST":
        return PaperWeek(patient, last, _first(request, patient), stored, _doses_sent(request, patient, days), now(), request.POST)
    orders = list(patient.medication_orders.prefetch_related("doses_given"))
    due = {day: [dose for order in orders for dose in queries.doses_due(order, day, patient.hospital.zone)] for day in days}
    return PaperWeek(patient, last, _first(request, patient), stored, due, now())


def _doses_sent(request: HttpRequest, patient: Patient, days: list[date]) -> dict[date, list[queries.Dose]]:
    """The doses that the sent grid names, whether they are still due or not."""
    names = {day: [name.removeprefix(f"{day.isoformat()}-") for name in request.POST if name.startswith(day.isoformat())] for day in days}
    return {day: queries.doses_named(patient, asked) for day, asked in names.items()}


def _asked(request: HttpRequest, patient: Patient) -> date:
    """The last day of the sheet, never one to come."""
    day = today(patient.hospital.zone)
    try:
        asked = parse_date(request.GET.get("until", ""))
    except ValueError:
        asked = None
    return max(min(asked or day, day), _first(request, patient))


def _first(request: HttpRequest, patient: Patient) -> date:
    """The first day that this person may write about: of a carer the day on which the animal came."""
    if is_staff_for(request.user, patient):
        return admitted_on(patient)
    started = patient.open_placement().started_at
    return started.astimezone(ZoneInfo(patient.hospital.zone)).date()


def _is_stored(request: HttpRequest, patient: Patient, week: PaperWeek) -> bool:
    """All days, or none while one of them has a mistake."""
    if week.mistaken:
        return False
    try:
        found = actions.copy_week(patient, by=request.user, days=[form.cleaned_data for form in week.said])
    except actions.WeekRefused as refused:
        for form in week.said:
            if refusal := refused.by_day.get(form.day):
                form.add_error(None, ValidationError(refusal.messages))
        return False
    calls = sum(each.entry.answer == Answer.PHONE_NOW for each in found)
    stored = ngettext("%(n)d day is copied from paper.", "%(n)d days are copied from paper.", len(found)) % {"n": len(found)}
    messages.success(request, stored)
    if calls:
        said = ngettext("%(n)d of them asks for a call now: read it below.", "%(n)d of them ask for a call now: read them below.", calls)
        messages.error(request, said % {"n": calls})
    return True
