"""Between which days each open event must fall, and the sum behind each bound.

The minimal network of a simple temporal problem (Dechter, Meiri, Pearl 1991, Artificial Intelligence 49:61-95): longest
paths from what is known. Opening days play no part. Both ends of a window are days that belong to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from handover.schedule.network import fixed_days
from handover.schedule.problem import HORIZON, PIN, TODAY, Problem

Arcs = dict[str, list[tuple[str, str, int]]]  # event: (lag, other event, least days from the one to the other)
Chain = tuple[str, ...]


class NoWindow(ValueError):
    """The lags, facts and pins contradict each other, so that an event has no day at all."""


@dataclass(frozen=True, slots=True)
class Window:
    """First and last possible day, and the chain of names whose lengths add up to each.

    A chain starts at `today`, `horizon` or `pin:EVENT`, or, if it starts with a lag, at that lag's done event, and goes
    from lag to lag to the event. Of several chains the shortest is given, facts before `today` and `horizon`.
    """

    opens: date
    closes: date
    earliest: Chain
    latest: Chain


def windows(problem: Problem) -> dict[str, Window]:
    """The window of each event that is neither done nor pinned. Raises NoWindow if lags, facts and pins collide."""
    fixed = fixed_days(problem)
    onwards, backwards = _arcs(problem)
    negated = {name: -day for name, day in fixed.items()}
    first, first_why = _pushed(problem, fixed, onwards, 0, TODAY)
    last, last_why = _pushed(problem, negated, backwards, -problem.horizon_days, HORIZON)
    if not _agree(problem, fixed, onwards) or any(first[event.id] + last[event.id] > 0 for event in problem.events):
        raise NoWindow("The lags, facts and pins leave an event no day at all.")
    return {
        event.id: Window(
            problem.today + timedelta(first[event.id]),
            problem.today + timedelta(-last[event.id]),
            first_why[event.id],
            last_why[event.id],
        )
        for event in problem.events
        if event.id not in fixed
    }


def _agree(problem: Problem, fixed: Mapping[str, int], onwards: Arcs) -> bool:
    """Whether the fixed days suit the lags between them, and the pins the days that are planned at all."""
    pins = (fixed[event.id] for event in problem.events if event.pinned and not event.done)
    gaps = ((fixed[other] - day, least) for name, day in fixed.items() for _, other, least in onwards[name] if other in fixed)
    return all(0 <= day <= problem.horizon_days for day in pins) and all(gap >= least for gap, least in gaps)


def _arcs(problem: Problem) -> tuple[Arcs, Arcs]:
    """Least days from event to event, and the same for days counted backwards; lags in the order of their ids."""
    done = {event.id for event in problem.events if event.done}
    onwards: Arcs = {event.id: [] for event in problem.events}
    backwards: Arcs = {event.id: [] for event in problem.events}
    for lag in sorted(problem.lags, key=lambda lag: lag.id):
        if lag.start in done and lag.end in done:
            continue  # history
        if lag.min is not None:
            onwards[lag.start].append((lag.id, lag.end, lag.min))
            backwards[lag.end].append((lag.id, lag.start, lag.min))
        if lag.max is not None:
            onwards[lag.end].append((lag.id, lag.start, -lag.max))
            backwards[lag.start].append((lag.id, lag.end, -lag.max))
    return onwards, backwards


def _pushed(problem: Problem, fixed: Mapping[str, int], arcs: Arcs, edge: int, marker: str) -> tuple[dict[str, int], dict[str, Chain]]:
    """The least day of each event, none before `edge` unless fixed; and a shortest chain that pushes it there."""
    days = {event.id: fixed.get(event.id, edge) for event in problem.events}
    waiting, turns = list(days), 0
    while waiting:
        turns += len(waiting)
        if turns > len(days) * (len(days) + 1):
            raise NoWindow("The lags contradict each other: they push their events apart without end.")
        moved: dict[str, None] = {}
        for name in waiting:
            for _, other, least in arcs[name]:
                if other not in fixed and days[name] + least > days[other]:
                    days[other] = days[name] + least
                    moved[other] = None
        waiting = list(moved)
    return days, _chains(problem, days, fixed, arcs, edge, marker)


def _chains(problem: Problem, days: Mapping[str, int], fixed: Mapping[str, int], arcs: Arcs, edge: int, marker: str) -> dict[str, Chain]:
    """Breadth first along the lags that hold exactly, so that each event gets a chain of the fewest names."""
    chains: dict[str, Chain] = {event.id: () for event in problem.events if event.done}
    reached = _next_chains(chains, chains, days, fixed, arcs)
    for event in problem.events:
        if event.id in chains:
            continue
        if event.id in fixed:
            reached[event.id] = (PIN + event.id,)
        elif days[event.id] == edge:
            reached.setdefault(event.id, (marker,))
    while reached:
        chains |= reached
        reached = _next_chains(chains, reached, days, fixed, arcs)
    return chains


def _next_chains(
    known: Mapping[str, Chain],
    newest: Mapping[str, Chain],
    days: Mapping[str, int],
    fixed: Mapping[str, int],
    arcs: Arcs,
) -> dict[str, Chain]:
    longer: dict[str, Chain] = {}
    for name, chain in newest.items():
        for lag, other, least in arcs[name]:
            if other not in known and other not in fixed and days[name] + least == days[other]:
                longer[other] = min(longer.get(other, (*chain, lag)), (*chain, lag))
    return longer
