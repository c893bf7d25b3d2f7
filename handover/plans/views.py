"""Pages of the care plan: what is due and why, decisions, old and new side by side, versions."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from handover.labels.conflicts import conflict_lines
from handover.labels.events import dated_label, event_label
from handover.labels.rules import rule_figures
from handover.plans import actions
from handover.plans.asking import Row as AskedRow
from handover.plans.asking import groups_of
from handover.plans.cures import cures_of
from handover.plans.forms import ChoiceForm, EventForm, HoldForm, PinForm, PublishForm
from handover.plans.models import Plan, PlannedDate
from handover.plans.news import knowing
from handover.plans.queries import (
    LivePlan,
    changes_since,
    live_plan,
    names_of,
    other_windows,
    plan_in_force,
    standings,
    versions_of,
)
from handover.plans.supposing import Trial, phrases, side_by_side, trial
from handover.plans.wording import (
    change_lines,
    decisions_of,
    done_rows,
    late_items,
    moves_of,
    notes_of,
    picture_of,
    rows_of,
    stored_change_lines,
    visits_of,
)
from handover.schedule.changes import ASIDE
from handover.schedule.whatif import CarerAway, ClinicShut, NotBefore, OnDay, OtherFigures
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.pages import done, pressed, show, status_of
from hospital.people.models import Carer, Role

READERS = for_patient(Role.VET, Role.NURSE, Role.COORDINATOR)
PLANNERS = for_patient(Role.VET, Role.COORDINATOR)
VETS = for_patient(Role.VET)


@READERS
def plan(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Today's plan with its reasons; the plan in force, and what differs between the two."""
    live, published = live_plan(patient, today()), plan_in_force(patient)
    rows = rows_of(live)
    visits = visits_of(live, rows)
    context = {
        **_base(request, patient, live, published),
        "rows": rows,
        "visits": visits,
        "late": late_items(live),
        "done": done_rows(live),
        "notes": notes_of(live),
        "picture": picture_of(live, rows, visits),
        **decisions_of(live, names_of(live, published)),
        "windows": other_windows(live),
        "agreed": _agreed(patient, published) if published and live.planned is None else [],
        **knowing(patient, published),
    }
    return show(request, "plans/plan.html", context)


def _agreed(patient: Patient, published: Plan) -> list[dict[str, Any]]:
    """The published dates that are still to come: what people go by while nothing new can be planned."""
    standing = standings([patient], today())[patient.pk]
    dates = [_dated(row, standing.done) for row in published.dates.all() if row.event_id not in standing.gone]
    return [date for date in dates if not date["done_on"]]


def _base(request: HttpRequest, patient: Patient, live: LivePlan, published: Plan | None) -> dict[str, Any]:
    names = names_of(live, published)
    roles = _roles(request, patient)
    return {
        "patient": patient,
        "live": live,
        "published": published,
        "changes": change_lines(changes_since(published, live), names),
        "conflict": conflict_lines(live.instance, live.conflict) if live.instance and live.conflict else [],
        **cures_of(live),
        "carer": _carer(patient) if live.conflict else None,
        "can_plan": bool(roles & {Role.VET, Role.COORDINATOR}),
        "is_vet": Role.VET in roles,
    }


def _roles(request: HttpRequest, patient: Patient) -> set[str]:
    return set(request.user.memberships.filter(hospital=patient.hospital_id).values_list("role", flat=True))


@READERS
def next_card(request: HttpRequest, patient: Patient) -> HttpResponse:
    """For the patient's page: the next three dates, what is late, and whether the plan in force still holds."""
    live, published = live_plan(patient, today()), plan_in_force(patient)
    rows = rows_of(live)
    context = {**_base(request, patient, live, published), "rows": rows[:3], "late": late_items(live)}
    return show(request, "plans/_next_card.html", context)


