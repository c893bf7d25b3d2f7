"""With the shipped protocols: where everybody keeps every promise, no later plan takes one back.

The animals are invented; the figures are those of fixtures/reference/protocols.toml with the sources named there.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from handover.schedule.changes import ASIDE, Change, Kind, compare, is_shut
from handover.schedule.plan import Planned, plan
from handover.schedule.problem import Closed, Problem
from handover.schedule.protocol import MOST_LINKS, Case, Fact, Setup, gates_from_toml, lineage_of, problem_for, rules_from_toml

FOLDER = Path(__file__).parents[2] / "fixtures" / "reference"
RULES = rules_from_toml(tomllib.loads((FOLDER / "protocols.toml").read_text(encoding="utf-8")))
GATES = gates_from_toml(tomllib.loads((FOLDER / "season_gates.toml").read_text(encoding="utf-8")))
PARENTS = {row["slug"]: row.get("parent") for row in tomllib.loads((FOLDER / "taxon_groups.toml").read_text(encoding="utf-8"))["group"]}
MONDAY = date(2027, 3, 1)
CLOSED = {"clinic": Closed(frozenset({5, 6}), frozenset({date(2027, 3, 26), date(2027, 3, 29)}))}
DAYS_WALKED = 100


def fact(event: str, subject: str, tags: str = "") -> Fact:
    return Fact(event, MONDAY, subject, frozenset(tags.split()), subject)


WRAP = fact("bandage_applied", "wrap")
LIMB = (fact("surgery", "limb", "removable_implant"), fact("wound_closure", "wound", "sutures limb_fixation"), WRAP)
WOUND = (fact("surgery", "leg"), fact("wound_closure", "wound", "sutures"), WRAP)
WING = (fact("surgery", "wing", "removable_implant"), fact("splint_applied", "splint"), fact("wound_closure", "wound"))
CASES = [("turtle-freshwater", LIMB), ("hedgehog", WOUND), ("waterbird", WING), ("raptor", WING), ("lizard", WOUND), ("bat", LIMB)]


@pytest.mark.parametrize(("group", "facts"), CASES, ids=[group for group, _ in CASES])
def test_a_plan_that_is_kept_day_by_day_takes_no_promise_back(group, facts):
    """Each day is planned anew from the day before; what is due that day is done that day. Only a chain of more than
    seven links, whose next one comes into sight, may still shift its own far end."""
    case = Case(lineage_of(group, PARENTS), (Fact("admission", MONDAY), *facts))
    before, done = None, 0
    for n in range(DAYS_WALKED):
        today = MONDAY + timedelta(n)
        instance = problem_for(case, RULES, GATES, Setup(today, closed=CLOSED))
        answer = plan(instance.problem)
        assert isinstance(answer, Planned)
        if before:
            changes = compare(*before, instance.problem, answer.days)
            assert all(change.kind is Kind.ADDED for change in changes) or any(is_far_link(change) for change in changes), (today, changes)
        due = [name for name, on in answer.days.items() if on == today and name in answer.windows and not name.startswith(ASIDE)]
        meanings = [instance.meaning[name] for name in due]
        facts_today = tuple(Fact(m.event, today, m.subject, label=m.label) for m in meanings)
        case = replace(case, facts=(*case.facts, *facts_today), previous=answer.days)
        before, done = (instance.problem, answer.days), done + len(due)
    assert done >= 5


def is_far_link(change: Change) -> bool:
    number = change.event_id.rpartition(":")[2]
    return change.kind is Kind.ADDED and number.isdecimal() and int(number) > MOST_LINKS


@pytest.mark.parametrize(("group", "facts"), CASES, ids=[group for group, _ in CASES])
def test_what_is_late_is_planned_for_the_first_day_that_can_be_had_however_long_nobody_comes(group, facts):
    """Nothing is done for seven weeks. A journey that could be shared later never puts off what is overdue."""
    case = Case(lineage_of(group, PARENTS), (Fact("admission", MONDAY), *facts))
    met = 0
    for today in (MONDAY + timedelta(n) for n in range(0, 50, 3)):
        instance = problem_for(case, RULES, GATES, Setup(today, closed=CLOSED))
        answer = plan(instance.problem)
        assert isinstance(answer, Planned)
        for late in instance.late:
            earlier = days_before(answer.days[late.event_id], answer.windows[late.event_id][0])
            assert not any(could_be_on(instance.problem, late.event_id, day) for day in earlier), (today, late)
        case = replace(case, previous=answer.days)
        met += len(instance.late)
    assert met >= 10


def days_before(day: date, first: date) -> list[date]:
    return [first + timedelta(n) for n in range((day - first).days)]


def could_be_on(problem: Problem, event_id: str, day: date) -> bool:
    """Whether an open day keeps every longest interval (between two checks, say, over the days on which nobody is there)."""
    event = next(each for each in problem.events if each.id == event_id)
    if event.place == "clinic" and is_shut(CLOSED["clinic"], day):
        return False
    events = tuple(replace(each, pinned=day) if each is event else each for each in problem.events)
    return isinstance(plan(replace(problem, events=events)), Planned)
