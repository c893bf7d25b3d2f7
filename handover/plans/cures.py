"""What a page offers to settle a conflict: each decision is tried out first, and offered only if it does settle it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from handover.facts import setup_of
from handover.labels.conflicts import CureLine, Way, cure_lines
from handover.plans.queries import LivePlan
from handover.plans.wording import counting
from handover.schedule.case import Case, Hold, Pin
from handover.schedule.explain import conflict
from handover.schedule.protocol import problem_for

MOST_CURES = 8  # more than a person wants to choose from
MOST_DAYS_TRIED = 14


def cures_of(live: LivePlan) -> dict[str, Any]:
    """The changes that settle a conflict, each with the number of the decision that it takes back.

    `settles_all` is false where another conflict stands beside this one.
    """
    if live.instance is None or live.conflict is None:
        return {"cures": [], "settles_all": True}
    rows = {Way.UNPIN: counting(live.patient.pins), Way.UNHOLD: counting(live.patient.holds)}
    numbers = {way: dict(found.values_list("event_id", "pk")) for way, found in rows.items()}
    lines, settles_all = cure_lines(live.instance, live.conflict)
    tried = (_tried(live, line) for line in lines[:MOST_CURES])
    return {"cures": [(line, numbers.get(line.way, {}).get(line.event_id)) for line in tried], "settles_all": settles_all}


def _tried(live: LivePlan, line: CureLine) -> CureLine:
    """The line with the first day on which its decision works; mere advice if none does."""
    if line.on is None or line.way not in (Way.PIN, Way.HOLD):
        return line
    tries = MOST_DAYS_TRIED if line.way is Way.HOLD else 1
    days = (line.on + timedelta(n) for n in range(tries))
    working = (day for day in days if _settles(live, _with_decision(live, replace(line, on=day))))
    day = next(working, None)
    return replace(line, on=day) if day else CureLine(line.words)


def _with_decision(live: LivePlan, line: CureLine) -> Case:
    assert live.instance is not None
    assert line.on is not None
    case = live.case
    if line.way is Way.PIN:
        others = tuple(pin for pin in case.pins if pin.event_id != line.event_id)
        return replace(case, pins=(*others, Pin(line.event_id, line.on)))
    held = tuple(hold for hold in case.holds if hold.event_id != line.event_id)
    return replace(case, holds=(*held, Hold(line.event_id, live.instance.problem.today, line.on)))


def _settles(live: LivePlan, case: Case) -> bool:
    """Whether this very conflict is gone; another one may have stood beside it."""
    assert live.instance is not None
    assert live.conflict is not None
    setup = setup_of(live.patient, live.instance.problem.today)
    members = conflict(problem_for(case, live.book.rules, live.book.gates, setup).problem)
    return members is None or not set(members) & set(live.conflict.members)
