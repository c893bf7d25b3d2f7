"""With the shipped protocols: where everybody keeps every promise, no later plan takes one back.

The animals are invented; the figures are those of fixtures/reference/protocols.toml with the sources named there.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from handover.schedule.changes import ASIDE, Change, Kind, compare
from handover.schedule.plan import Planned, plan
from handover.schedule.problem import Closed
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
