"""The costs of a problem laid out for the search: per day, per link, and which clinic events can never share a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from handover.schedule.messages import Way, ways
from handover.schedule.network import Arcs, Link, Network, arcs, days_of, fixed_days
from handover.schedule.problem import CLINIC, Lag, Problem

SCALE = 1 << 10  # parts of one unit of cost: fine enough for sharing prices, small enough for quick integers


@dataclass(slots=True)
class Model:
    """One group of events that depend on each other. Nodes are the events, then the copies that open rings.

    Days are counted from a day so early that every window of a message starts on day 0 or later. `unary[n][day]` and
    `visit` are scaled. Price rows are numbered: one for each series, then one for each copy.
    """

    links: tuple[Link, ...]
    ways: list[tuple[Way, Way]]  # of each link: onwards, back
    around: Arcs
    unary: list[list[int]]
    visit: int
    members: list[list[int]]  # of each series
    series: list[int | None]  # of each event; None if its day costs no visit
    shift: int = 0  # our number of the problem's day 0
    copies: list[tuple[int, int]] = field(default_factory=list)  # (event, link)
    roots: list[int] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)  # parents first
    children: list[list[int]] = field(default_factory=list)
    nodes: list[list[int]] = field(default_factory=list)  # of each event: itself and its copies

    @property
    def size(self) -> int:
        return len(self.unary)


@dataclass(frozen=True, slots=True)
class Step:
    """A node hangs on its parent; `up` leads from the days of the node to those of the parent, `down` back."""

    node: int
    parent: int
    up: Way
    down: Way


def build(
    links: Sequence[Link], masks: Sequence[int], unary: Sequence[list[int]], pays: Sequence[bool], visit: int
) -> tuple[Model, list[int]]:
    """Lay out one group of events, and their masks in its days; `masks` agree along the links, `visit` is not scaled."""
    first = [(mask & -mask).bit_length() for mask in masks]
    last = [mask.bit_length() for mask in masks]
    both = [ways(link, first[link.j] - last[link.i], last[link.j] - first[link.i], SCALE) for link in links]
    start, stop = min(first) - 1, max(last)
    pad = max([way.most - way.least + 1 for way, _ in both if not way.is_wide], default=0)
    members = find_series(links, masks, pays)
    number = {event: series for series, events in enumerate(members) for event in events}
    model = Model(
        links=tuple(links),
        ways=both,
        around=arcs(len(masks), links),
        unary=[[0] * pad + row[start:stop] for row in unary],
        visit=visit * SCALE,
        members=members,
        series=[number.get(event) for event in range(len(masks))],
        shift=pad - start,
    )
    _plant(model, masks)
    return model, [mask >> start << pad for mask in masks]


def true_cost(model: Model, days: Sequence[int], paid: int) -> int | None:
    """The scaled cost of an answer when clinic days in the mask `paid` are free; None if it breaks a link."""
    total, visited = 0, 0
    for event, series in enumerate(model.series):
        total += model.unary[event][days[event]]
        if series is not None:
            visited |= 1 << days[event]
    for link, (way, _) in zip(model.links, model.ways, strict=True):
        gap = days[link.j] - days[link.i]
        if not way.allows(gap):
            return None
        total += way.cost(gap)
    return total + model.visit * (visited & ~paid).bit_count()


# --- from the problem ---


def unary_costs(problem: Problem, net: Network) -> list[list[int]]:
    """For each open event and each day of the horizon: what its lags to fixed days and moving it cost (scaled)."""
    number = {event.id: n for n, event in enumerate(net.open)}
    span = range(problem.horizon_days + 1)
    costs = [[0] * len(span) for _ in net.open]
    fixed = fixed_days(problem)
    for lag in problem.lags:
        if lag.usual is None or not lag.weight or (lag.start in number) == (lag.end in number):
            continue
        event, usual_day = _pulled(lag, number, fixed)
        weight = lag.weight * SCALE
        costs[event] = [cost + weight * abs(day - usual_day) for cost, day in zip(costs[event], span, strict=True)]
    for name, event in number.items():
        if name in problem.previous and problem.costs.move:
            kept = (problem.previous[name] - problem.today).days
            move = problem.costs.move * SCALE
            costs[event] = [cost + move * (day != kept) for cost, day in zip(costs[event], span, strict=True)]
    return costs


def _pulled(lag: Lag, number: dict[str, int], fixed: dict[str, int]) -> tuple[int, int]:
    """The open event of a lag with one fixed end, and the day that the lag pulls it to."""
    assert lag.usual is not None
    if lag.end in number:
        return number[lag.end], fixed[lag.start] + lag.usual
    return number[lag.start], fixed[lag.end] - lag.usual


def settled_costs(problem: Problem) -> tuple[int, int]:
    """The cost that no choice can change, visits included, and the mask of days that pinned clinic events pay for."""
    fixed, done = fixed_days(problem), {event.id for event in problem.events if event.done}
    cost, paid = 0, 0
    for lag in problem.lags:
        if lag.usual is not None and {lag.start, lag.end} <= fixed.keys() and not {lag.start, lag.end} <= done:
            cost += lag.weight * abs(fixed[lag.end] - fixed[lag.start] - lag.usual)
    for event in problem.events:
        if event.pinned and not event.done:
            if event.place == CLINIC:
                paid |= 1 << fixed[event.id]
            cost += problem.costs.move * (problem.previous.get(event.id, event.pinned) != event.pinned)
    return cost + problem.costs.visit * paid.bit_count(), paid


# --- series ---


def find_series(links: Sequence[Link], masks: Sequence[int], is_visit: Sequence[bool]) -> list[list[int]]:
    """Part the visits into series whose members can never meet on one day, longest series first.

    Long series make strong bounds: a day's price counts once for a whole chain of rechecks, not once for each.
    """
    after = _strictly_after(links, masks)
    first_day = [(mask & -mask).bit_length() for mask in masks]
    direct = {(link.i, link.j) for link in links} | {(link.j, link.i) for link in links}
    waiting = [n for n in range(len(masks)) if is_visit[n]]
    waiting.sort(key=lambda n: after[n].bit_count())  # whatever comes after n has fewer after it
    series = []
    while waiting:
        length: dict[int, int] = {}
        following: dict[int, int | None] = {}
        for n in waiting:
            later = [m for m in days_of(after[n]) if m in length]
            best = max(later, key=lambda m: (length[m], (n, m) in direct, -first_day[m], m), default=None)
            following[n], length[n] = best, 1 + (0 if best is None else length[best])
        head: int | None = max(waiting, key=lambda n: (length[n], -first_day[n], n))
        members = []
        while head is not None:
            members.append(head)
            head = following[head]
        series.append(members)
        waiting = [n for n in waiting if n not in members]
    return series


def _strictly_after(links: Sequence[Link], masks: Sequence[int]) -> list[int]:
    """For each event the mask of events that come at least a day later in every answer (as far as easily seen)."""
    size = len(masks)
    last_day = [mask.bit_length() for mask in masks]
    first_day = [(mask & -mask).bit_length() for mask in masks]
    later = [sum(1 << m for m in range(size) if last_day[n] < first_day[m]) for n in range(size)]
    for link in links:
        for early, late, gap in (
            (link.i, link.j, link.least),
            (link.j, link.i, None if link.most is None else -link.most),
        ):
            if gap is not None and gap > 0:
                later[early] |= 1 << late
    not_before = [1 << n | later[n] for n in range(size)]
    for link in links:
        if link.least is not None and link.least >= 0:
            not_before[link.i] |= 1 << link.j
        if link.most is not None and link.most <= 0:
            not_before[link.j] |= 1 << link.i
    for k in range(size):
        for n in range(size):
            if not_before[n] >> k & 1:
                not_before[n] |= not_before[k]
    return [_union(not_before, _union(later, not_before[n])) for n in range(size)]


def _union(masks: Sequence[int], chosen: int) -> int:
    together = 0
    for n in days_of(chosen):
        together |= masks[n]
    return together


# --- the forest ---


def _plant(model: Model, masks: Sequence[int]) -> None:
    """Choose the links of the forest, dearest and narrowest first; each other link gets a copy of one end."""
    near: list[list[tuple[int, Way, Way]]] = [[] for _ in masks]  # (other node, way from there to here, way from here)
    group = list(range(len(masks)))
    model.nodes = [[event] for event in range(len(masks))]
    for k in sorted(range(len(model.links)), key=lambda k: (*_looseness(model.links[k]), k)):
        i, j = model.links[k].i, model.links[k].j
        onwards, back = model.ways[k]
        if _find(group, i) != _find(group, j):
            group[_find(group, i)] = _find(group, j)
        else:
            if masks[j].bit_count() < masks[i].bit_count():
                i, j, onwards, back = j, i, back, onwards
            model.copies.append((i, k))
            model.nodes[i].append(len(near))
            i = len(near)
            near.append([])
        near[i].append((j, back, onwards))
        near[j].append((i, onwards, back))
    model.children = [[] for _ in near]
    seen: set[int] = set()
    for root in range(model.size):
        if root in seen:
            continue
        model.roots.append(root)
        seen.add(root)
        stack = [root]
        while stack:
            parent = stack.pop()
            for node, up, down in near[parent]:
                if node not in seen:
                    seen.add(node)
                    model.steps.append(Step(node, parent, up, down))
                    model.children[parent].append(node)
                    stack.append(node)


def _looseness(link: Link) -> tuple[int, int]:
    is_bounded = link.least is not None and link.most is not None
    width = link.most - link.least if is_bounded else 1 << 20  # type: ignore[operator]
    return -sum(weight for _, weight in link.pulls), width


def _find(group: list[int], n: int) -> int:
    while group[n] != n:
        group[n] = group[group[n]]
        n = group[n]
    return n