@READERS
def what_moves(request: HttpRequest, patient: Patient) -> HttpResponse:
    """What would move one date: how far it can go, and what each other day would cost."""
    live = live_plan(patient, today())
    row = next((row for row in rows_of(live) if row.event_id == request.GET.get("event")), None)
    if row is None:
        raise Http404
    context = {
        "patient": patient,
        "row": row,
        **moves_of(live, row),
        "can_plan": bool(_roles(request, patient) & {Role.VET, Role.COORDINATOR}),
    }
    return show(request, "plans/what_moves.html", context, part="plans/_what_moves.html")


# --- what if ------------------------------------------------------------------------------------------------------


@READERS
def what_if(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Suppose other dates, closed days, days away and rules, and see old and new side by side. Writes nothing."""
    live, published = live_plan(patient, today()), plan_in_force(patient)
    context = {"patient": patient, "live": live, "published": published, "address": reverse("plans:what-if", args=[patient.case_number])}
    if live.instance is None:
        return show(request, "plans/what_if.html", context)
    found = trial(live, request.GET)
    if not found.asked.is_clean and not request.htmx:
        return redirect(f"{context['address']}?{found.asked.address()}")
    carer = _carer(patient)
    _refuse_away(found, carer)
    context |= {
        "trial": found,
        "asked": found.asked,
        "form": next(iter(found.asked.mistaken), None),
        "groups": groups_of(found.asked, has_carer=carer is not None),
        **side_by_side(found, published),
        "supposed": [(row, words, without, _ways(request, live, row, carer)) for row, words, without in phrases(found)],
    }
    status = 422 if found.asked.has_mistakes else 200
    answer = show(request, "plans/what_if.html", context, part="plans/_what_if.html", status=status)
    if request.htmx:
        answer["HX-Push-Url"] = f"{context['address']}?{found.asked.address()}"
    return answer


def _carer(patient: Patient) -> Carer | None:
    here = patient.placements.filter(ended_at=None, carer__isnull=False).select_related("carer__person").first()
    return here.carer if here else None


def _refuse_away(found: Trial, carer: Carer | None) -> None:
    for row in found.asked.rows:
        if carer is None and isinstance(row.supposition, CarerAway):
            row.form.add_error("starts_on", _("This animal is with no carer. Take this out."))


def _ways(request: HttpRequest, live: LivePlan, row: AskedRow, carer: Carer | None) -> list[tuple[str, str]]:
    """Where a supposition is made true, with its values filled in: for those who may, as (address, words)."""
    patient, supposition = live.patient, row.supposition
    roles = _roles(request, patient)
    is_here = request.hospital == patient.hospital
    reason = {"reason": _("Tried out beside the plan")}
    if not patient.is_in_care:
        return []
    if isinstance(supposition, OnDay) and roles & {Role.VET, Role.COORDINATOR}:
        values = {"event": supposition.event_id, "on": supposition.on} | reason
        return [(_address("plans:pin", values, patient.case_number), _("Fix this day"))]
    if isinstance(supposition, NotBefore) and Role.VET in roles:
        values = {"event": supposition.event_id, "not_before": supposition.not_before} | reason
        return [(_address("plans:hold", values, patient.case_number), _("Say “not yet”"))]
    if isinstance(supposition, ClinicShut) and Role.COORDINATOR in roles and is_here:
        return [(_address("sites:close-day", {"on": supposition.on}), _("Close the clinic on this day"))]
    if isinstance(supposition, CarerAway) and Role.COORDINATOR in roles and is_here and carer:
        values = {"starts_on": supposition.starts_on, "ends_on": supposition.ends_on}
        return [(_address("placements:away-add", values, carer.pk), _("Enter the days away"))]
    if isinstance(supposition, OtherFigures) and Role.VET in roles and is_here:
        return list(_rule_ways(live, supposition))
    return []


def _rule_ways(live: LivePlan, supposition: OtherFigures) -> Iterator[tuple[str, str]]:
    """Another window of the protocol for this animal where there is one; the rule's own page for every animal."""
    rule = next(rule for rule in live.book.rules if rule.id == supposition.rule_id)
    windows = [each for each in other_windows(live) if (each.event, each.anchor) == (rule.event, rule.anchor)]
    if windows:
        values = {"rule": windows[0].id, "reason": _("Tried out beside the plan")}
        yield _address("plans:choose", values, live.patient.case_number), _("Take another window, for this animal")
    figures = {name: getattr(supposition, name) for name in ("min_days", "usual_days", "max_days")}
    values = {name: days for name, days in figures.items() if days is not None}
    yield _address("protocols:row", values, "rule", rule.id), _("Change the protocol, for every animal")


def _address(name: str, values: Mapping[str, Any], *args: Any) -> str:
    return f"{reverse(name, args=args)}?{urlencode(values)}"


# --- publishing ---------------------------------------------------------------------------------------------------


@READERS
def replan(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Old and new side by side with reasons, and the button that publishes."""
    return _show_replan(request, patient, None)


@PLANNERS
def publish(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Publish the plan that was shown."""
    if request.method != "POST":
        return redirect("plans:replan", patient.case_number)
    form = PublishForm(request.POST)
    if done(form, actions.publish, patient, by=request.user):
        words = {"version": form.result.version}
        messages.success(request, _("Version %(version)d of the plan is in force. Make the carer a new pack.") % words)
        return redirect("plans:plan", patient.case_number)
    return _show_replan(request, patient, form)


def _show_replan(request: HttpRequest, patient: Patient, form: BaseForm | None) -> HttpResponse:
    live, published = live_plan(patient, today()), plan_in_force(patient)
    seen = {"seen_plan": published.pk if published else 0, "seen_answer": live.digest}
    context = {
        **_base(request, patient, live, published),
        "form": _moved_on(form, seen) if form else PublishForm(initial=seen),
        "kept": _kept_rows(live, published),
        "theirs": form.collision.theirs if hasattr(form, "collision") else None,
    }
    return show(request, "plans/replan.html", context, status=status_of(form) if form else 200)


def _moved_on(form: BaseForm, seen: dict[str, Any]) -> BaseForm:
    """The same form with what was typed; its hidden fields now name what the page shows."""
    form.data = form.data.copy()
    form.data.update({name: str(value) for name, value in seen.items()})
    return form


def _kept_rows(live: LivePlan, published: Plan | None) -> list:
    """What stays as it was published."""
    if published is None or live.planned is None:
        return []
    changed = {change.event_id for change in changes_since(published, live)}
    return [row for row in rows_of(live) if row.event_id not in changed]


# --- decisions ----------------------------------------------------------------------------------------------------


@PLANNERS
def pin(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Fix a day for something."""
    form = _decision_form(request, PinForm, patient, {"on": request.GET.get("on")})
    words = (
        _("Fix a day"),
        _("The plan is made round it. It counts even on a day on which the clinic is usually closed."),
    )
    return _decide(request, patient, form, actions.fix_day, *words, _("Fix this day"))


@VETS
def hold(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Not yet: something waits until a day."""
    start = {"not_before": request.GET.get("not_before")}
    form = _decision_form(request, HoldForm, patient, start)
    words = (
        _("Not yet"),
        _("The animal needs longer than the protocol says. It outweighs the latest day of the protocol."),
    )
    return _decide(request, patient, form, actions.hold_back, *words, _("Let it wait"))


@VETS
def choose(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Plan this animal by another window of the protocol."""
    rules = other_windows(live_plan(patient, today()))
    start = {"rule": request.GET.get("rule"), "reason": request.GET.get("reason")}
    form = ChoiceForm(request.POST or None, initial=start, rules=[(rule.id, rule_figures(rule)) for rule in rules])
    words = _("Take another window"), _("For this animal only, in place of the usual window of the protocol.")
    return _decide(request, patient, form, actions.choose_window, *words, _("Plan by this window"))


def _decision_form(request: HttpRequest, kind: type[EventForm], patient: Patient, start: dict) -> EventForm:
    start |= {"event_id": request.GET.get("event"), "reason": request.GET.get("reason")}
    start["seen_latest"] = _latest(patient, kind)
    return kind(request.POST or None, initial=start, events=_open_events(live_plan(patient, today())))


def _latest(patient: Patient, kind: type[EventForm]) -> int:
    """The number of the latest decision of this kind, so that none made after it is replaced unseen."""
    decisions = patient.pins if kind is PinForm else patient.holds
    return decisions.order_by("-pk").values_list("pk", flat=True).first() or 0


def _open_events(live: LivePlan) -> list[tuple[str, str]]:
    if live.instance is None:
        return []
    events = (e.id for e in live.instance.problem.events if not e.done and not e.id.startswith(ASIDE))
    return [(event_id, event_label(live.instance.meaning[event_id])) for event_id in events]


def _decide(request: HttpRequest, patient: Patient, form: BaseForm, action: Callable, heading: str, lead: str, save: str) -> HttpResponse:
    if done(form, action, patient, by=request.user):
        messages.success(request, _("Noted. Look at what it does to the plan, then publish."))
        return redirect("plans:replan", patient.case_number)
    if isinstance(form, EventForm) and form.was_refused_unseen():
        form = _moved_on(form, {"seen_latest": _latest(patient, type(form))})
    context = {"patient": patient, "form": form, "heading": heading, "lead": lead, "save": save}
    return show(request, "plans/decide.html", context, part="plans/_decide_form.html", status=status_of(form))


@PLANNERS
def unpin(request: HttpRequest, patient: Patient, pk: int) -> HttpResponse:
    """A day is no longer fixed."""
    return _end(request, patient, get_object_or_404(patient.pins, pk=pk))


@VETS
def unhold(request: HttpRequest, patient: Patient, pk: int) -> HttpResponse:
    """A "not yet" no longer holds."""
    return _end(request, patient, get_object_or_404(patient.holds, pk=pk))


@VETS
def unchoose(request: HttpRequest, patient: Patient, pk: int) -> HttpResponse:
    """Back to the usual window of the protocol."""
    return _end(request, patient, get_object_or_404(patient.rule_choices, pk=pk))


def _end(request: HttpRequest, patient: Patient, decision: Any) -> HttpResponse:
    if request.method == "POST" and pressed(request, actions.end_decision, decision):
        messages.success(request, _("Taken back. Look at what it does to the plan, then publish."))
        return redirect("plans:replan", patient.case_number)
    return redirect("plans:plan", patient.case_number)


# --- versions -----------------------------------------------------------------------------------------------------


@READERS
def versions(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Every plan that was published."""
    return show(request, "plans/versions.html", {"patient": patient, "versions": versions_of(patient)})


@READERS
def version(request: HttpRequest, patient: Patient, number: int) -> HttpResponse:
    """One published plan as it was, and what has happened to it since if it is the one in force."""
    published = get_object_or_404(versions_of(patient), version=number)
    current = plan_in_force(patient)
    is_current = current is not None and current.pk == published.pk
    standing = standings([patient], today())[patient.pk] if is_current else None
    context = {
        "patient": patient,
        "published": published,
        "current": current,
        "is_current": is_current,
        "dates": [_dated(row, standing.done if standing else {}) for row in published.dates.all()],
        "changes": stored_change_lines(published.changes),
    }
    return show(request, "plans/version.html", context)


def _dated(row: PlannedDate, done_since: Mapping[str, date]) -> dict[str, Any]:
    label = dated_label(row.event, row.subject, row.event_id)
    return {"row": row, "label": label, "done_on": row.done_on or done_since.get(row.event_id)}
