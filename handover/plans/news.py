"""What whoever nurses an animal has to be told of a new plan: a sentence for each change, until somebody says it is known."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from handover.labels.changes import cause_in_words
from handover.labels.events import dated_label, plain_label
from handover.plans.models import CurrentPlan, Plan, PlannedDate, PlanRead
from handover.plans.queries import days_of
from handover.schedule.changes import Change, compare, first, worth_telling
from handover.schedule.problem import Problem
from hospital.admissions.days import locked
from hospital.admissions.models import Patient, Placement
from hospital.clock import now
from hospital.people.models import Person
from hospital.words import dated

DAY = "D j M Y"  # Tue 5 Jan 2027: month as a word, weekday before
SENTENCES = {
    "moved": gettext_lazy("“%(what)s” moves from %(was)s to %(now)s."),
    "changed": gettext_lazy("“%(what)s” changes from %(was)s to %(now)s."),
    "added": gettext_lazy("“%(what)s” is new: %(now)s."),
    "dropped": gettext_lazy("“%(what)s” is no longer planned (it was: %(was)s)."),
    "done": gettext_lazy("“%(what)s” is done (it was planned for %(was)s)."),
}


def change_in_words(what: str, kind: str, was: str, now: str) -> str:
    """One change in one sentence, for a carer. `was` and `now` are in words."""
    return str(SENTENCES[kind]) % {"what": what, "was": was, "now": now}


@dataclass(frozen=True, slots=True)
class Told:
    """One change: the sentence, and why in another."""

    sentence: str
    why: str


@dataclass(frozen=True, slots=True)
class News:
    """What is different in the plan in force from the one that is known where the animal lives."""

    plan: Plan
    lines: tuple[Told, ...]


def news_of(placements: Iterable[Placement]) -> dict[int, News]:
    """By placement: what is not known there yet. In a fixed number of queries.

    Known is the plan that was in force when the animal came, and any that somebody there has read since. A day on which
    something was done is no news: whoever has the animal was there.
    """
    placements = list(placements)
    rows = CurrentPlan.objects.filter(patient__in=[each.patient_id for each in placements]).select_related("plan")
    current = {row.patient_id: row.plan for row in rows}
    known = _known(placements)
    behind = [each for each in placements if _is_behind(current.get(each.patient_id), known.get(each.pk))]
    earlier = Plan.objects.in_bulk([known[each.pk].pk for each in behind if each.pk in known])
    names = _names([*earlier, *(current[each.patient_id].pk for each in behind)])
    found = {}
    for each in behind:
        plan, since = current[each.patient_id], known.get(each.pk)
        if lines := _lines(earlier[since.pk] if since else None, plan, names[each.patient_id]):
            found[each.pk] = News(plan, lines)
    return found


def _is_behind(plan: Plan | None, known: Plan | None) -> bool:
    return plan is not None and (known is None or known.version < plan.version)


def _known(placements: list[Placement]) -> dict[int, Plan]:
    """By placement: the newest plan that is known there, without its contents."""
    published: dict[int, list[Plan]] = defaultdict(list)
    for plan in Plan.objects.filter(patient__in=[p.patient_id for p in placements]).only("pk", "patient_id", "version", "published_at"):
        published[plan.patient_id].append(plan)
    read = set(PlanRead.objects.filter(placement__in=[p.pk for p in placements]).values_list("placement_id", "plan_id"))
    known = {}
    for each in placements:
        plans = [p for p in published[each.patient_id] if p.published_at <= each.started_at or (each.pk, p.pk) in read]
        if plans:
            known[each.pk] = max(plans, key=lambda plan: plan.version)
    return known


def _names(plans: list[int]) -> dict[int, dict[str, str]]:
    """By patient: words for every event of these plans, those of the later plan first."""
    found: dict[int, dict[str, str]] = defaultdict(dict)
    rows = PlannedDate.objects.filter(plan__in=plans).order_by("plan__version", "pk")
    for patient_id, event, subject, event_id in rows.values_list("patient_id", "event", "subject", "event_id"):
        found[patient_id][event_id] = dated_label(event, subject, event_id)
    return found


def _lines(since: Plan | None, plan: Plan, names: Mapping[str, str]) -> tuple[Told, ...]:
    after, days = Problem.from_json(plan.problem), days_of(plan)
    if since is None:
        changes = first(after, days)
    else:
        changes = compare(Problem.from_json(since.problem), days_of(since), after, days)
    return tuple(_told(change, names) for change in worth_telling(changes))


def _told(change: Change, names: Mapping[str, str]) -> Told:
    was, now_on = (dated(day, DAY) for day in (change.was, change.now))
    what = names.get(change.event_id) or plain_label(change.event_id)
    why = " ".join(cause_in_words(cause, names, DAY) for cause in change.causes[:1])
    return Told(change_in_words(what, str(change.kind), was, now_on), why)


def knowing(patient: Patient, published: Plan | None) -> dict[str, Any]:
    """For the hospital: who has said that the days of a plan are known, and what the carer has still to be told."""
    here = patient.placements.filter(ended_at=None).exclude(carer=None).select_related("carer__person").first()
    readings = published.readings.select_related("read_by").order_by("read_at", "pk") if published else ()
    return {"readings": list(readings), "nursed_by": here and here.carer, "news": news_of([here]).get(here.pk) if here else None}


@transaction.atomic
def say_known(patient: Patient, *, by: Person, seen_plan: int) -> PlanRead:
    """The days of the plan that was shown are known where the animal lives now. Said again, it changes nothing.

    Refuses a plan that is no longer in force: its days are not those to go by.
    """
    patient = locked(patient)
    placement = patient.open_placement()
    current = Plan.objects.filter(pk__in=CurrentPlan.objects.filter(patient=patient).values("plan"), pk=seen_plan).first()
    if placement is None or current is None:
        raise ValidationError(_("The plan has changed again. Read the newer days below."))
    reading, _is_new = PlanRead.objects.get_or_create(plan=current, placement=placement, defaults={"read_at": now(), "read_by": by})
    return reading
