"""The plan of an animal as it would be made today, the plan in force, and what the two have to do with each other."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from handover.facts import cases_of, setup_of
from handover.labels.events import dated_label, event_label
from handover.plans.models import Plan
from handover.protocols.queries import Book, book_of
from handover.schedule.case import Case, Instance, Setup
from handover.schedule.changes import ASIDE, Change, compare, first
from handover.schedule.company import DRIVE
from handover.schedule.library import BadRule, Rule, rules_for
from handover.schedule.plan import Conflict, Planned, plan
from handover.schedule.problem import BadProblem, Problem
from handover.schedule.protocol import problem_for
from handover.schedule.whatif import Ground
from hospital.admissions.models import Patient


@dataclass(frozen=True, slots=True)
class LivePlan:
    """Facts, rules and decisions of today, and what the planning core makes of them.

    `trouble` is a sentence, and `instance` and `answer` are None, when rules or facts make no problem at all.
    """

    patient: Patient
    case: Case
    book: Book
    instance: Instance | None
    answer: Planned | Conflict | None
    trouble: str = ""

    @property
    def planned(self) -> Planned | None:
        return self.answer if isinstance(self.answer, Planned) else None

    @property
    def conflict(self) -> Conflict | None:
        return self.answer if isinstance(self.answer, Conflict) else None

    @property
    def digest(self) -> str:
        """A short name for exactly these days, so that nobody publishes others than were shown."""
        known = self.planned.days.items() if self.planned else ()
        days = {name: day.isoformat() for name, day in known if not name.startswith(DRIVE)}
        return hashlib.sha256(json.dumps(days, sort_keys=True).encode()).hexdigest()[:16]

    @property
    def adoptions(self) -> list[int]:
        """Ids of the adoptions that the problem was made with."""
        if self.instance is None:
            return []
        used = {rule.id for rule in self.instance.rule_of_lag.values()}
        gates = {gate.id for gate in self.book.gates if any(f"season:{gate.id}" in e.id for e in self.instance.problem.events)}
        return sorted(self.book.adoptions[name] for name in used | gates)


def live_plan(patient: Patient, today: date) -> LivePlan:
    """The plan that today's facts, protocols and decisions give, read anew."""
    fresh = Patient.objects.select_related("hospital", "species__group", "cause").get(pk=patient.pk)
    return live_plans([fresh], today)[fresh.pk]


def live_plans(patients: Iterable[Patient], today: date) -> dict[int, LivePlan]:
    """Live plans by patient, in a fixed number of queries for each hospital."""
    found = {}
    for patient, case, book in _known(patients):
        found[patient.pk] = live_from(patient, case, book, today)
    return found


def _known(patients: Iterable[Patient]) -> list[tuple[Patient, Case, Book]]:
    patients = list(patients)
    cases = cases_of(patients)
    books = {hospital: book_of(hospital) for hospital in {patient.hospital for patient in patients}}
    return [(patient, cases[patient.pk], books[patient.hospital]) for patient in patients]


def live_from(patient: Patient, case: Case, book: Book, today: date) -> LivePlan:
    """The plan of one animal from what was read before."""
    try:
        instance = problem_for(case, book.rules, book.gates, setup_of(patient, today))
        return LivePlan(patient, case, book, instance, plan(instance.problem))
    except (BadRule, BadProblem) as trouble:
        return LivePlan(patient, case, book, None, None, str(trouble))


def ground_of(live: LivePlan) -> Ground:
    """What a live plan was made of, for supposing something else. Asks the database nothing. Needs its instance."""
    assert live.instance is not None
    problem = live.instance.problem
    company = frozenset(event.pinned for event in problem.events if event.id.startswith(DRIVE) and event.pinned)
    setup = Setup(today=problem.today, closed=problem.closed, costs=problem.costs, company=company)
    return Ground(live.case, live.book.rules, live.book.gates, setup)


def other_windows(live: LivePlan) -> list[Rule]:
    """Alternative rules in force that this animal could be planned by, for a vet to choose from."""
    if live.instance is None:
        return []
    planned = {(rule.event, rule.anchor) for rule in live.instance.rule_of_lag.values()}
    rules = rules_for(live.case.lineage, live.book.rules)
    return [rule for rule in rules if rule.is_alternative and (rule.event, rule.anchor) in planned]


# --- the plan in force --------------------------------------------------------------------------------------------


def plan_in_force(patient: Patient) -> Plan | None:
    """The published plan that counts, or None before the first."""
    return Plan.objects.filter(pk__in=_current_ids(patient)).select_related("published_by").first()


def _current_ids(patient: Patient) -> QuerySet:
    return type(patient).objects.filter(pk=patient.pk).values("current_plan__plan")


def versions_of(patient: Patient) -> QuerySet[Plan]:
    """Every plan that was ever published, the newest first."""
    return patient.plans.select_related("published_by").order_by("-version")


def days_of(published: Plan) -> dict[str, date]:
    return {name: date.fromisoformat(day) for name, day in published.answer["days"].items()}


def changes_since(published: Plan | None, live: LivePlan) -> tuple[Change, ...]:
    """What publishing would change. Nothing can be compared while there is a conflict."""
    if live.planned is None or live.instance is None:
        return ()
    after = live.instance.problem
    if published is None:
        return first(after, live.planned.days)
    return compare(Problem.from_json(published.problem), days_of(published), after, live.planned.days)


def names_of(live: LivePlan, published: Plan | None) -> dict[str, str]:
    """Words for every event of today's plan and of a published one, by id."""
    names = {}
    if published:
        names = {row.event_id: dated_label(row.event, row.subject, row.event_id) for row in published.dates.all()}
    if live.instance:
        names |= {name: event_label(meaning) for name, meaning in live.instance.meaning.items()}
    return names


# --- what has happened since --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Standing:
    """Of the events that the plan in force still had before it: which facts have since fulfilled (and when), and which
    are no longer asked for, because what they counted from has changed or ended."""

    done: Mapping[str, date]
    gone: frozenset[str]


def standings(patients: Iterable[Patient], today: date) -> dict[int, Standing]:
    """The standing of each patient's plan in force, in a fixed number of queries for each hospital."""
    return {patient.pk: _standing(patient, case, book, today) for patient, case, book in _known(patients)}


def done_event_ids(patients: Iterable[Patient], today: date) -> dict[int, dict[str, date]]:
    """By patient: the planned events that facts have since fulfilled, each with its day."""
    return {key: dict(standing.done) for key, standing in standings(patients, today).items()}


def _standing(patient: Patient, case: Case, book: Book, today: date) -> Standing:
    current = getattr(patient, "current_plan", None)
    if current is None:
        return Standing({}, frozenset())
    events = current.plan.problem["events"]
    open_then = [e["id"] for e in events if not e.get("done") and not e["id"].startswith(ASIDE)]
    try:
        problem = problem_for(case, book.rules, book.gates, setup_of(patient, today)).problem
    except (BadRule, BadProblem):
        return Standing({}, frozenset())
    now = {event.id: event for event in problem.events}
    done = {name: day for name in open_then if name in now and (day := now[name].done)}
    return Standing(done, frozenset(name for name in open_then if name not in now))
