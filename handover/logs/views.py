"""The carer's pages: my animals, today, the report and its answer; and what the hospital sees of them."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from handover.labels.care import SIGNS, water_reason
from handover.logs import actions, queries
from handover.logs.access import for_reporter, is_staff_for
from handover.logs.actions import KeyUsed
from handover.logs.flags import call_now, call_today, picture_of, pictured, signs_for
from handover.logs.forms import ReportForm, SeenForm, WaterForm, as_said, usual, usual_day
from handover.logs.hints import answer_hints
from handover.logs.models import MISHAPS, BandageState, LogEntry, LogSeen
from handover.logs.photos import receive_photo_part
from handover.logs.water import water_of
from handover.logs.wording import (
    answer_card,
    findings_in_words,
    flags_in_words,
    ladder_picture,
    report_in_words,
    tomorrow_in_words,
    water_words,
)
from handover.plans.news import news_of
from handover.protocols.models import Advice
from handover.protocols.queries import advice_for
from handover.questions.queries import unread_answers
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import EditCollision
from hospital.feeding.models import FluidRoute
from hospital.feeding.queries import feeding_now, fluids_at_home
from hospital.feeding.wording import fluid_line, fluid_steps, meals_line
from hospital.pages import as_picture, done, pressed, show, status_of, whole
from hospital.people.access import for_roles
from hospital.people.models import CLINICAL, EVERYONE, STAFF, Role
from hospital.placements.queries import lent_to
from hospital.rules.wording import body_weight

READERS = for_patient(*EVERYONE)
DAYS_SHOWN = 14
GUIDE = (Advice.Topic.PHONE_NOW, Advice.Topic.PHONE_TODAY, Advice.Topic.NORMAL)

# --- the carer's pages --------------------------------------------------------------------------------------------


@require_GET
@for_roles(Role.CARER)
def mine(request: HttpRequest) -> HttpResponse:
    """My animals now: what each needs today, and whether it is logged."""
    placements = queries.mine(request.user)
    days = queries.days_of([each.patient for each in placements], today())
    news = news_of(placements)
    answers = unread_answers(request.user, days)
    rows = [
        {"placement": each, "news": news.get(each.pk), "answers": answers.get(each.patient_id, 0), **_day_words(days[each.patient_id])}
        for each in placements
    ]
    return show(request, "logs/mine.html", {"rows": rows, "today": today(), "loans": lent_to(request.user)})


def _day_words(day: queries.Day) -> dict[str, Any]:
    water = day.allowance
    return {
        "day": day,
        "patient": day.patient,
        "water": water_words(water) if water else "",
        "water_why": water_reason(water) if water else "",
    }


@require_GET
@READERS
def day(request: HttpRequest, patient: Patient) -> HttpResponse:
    """What today asks for, in order, and the form that reports it."""
    found = queries.day_of(patient, _today(patient))
    about = _earlier_day(request, found)
    start = usual(found, now(), queries.usual_food(patient), about, is_filled="usual" in request.GET)
    form = ReportForm(initial=start, doses=() if about else found.doses)
    return _show_day(request, found, form, about=about)


@require_GET
@READERS
def ahead(request: HttpRequest, patient: Patient, on: date) -> HttpResponse:
    """The page of one of the next days as it stands now, for a phone that may have no signal on that day."""
    found = _today(patient)
    if not found < on <= found + timedelta(queries.DAYS_AHEAD):
        raise Http404
    there = queries.day_of(patient, on)
    form = ReportForm(initial=usual(there, now(), queries.usual_food(patient)), doses=there.doses)
    return _show_day(request, there, form, is_ahead=True)


def _earlier_day(request: HttpRequest, found: queries.Day) -> date | None:
    """The day before today that a late report is about."""
    try:
        asked = parse_date(request.GET.get("on", ""))
    except ValueError:
        asked = None
    return asked if asked and asked < found.on else None


def _today(patient: Patient) -> date:
    return today(patient.hospital.zone)


def _show_day(request: HttpRequest, found: queries.Day, form: ReportForm, **more: Any) -> HttpResponse:
    is_mine = bool(found.placement and found.placement.carer and found.placement.carer.person_id == request.user.pk)
    context = day_context(found, form, **more) | {
        "is_mine": is_mine,
        "news": news_of([found.placement]).get(found.placement.pk) if is_mine else None,
        "answers": unread_answers(request.user, [found.patient.pk]).get(found.patient.pk, 0) if is_mine else 0,
    }
    return show(request, "logs/day.html", context, status=status_of(form) if not more.get("status") else more["status"])


def day_context(found: queries.Day, form: ReportForm, **more: Any) -> dict[str, Any]:
    """What a page needs that asks for the report of a day, whoever fills it in."""
    is_late = bool(more.get("about") or more.get("correcting"))
    return {
        **_day_words(found),
        "form": form,
        "last_minutes": _last_minutes(found),
        "last_weight": _last_weight(found.patient),
        "feeding": [each for each in advice_for(found.outlook.case.lineage) if each.topic == Advice.Topic.FEEDING][:3],
        **_cards(form, found),
        **_food_and_fluids(found.patient),
        "hints": None if is_late else answer_hints(found),
        "usual_day": None if is_late or form.is_bound else usual_day(found),
        **more,
    }


def _food_and_fluids(patient: Patient) -> dict[str, Any]:
    """What a vet signed for this animal; fluids only if they were left to the carer."""
    fed, given = feeding_now(patient), fluids_at_home(patient)
    return {
        "fed": {"food": fed.food, "meals": meals_line(fed), "note": fed.note} if fed else None,
        "given_fluids": {
            "what": fluid_line(given),
            "steps": fluid_steps(given, patient.hospital.zone, "l j F, H:i", since=now()),
            "note": given.note,
            "is_injection": given.route == FluidRoute.UNDER_SKIN,
        }
        if given
        else None,
    }


def _last_minutes(found: queries.Day) -> int | None:
    """The minutes of last time, to fill in with one tap: never more than today allows."""
    allowed = found.allowance.minutes if found.allowance else None
    last = queries.last_minutes(found.patient, found.on) if allowed else None
    return last if last and allowed and last < allowed else None


def _last_weight(patient: Patient) -> tuple[str, date] | None:
    """In words, with its day, beside the box for the next one: a slip of the point or the unit is seen at once."""
    last = patient.latest_weight()
    return (body_weight(last.weight_g), last.weighed_at.astimezone(ZoneInfo(patient.hospital.zone)).date()) if last else None


def _cards(form: ReportForm, found: queries.Day) -> dict[str, Any]:
    """The signs as cards with their pictures, those that ask for a call now first, and what can happen."""
    ticked, happened = form.chosen("signs"), form.chosen("happened")
    signs = signs_for(found.outlook.case.lineage, has_water=found.water is not None)
    cards = [{"value": s, "label": SIGNS[s], "icon": picture_of(s), "is_on": s in ticked, "is_severe": s.is_severe} for s in signs]
    mishaps = [{"value": n, "label": words, "icon": picture_of(n), "is_on": n in happened} for n, words in MISHAPS.items()]
    return {"severe": [c for c in cards if c["is_severe"]], "mild": [c for c in cards if not c["is_severe"]], "mishaps": mishaps}


@require_POST
@for_reporter
def send(request: HttpRequest, patient: Patient, is_here: bool) -> HttpResponse:
    """Receive a report: its answer as a page, or as JSON for a device that kept it while there was no signal."""
    form = ReportForm(request.POST, request.FILES, doses=queries.doses_named(patient, request.POST))
    wants_json = request.accepts("application/json") and not request.accepts("text/html")
    try:
        is_done = done(form, actions.receive, patient, by=request.user)
    except KeyUsed as used:
        return _key_used(request, patient, is_here, form, used, wants_json)
    if wants_json:
        return _as_json(form, is_done)
    if is_done:
        return redirect("logs:answer", patient.case_number, form.result.entry.key)
    return _send_again(request, patient, is_here, form)


def _key_used(
    request: HttpRequest, patient: Patient, is_here: bool, form: ReportForm, used: KeyUsed, wants_json: bool
) -> HttpResponse:
    if wants_json:
        return JsonResponse({"status": "refused", "key": str(form.cleaned_data["key"]), "errors": [str(used.sentence)]}, status=409)
    form.add_error(None, str(used.sentence))
    form.collision = used
    form.data = form.data.copy()
    form.data["key"] = str(uuid.uuid4())
    if used.stored.author_id == request.user.pk and used.stored.patient_id == patient.pk:
        form.data["corrects"] = str(used.stored.key)
    return _send_again(request, patient, is_here, form)


def _as_json(form: ReportForm, is_done: bool) -> JsonResponse:
    if not is_done:
        errors = [str(error) for errors in form.errors.values() for error in errors]
        return JsonResponse({"status": "refused", "key": form.data.get("key", ""), "errors": errors}, status=422)
    entry, is_new = form.result.entry, form.result.is_new
    card = answer_card(entry)
    told = {"status": "stored" if is_new else "already", "key": str(entry.key), "answer": entry.answer}
    return JsonResponse(told | {"headline": card.headline, "phone": card.phone, "reasons": list(card.reasons)})


def _send_again(request: HttpRequest, patient: Patient, is_here: bool, form: ReportForm) -> HttpResponse:
    """The form with its mistakes. Somebody who no longer has the animal sees the mistakes and their own words only."""
    if is_here:
        return _show_day(request, queries.day_of(patient, _today(patient)), form)
    return show(request, "logs/left.html", {"form": form, "patient": patient}, status=status_of(form))


@require_GET
@for_reporter
def answer(request: HttpRequest, patient: Patient, is_here: bool, key: uuid.UUID) -> HttpResponse:
    """The answer to a report, across the whole screen: fine, keep to this step, or phone now."""
    entry = _entry(request, patient, key)
    context: dict[str, Any] = {"patient": patient, "card": answer_card(entry), "is_here": is_here}
    if is_here:
        found = queries.day_of(patient, _today(patient))
        context |= {"tomorrow": tomorrow_in_words(found), "day": found, "cautions": _cautions(entry)}
    return show(request, "logs/answer.html", context)


@require_POST
@for_reporter
def photo_part(request: HttpRequest, patient: Patient, is_here: bool, key: uuid.UUID) -> JsonResponse:
    """The next piece of a photograph, from byte `from` of `of`. Told back: how many bytes are here, and whether it is whole."""
    entry = get_object_or_404(LogEntry, patient=patient, author=request.user, key=key)
    start, of = (whole(request.GET.get(name, ""), -1) for name in ("from", "of"))
    try:
        have, is_whole = receive_photo_part(entry, request.body, start=start, of=of)
    except ValidationError as refusal:
        return JsonResponse({"errors": refusal.messages}, status=422)
    return JsonResponse({"have": have, "is_whole": is_whole})


def _entry(request: HttpRequest, patient: Patient, key: uuid.UUID) -> LogEntry:
    entries = LogEntry.objects.visible_to(request.user).filter(patient=patient)
    return get_object_or_404(entries.select_related("author", "corrects", "patient__hospital", "seen__seen_by"), key=key)


def _cautions(entry: LogEntry) -> list[str]:
    """The usual cautions where the hazard is: somebody was hurt by this animal."""
    if "carer_hurt" not in entry.happened:
        return []
    kinds = {entry.patient.species.caution_kind or "bite", *(["zoonosis"] if entry.patient.is_zoonosis_risk else [])}
    return sorted(kinds)


@READERS
def correct(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """A correction: a new report that points at the first one. What was stored stays."""
    entry = _entry(request, patient, key)
    if entry.corrections.exists() or entry.corrects:
        first = entry.corrects or entry
        entry = first.corrections.order_by("made_at", "pk").last() or first
    found = queries.day_of(patient, _today(patient))
    form = ReportForm(initial=as_said(entry, now()))
    return _show_day(request, found, form, correcting=entry)


@require_GET
@READERS
def past(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The reports of the last days, and which days have none."""
    days = queries.last_days(patient, _today(patient), _days_asked(request))
    rows = [{"on": on, "reports": [_report(entry) for entry in entries]} for on, entries in days]
    context = {"patient": patient, "rows": rows, "is_staff": is_staff_for(request.user, patient), "today": _today(patient)}
    context["base"] = "base.html" if context["is_staff"] else "base_carer.html"
    return show(request, "logs/past.html", context)


