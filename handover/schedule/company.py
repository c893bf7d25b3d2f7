"""Days on which a carer comes to the clinic anyway, with another animal: a visit on such a day is no further drive."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from handover.schedule.problem import CLINIC, Event, Problem

DRIVE = "drive:"  # begins the id of such a helper


def with_company(problem: Problem, days: Iterable[date]) -> Problem:
    """The problem of an animal whose carer comes on these days anyway: a visit on one of them costs nothing more.

    Each day becomes a helper that is pinned at the clinic and hangs on nothing, so that it pays for its day and has no
    part in any conflict. Days outside the plan are left out, and all of them where no visit is left to be chosen.
    """
    within = sorted({day for day in days if problem.today <= day <= problem.last_day})
    if not any(event.place == CLINIC and event.fixed is None for event in problem.events):
        return problem
    helpers = (Event(f"{DRIVE}{day.isoformat()}", CLINIC, pinned=day) for day in within)
    return replace(problem, events=(*problem.events, *helpers))


def without_company(problem: Problem) -> Problem:
    """The animal's own problem, as if it were the carer's only one."""
    return replace(problem, events=tuple(event for event in problem.events if not event.id.startswith(DRIVE)))
