"""Whether a problem's demands can be met at all: second opinions for tests, one without opening days, one with.

Dechter, Meiri & Pearl (1991, Temporal constraint networks, Artificial Intelligence 49): a simple temporal problem has
an answer exactly if its distance graph has no cycle of negative length. networkx looks for that cycle.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import timedelta

import networkx

from handover.schedule.problem import Event, Problem

FAR = 900  # days beyond today or the horizon, more than the lags of any problem in the tests add up to


def can_be_planned(problem: Problem) -> bool:
    return not networkx.negative_edge_cycle(distance_graph(problem))


def distance_graph(problem: Problem) -> networkx.DiGraph:
    """An arc from a to b of length d for each demand day(b) - day(a) ≤ d; `today` stands for day 0."""
    graph = networkx.DiGraph()
    for event in problem.events:
        if not event.done:
            _within(graph, "today", event.id, 0, problem.horizon_days)
        if day := event.done or event.pinned:
            offset = (day - problem.today).days
            _within(graph, "today", event.id, offset, offset)
    done = {event.id for event in problem.events if event.done}
    for lag in problem.lags:
        if not {lag.start, lag.end} <= done:  # between two done events it is history
            _within(graph, lag.start, lag.end, lag.min, lag.max)
    return graph


def _within(graph: networkx.DiGraph, start: str, end: str, least: int | None, most: int | None) -> None:
    for a, b, length in ((start, end, most), (end, start, None if least is None else -least)):
        if length is not None and (not graph.has_edge(a, b) or graph[a][b]["weight"] > length):
            graph.add_edge(a, b, weight=length)


def demands_fit(problem: Problem, kept: Collection[str]) -> bool:
    """Whether the kept demands (named as in a conflict) can be met together, opening days included.

    Every event starts on the first day that is open to it, and is pushed on to the next open day as long as a lag
    demands it. Lags and opening days allow the earlier of any two answers, event by event, so what comes to rest is the
    earliest answer; if something is pushed out, there is none.
    """
    first = 0 if "today" in kept else -FAR
    last = problem.horizon_days + (0 if "horizon" in kept else FAR)
    done = {event.id for event in problem.events if event.done}
    events = {event.id: event for event in problem.events}
    fixed = {e.id: (day - problem.today).days for e in problem.events if (day := e.done or (e.pinned if f"pin:{e.id}" in kept else None))}
    if any(not first <= day <= last for name, day in fixed.items() if name not in done):
        return False
    pushes = []
    for lag in problem.lags:
        if lag.id in kept and not {lag.start, lag.end} <= done:
            pushes += [(lag.start, lag.end, lag.min)] if lag.min is not None else []
            pushes += [(lag.end, lag.start, -lag.max)] if lag.max is not None else []
    days = {name: fixed[name] if name in fixed else _open_from(problem, event, first, last, kept) for name, event in events.items()}
    while moved := [(late, days[early] + least) for early, late, least in pushes if days[early] + least > days[late]]:
        for name, day in moved:
            if name in fixed or day > last:
                return False
            days[name] = _open_from(problem, events[name], max(day, days[name]), last, kept)
    return all(day <= last for name, day in days.items() if name not in done)


def _open_from(problem: Problem, event: Event, day: int, last: int, kept: Collection[str]) -> int:
    calendars = [problem.closed[name] for name in (event.place, "carer") if name in problem.closed and f"closed:{name}" in kept]
    while day <= last:
        on = problem.today + timedelta(day)
        if not any(on.weekday() in c.weekdays or on in c.dates or any(a <= on <= b for a, b in c.spans) for c in calendars):
            break
        day += 1
    return day
