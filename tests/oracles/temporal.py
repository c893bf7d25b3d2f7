"""Whether a problem's demands can be met at all, opening days left aside: a second opinion for tests.

Dechter, Meiri & Pearl (1991, Temporal constraint networks, Artificial Intelligence 49): a simple temporal problem has
an answer exactly if its distance graph has no cycle of negative length. networkx looks for that cycle.
"""

from __future__ import annotations

import networkx

from handover.schedule.problem import Problem


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
