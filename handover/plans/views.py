"""Pages of the care plan: what is due and why, decisions, old and new side by side, versions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from handover.labels.conflicts import conflict_lines
from handover.labels.events import dated_label, event_label
from handover.labels.rules import rule_figures
from handover.plans import actions
from handover.plans.cures import cures_of
from handover.plans.forms import ChoiceForm, EventForm, HoldForm, PinForm, PublishForm
from handover.plans.models import Plan, PlannedDate
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
from handover.plans.wording import (
    change_lines,
    decisions_of,
    done_rows,
    late_items,
    notes_of,
    picture_of,
    rows_of,
    stored_change_lines,
    visits_of,
)
from handover.schedule.changes import ASIDE
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.pages import done, pressed, show, status_of
from hospital.people.models import Role

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
    }
    return show(request, "plans/plan.html", context)


def _agreed(patient: Patient, published: Plan) -> list[dict[str, Any]]:
    """The published dates that are still to come: what people go by while nothing new can be planned."""
    standing = standings([patient], today())[patient.pk]
    dates = [_dated(row, standing.done) for row in published.dates.all() if row.event_id not in standing.gone]
    return [date for date in dates if not date["done_on"]]


def _base(request: HttpRequest, patient: Patient, live: LivePlan, published: Plan | None) -> dict[str, Any]:
    names = names_of(live, published)
    roles = set(request.user.memberships.filter(hospital=patient.hospital_id).values_list("role", flat=True))
    return {
        "patient": patient,
        "live": live,
        "published": published,
        "changes": change_lines(changes_since(published, live), names),
        "conflict": conflict_lines(live.instance, live.conflict) if live.instance and live.conflict else [],
        **cures_of(live),
        "can_plan": bool(roles & {Role.VET, Role.COORDINATOR}),
        "is_vet": Role.VET in roles,
    }


@READERS
def next_card(request: HttpRequest, patient: Patient) -> HttpResponse:
    """For the patient's page: the next three dates, what is late, and whether the plan in force still holds."""
    live, published = live_plan(patient, today()), plan_in_force(patient)
    rows = rows_of(live)
    context = {**_base(request, patient, live, published), "rows": rows[:3], "late": late_items(live)}
    return show(request, "plans/_next_card.html", context)


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
    start = {"rule": request.GET.get("rule")}
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
