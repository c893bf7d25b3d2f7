"""The front door of planning: a problem in, a plan or a conflict out; and the same in JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from handover.schedule.explain import conflict
from handover.schedule.problem import CLINIC, BadProblem, Problem
from handover.schedule.solve import EFFORT, solve
from handover.schedule.windows import windows

PLANNED, CONFLICT, BAD_INPUT = 0, 1, 2  # exit statuses


@dataclass(frozen=True, slots=True)
class Visit:
    """A day at the clinic, and the events that it serves in the order of the problem."""

    day: date
    events: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Planned:
    """A day for every event, done ones included; windows and reasons for those neither done nor pinned.

    If not proven, the effort ran out: no plan costs less than `bound`. If `bound` is the cost itself the plan is a
    cheapest one, only perhaps not the one whose days come first.
    """

    days: dict[str, date]
    cost: int
    windows: dict[str, tuple[date, date]]
    visits: tuple[Visit, ...]
    why: dict[str, dict[str, tuple[str, ...]]]  # event: earliest and latest: the chain that adds up to the bound
    is_proven: bool = True
    bound: int | None = None

    def to_json(self) -> dict[str, Any]:
        answer: dict[str, Any] = {
            "status": "planned",
            "cost": self.cost,
            "days": {name: day.isoformat() for name, day in self.days.items()},
            "windows": {name: [day.isoformat() for day in window] for name, window in self.windows.items()},
            "visits": [{"day": visit.day.isoformat(), "events": list(visit.events)} for visit in self.visits],
            "why": {name: {side: list(chain) for side, chain in chains.items()} for name, chains in self.why.items()},
        }
        return answer if self.is_proven else answer | {"proven": False, "bound": self.bound}


@dataclass(frozen=True, slots=True)
class Conflict:
    """Demands that cannot all be met: take any one away, and the rest can be planned."""

    members: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        return {"status": "conflict", "conflict": list(self.members)}


def plan(problem: Problem, effort: int = EFFORT) -> Planned | Conflict:
    """The plan of least cost whose days come first, or what stands in the way of any plan.

    `effort` limits the rounds of the search; the same effort gives the same answer on every machine.
    """
    solution = solve(problem, effort)
    if solution is None:
        members = conflict(problem)
        assert members is not None
        return Conflict(members)
    days = {event.id: event.fixed or solution.days[event.id] for event in problem.events}
    windowed = windows(problem)
    return Planned(
        days=days,
        cost=solution.cost,
        windows={name: (window.opens, window.closes) for name, window in windowed.items()},
        visits=_visits(problem, days),
        why={name: {"earliest": window.earliest, "latest": window.latest} for name, window in windowed.items()},
        is_proven=solution.is_proven,
        bound=solution.bound,
    )


def _visits(problem: Problem, days: Mapping[str, date]) -> tuple[Visit, ...]:
    events: dict[date, list[str]] = {}
    for event in problem.events:
        if event.place == CLINIC and not event.done:
            events.setdefault(days[event.id], []).append(event.id)
    return tuple(Visit(day, tuple(names)) for day, names in sorted(events.items()))


# --- JSON in, JSON out ---


def main(text: str) -> tuple[str, int]:
    """Answer a problem, or a list of problems, given as JSON; the answer as JSON and the exit status.

    0: everything is planned; 1: something is in conflict; 2: something is no problem that can be read, and its place
    in the answer says which field and why. The answer is plain ASCII: any terminal and any file takes it.
    """
    answer: Any
    try:
        given = _parsed(text)
    except BadProblem as bad:
        answer, status = _bad(bad)
    else:
        if isinstance(given, list):
            pairs = [_answer(item, f"[{n}].") for n, item in enumerate(given)]
            answer, status = [answer for answer, _ in pairs], max((status for _, status in pairs), default=PLANNED)
        else:
            answer, status = _answer(given)
    return json.dumps(answer, indent=2), status


def _answer(given: Any, prefix: str = "") -> tuple[Any, int]:
    try:
        answer = plan(Problem.from_json(given))
    except BadProblem as bad:
        return _bad(BadProblem(f"{prefix}{bad.field}", bad.reason))
    return answer.to_json(), PLANNED if isinstance(answer, Planned) else CONFLICT


def _bad(bad: BadProblem) -> tuple[dict[str, str], int]:
    return {"status": "bad input", "field": bad.field, "error": str(bad)}, BAD_INPUT


def _parsed(text: str) -> Any:
    try:
        return json.loads(text, object_pairs_hook=_without_twins, parse_constant=_no_number)
    except RecursionError:
        raise BadProblem("problem", "is nested too deeply to be one") from None
    except json.JSONDecodeError as wrong:
        raise BadProblem("problem", f"is not JSON: {wrong.msg} in line {wrong.lineno}, column {wrong.colno}") from None
    except BadProblem:
        raise
    except ValueError:
        raise BadProblem("problem", "holds a number that is too long") from None


def _without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    given = dict(pairs)
    if len(given) < len(pairs):
        twin = next(key for n, (key, _) in enumerate(pairs) if key in [earlier for earlier, _ in pairs[:n]])
        raise BadProblem(twin, "is given twice in one object")
    return given


def _no_number(name: str) -> Any:
    raise BadProblem("problem", f"holds {name}, which is no number in JSON")
