"""The costs of a problem laid out for the search: per day, per link, and which clinic events can never share a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from handover.schedule.messages import Passage, Way, ways
from handover.schedule.network import Link, Network, days_of, fixed_days
from handover.schedule.problem import CLINIC, Lag, Problem

SCALE = 1 << 10  # parts of one unit of cost: fine enough for sharing prices, small enough for quick integers


@dataclass(frozen=True, slots=True)
class Step:
    """A node hangs on its parent by a link; `is_forward` if the link runs from the node to the parent."""

    node: int
    parent: int
    link: int
    is_forward: bool


@dataclass(slots=True)
class Model:
    """One group of events that depend on each other. Nodes are the events, then the copies that open rings.

    `unary[n][day]` and `visit` are scaled. Price vectors are numbered: one for each series, then one for each copy.
    """

    links: tuple[Link, ...]
    unary: list[list[int]]
    visit: int
    series: list[int | None]  # of each event; None if its day costs no visit
    series_sizes: list[int] = field(default_factory=list)
    copies: list[tuple[int, int]] = field(default_factory=list)  # (event, link)
    roots: list[int] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)  # parents first
    ways: list[tuple[Way, Way]] = field(default_factory=list)  # of each link: onwards, back
    passages: dict[tuple[int, int, int, int], Passage] = field(default_factory=dict)

    @property
    def size(self) -> int:
        return len(self.unary)

    @property
    def price_count(self) -> int:
        return len(self.series_sizes) + len(self.copies)

    def event_of(self, node: int) -> int:
        return node if node < self.size else self.copies[node - self.size][0]


def build(links: Sequence[Link], masks: Sequence[int], unary: list[list[int]], is_visit: list[bool], visit: int) -> Model:
    """Lay out one group of events; `masks` agree along the links, `unary` is scaled, `visit` is not."""
    model = Model(tuple(links), unary, visit * SCALE, [None] * len(masks))
    for number, members in enumerate(find_series(links, masks, is_visit)):
        model.series_sizes.append(len(members))
        for event in members:
            model.series[event] = number
    first = [(mask & -mask).bit_length() for mask in masks]
    last = [mask.bit_length() for mask in masks]
    model.ways = [ways(link, first[link.j] - last[link.i], last[link.j] - first[link.i], SCALE) for link in links]
    _plant(model, masks)
    return model


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
        total += way.costs[gap - way.first]
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
    near: list[list[tuple[int, int]]] = [[] for _ in masks]
    group = list(range(len(masks)))
    for k in sorted(range(len(model.links)), key=lambda k: (*_looseness(model.links[k]), k)):
        i, j = model.links[k].i, model.links[k].j
        if _find(group, i) != _find(group, j):
            group[_find(group, i)] = _find(group, j)
        else:
            if masks[j].bit_count() < masks[i].bit_count():
                i, j = j, i
            model.copies.append((i, k))
            near.append([])
            i = len(near) - 1
        near[i].append((j, k))
        near[j].append((i, k))
    _order(model, near)


def _order(model: Model, near: list[list[tuple[int, int]]]) -> None:
    seen: set[int] = set()
    for root in range(model.size):
        if root in seen:
            continue
        model.roots.append(root)
        seen.add(root)
        stack = [root]
        while stack:
            parent = stack.pop()
            for node, k in near[parent]:
                if node not in seen:
                    seen.add(node)
                    model.steps.append(Step(node, parent, k, model.event_of(node) == model.links[k].i))
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