def _days_asked(request: HttpRequest) -> int:
    return 120 if "all" in request.GET else DAYS_SHOWN


def _report(entry: LogEntry) -> dict[str, Any]:
    return {
        "entry": entry,
        "card": answer_card(entry),
        "lines": report_in_words(entry),
        "findings": findings_in_words(entry),
        "flags": flags_in_words(entry),
    }


@require_GET
@READERS
def photo(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """The photograph of a report: our own JPEG, told to the browser to be a picture and nothing else."""
    entry = _entry(request, patient, key)
    return as_picture(entry.picture, name=f"{entry.key}.jpg")


@require_GET
@READERS
def guide(request: HttpRequest, patient: Patient) -> HttpResponse:
    """What is normal, when to phone, how to handle and keep clean: the advice for this kind of animal."""
    found = advice_for(patient.species.group.lineage())
    topics = [(topic.value, str(topic.label), [each for each in found if each.topic == topic]) for topic in Advice.Topic]
    context = {"patient": patient, "topics": [row for row in topics if row[2]], "first": [str(each) for each in GUIDE]}
    seen_on = {"has_water": water_of(patient) is not None, "has_bandage": patient.bandages.filter(removed_on=None).exists()}
    lineage = patient.species.group.lineage()
    context |= {"now_pictures": pictured(call_now(lineage, **seen_on)), "today_pictures": pictured(call_today(lineage, **seen_on))}
    return show(request, "logs/guide.html", context)


@require_GET
@READERS
def coming(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The days to come: visits with what to bring, things at home, and the water of the next two weeks."""
    found = queries.day_of(patient, _today(patient))
    days: dict[date, list] = {}
    for each in found.outlook.due:
        days.setdefault(each.on, []).append(each)
    ladder = found.water.forecast(found.on, found.on, found.on + timedelta(13)) if found.water else ()
    context = {"patient": patient, "day": found, "days": sorted(days.items())}
    context["ladder"] = [(each, water_words(each), water_reason(each)) for each in ladder]
    return show(request, "logs/coming.html", context)


# --- the hospital's side ------------------------------------------------------------------------------------------


@require_GET
@for_patient(*STAFF)
def card(request: HttpRequest, patient: Patient) -> HttpResponse:
    """For the patient's page: the last days in a small table, and the latest worries."""
    days = queries.last_days(patient, _today(patient), 7)
    rows = [{"on": on, "reports": [_report(entry) for entry in entries]} for on, entries in days]
    unseen = patient.logs.filter(is_worrying=True, seen=None).count()
    water_now = water_of(patient)
    context = {"patient": patient, "rows": rows, "unseen": unseen, "has_any": patient.logs.exists()}
    if water_now:
        allowance = water_now.on(_today(patient))
        context |= {"water": water_words(allowance), "is_stopped": allowance.phone_now}
    if request.htmx:
        return show(request, "logs/_card.html", context)
    return redirect("logs:past", patient.case_number)


@require_GET
@for_roles(*STAFF)
def worrying(request: HttpRequest) -> HttpResponse:
    """Reports that somebody at the hospital must look at and nobody has."""
    can_record = bool(request.roles & CLINICAL)
    rows = [
        _report(entry) | {"lost": _lost(entry) if can_record else []}
        for entry in queries.worrying_reports(request.user, request.hospital)
    ]
    mine = LogSeen.objects.filter(seen_by=request.user, entry__patient__hospital=request.hospital)
    just_seen = mine.filter(seen_at__gte=now() - actions.UNDO_FOR).select_related("entry__patient__species")
    context = {"rows": rows, "just_seen": just_seen}
    return show(request, "logs/worrying.html", context, part="logs/_worrying.html")


def _lost(entry: LogEntry) -> list:
    """The bandages that a report of a lost one may be about."""
    return entry.patient.bandages_on if entry.bandage == BandageState.LOST else []


@require_POST
@for_patient(*CLINICAL)
def bandage_off(request: HttpRequest, patient: Patient, key: uuid.UUID, bandage_id: int) -> HttpResponse:
    """One tap: the bandage that the carer reported as lost is off; then what it does to the plan."""
    entry = _entry(request, patient, key)
    if pressed(request, actions.take_bandage_as_lost, entry, by=request.user, bandage_id=bandage_id):
        words = _("Recorded: the bandage is off. Record a new one when it is on. Look at what it does to the plan, then publish.")
        messages.success(request, words)
        return redirect("plans:replan", patient.case_number)
    return redirect("logs:worrying")


@require_POST
@for_patient(*STAFF)
def seen(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """One tap: this report was read, with a note if there is one."""
    entry = _entry(request, patient, key)
    form = SeenForm(request.POST)
    try:
        if done(form, actions.see, entry, by=request.user):
            messages.success(request, _("Noted: you have seen the report about %(animal)s.") % {"animal": patient.called})
        else:
            messages.error(request, " ".join(str(e) for errors in form.errors.values() for e in errors))
    except EditCollision as collision:
        messages.error(request, str(collision.sentence))
    return redirect("logs:worrying")


@require_POST
@for_patient(*STAFF)
def unsee(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """A tap that was a slip, taken back within a minute."""
    pressed(request, actions.unsee, _entry(request, patient, key), by=request.user)
    return redirect("logs:worrying")


@require_GET
@for_patient(*STAFF)
def water(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Where the animal stands on its ladder and why, day by day, and what may be decided."""
    return _show_water(request, patient)


@require_GET
@for_patient(*STAFF)
def water_card(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The ladder and its forecast, for the page of the care plan. Nothing for an animal without water time."""
    found, day = water_of(patient), _today(patient)
    ladder = ladder_picture(found, day, day - timedelta(10), day + timedelta(14)) if found else None
    return render(request, "logs/_water_card.html", {"patient": patient, "water": found, "ladder": ladder})


@for_patient(Role.VET)
def water_step(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A vet sets the step from a day on."""
    return _decide_water(request, patient, actions.set_step, least=0, name="step_form")


@for_patient(Role.VET)
def water_clear(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A vet ends a stop after a severe sign."""
    return _decide_water(request, patient, actions.clear, least=1, name="clear_form")


def _decide_water(request: HttpRequest, patient: Patient, action: Callable, *, least: int, name: str) -> HttpResponse:
    found, auto_id = water_of(patient), "clear_%s" if name == "clear_form" else "id_%s"
    if request.method != "POST" or found is None:
        return redirect("logs:water", patient.case_number)
    form = WaterForm(request.POST, protocol=found.protocol, today=_today(patient), least=least, auto_id=auto_id)
    if done(form, action, patient, by=request.user):
        messages.success(request, _("Noted. Tell the carer: their page shows it at once, a printed pack does not."))
        return redirect("logs:water", patient.case_number)
    return _show_water(request, patient, **{name: form})


def _show_water(request: HttpRequest, patient: Patient, **forms: WaterForm) -> HttpResponse:
    found, day = water_of(patient), _today(patient)
    context: dict[str, Any] = {"patient": patient, "water": found, "today": day}
    if found:
        first = found.closed_on if "from" in request.GET else day - timedelta(10)
        fresh = {"protocol": found.protocol, "today": day}
        context |= {
            "ladder": ladder_picture(found, day, first, day + timedelta(14)),
            "now": found.on(day),
            "decisions": patient.water_decisions.select_related("decided_by").order_by("-decided_at"),
            "is_vet": request.user.memberships.filter(hospital=patient.hospital_id, role=Role.VET).exists(),
            "step_form": forms.get("step_form") or WaterForm(**fresh, initial={"step": min(found.on(day).step, found.protocol.last_step)}),
            "clear_form": forms.get("clear_form") or WaterForm(**fresh, least=1, auto_id="clear_%s"),
        }
    form = next(iter(forms.values()), None)
    return show(request, "logs/water.html", context | {"form": form}, status=status_of(form) if form else 200)

