"""The plan of least cost, and of those the one whose days come first: exact, by branch and bound on clinic days.

Events that cannot affect each other are planned apart. For each group the shares of `bounds` are improved until the
bound meets the best answer; if they stall, the most disputed clinic day is either paid for or struck out, and both
cases are searched, cheapest bound first. Effort is counted in rounds of messages, never by the clock.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from handover.schedule import bounds
from handover.schedule.bounds import State
from handover.schedule.hunt import Hunt, round_off, stay_near
from handover.schedule.model import SCALE, Model, build, settled_costs, unary_costs
from handover.schedule.network import Link, narrow, network
from handover.schedule.problem import CLINIC, Problem

EFFORT = 20_000
ROUNDS_AT_MOST = 300
PATIENCE_AT_ROOT, PATIENCE_IN_BRANCH = 10, 5  # rounds after which a bound must have moved
PROGRESS = 8  # ... by this part of what is missing


@dataclass(frozen=True, slots=True)
class Solution:
    """Days of the open events. If not proven, no answer costs less than `bound` (equal: only the tie-break is open)."""

    days: dict[str, date]
    cost: int
    bound: int
    is_proven: bool


def solve(problem: Problem, effort: int = EFFORT) -> Solution | None:
    """The first of the least-cost answers; None if there is no answer. At least one answer is found at any effort."""
    net = network(problem)
    masks = list(net.masks)
    if not net.agrees or not narrow(masks, net.links):
        return None
    cost, paid = settled_costs(problem)
    unary = unary_costs(problem, net)
    pays = [event.place == CLINIC and problem.costs.visit > 0 for event in net.open]
    bound, is_proven, days = cost, True, {}
    for group in _groups(masks, net.links, pays, paid):
        part = _Part.of(group, masks, net.links, unary, pays, problem.costs.visit)
        kept = [problem.previous.get(net.open[n].id) for n in group]
        wished = [None if day is None else (day - problem.today).days for day in kept]
        found = _solve_group(part, paid, wished, effort)
        effort -= found.rounds
        cost, bound, is_proven = cost + found.cost, bound + found.bound, is_proven and found.is_proven
        days.update({net.open[n].id: problem.today + timedelta(day) for n, day in zip(group, found.days, strict=True)})
    return Solution(days, cost, bound, is_proven)


@dataclass(frozen=True, slots=True)
class _Part:
    model: Model
    masks: list[int]

    @classmethod
    def of(
        cls,
        group: Sequence[int],
        masks: Sequence[int],
        links: Sequence[Link],
        unary: Sequence[list[int]],
        pays: Sequence[bool],
        visit: int,
    ) -> _Part:
        place = {n: k for k, n in enumerate(group)}
        inner = [Link(place[x.i], place[x.j], x.least, x.most, x.pulls) for x in links if x.i in place]
        own = [masks[n] for n in group]
        return cls(build(inner, own, [unary[n] for n in group], [pays[n] for n in group], visit), own)


@dataclass(frozen=True, slots=True)
class _Found:
    days: list[int]
    cost: int
    bound: int
    is_proven: bool
    rounds: int


def _solve_group(part: _Part, paid: int, wished: Sequence[int | None], effort: int) -> _Found:
    hunt = Hunt(part.model, paid, 0)
    root = bounds.start(part.model, part.masks, paid)
    stay_near(hunt, root.masks, wished)
    prices = _explore(hunt, root, effort)
    assert hunt.answer is not None
    cost = hunt.best // SCALE
    if hunt.open_bound is not None:
        return _Found(hunt.answer, cost, min(cost, -(-hunt.open_bound // SCALE)), False, hunt.rounds)
    days, is_first, rounds = _first_of_equals(hunt, State(part.masks, paid, 0, prices), effort - hunt.rounds)
    return _Found(days, cost, cost, is_first, hunt.rounds + rounds)


# --- the cheapest ---


def _explore(hunt: Hunt, root: State, effort: int) -> bounds.Prices:
    """Search below a state until nothing wanted can be left, or the effort is spent. Returns the root's shares."""
    days = _ascend(hunt, root, PATIENCE_AT_ROOT)
    serial = 0
    waiting = [] if days is None else [(root.bound, serial, root, days)]
    while waiting and not hunt.is_over:
        bound, _, state, days = heapq.heappop(waiting)
        if bound > hunt.ceiling:
            break
        if hunt.rounds >= effort:
            hunt.open_bound = bound
            break
        for child in _branches(hunt.model, state, days):
            days = _ascend(hunt, child, PATIENCE_IN_BRANCH)
            if days is not None:
                serial += 1
                heapq.heappush(waiting, (max(bound, child.bound), serial, child, days))
    return root.prices


def _ascend(hunt: Hunt, state: State, patience: int, may_stop: bool = True) -> list[int] | None:
    """Improve the shares while that pays. The answer behind the bound, or None if nothing wanted is left below."""
    model, reach, stalled = hunt.model, 1.0, 0
    pull: dict[tuple[int, int], float] = {}
    top = state.bound
    mark: int | None = None
    for turn in range(ROUNDS_AT_MOST):
        hunt.rounds += 1
        bound = bounds.relax(model, state)
        if bound > hunt.ceiling:
            return None
        stalled = 0 if bound > top else stalled + 1
        top = max(top, bound)
        days = bounds.read_off(model, state)
        hunt.offer(days)
        if turn % 4 == 0:
            round_off(hunt, state, and_polish=turn % 8 == 0)
        if bound > hunt.ceiling or (may_stop and hunt.is_over):
            return None
        if turn % 4 == 3 or (turn == 0 and not may_stop):
            kept = bounds.too_dear(model, state, hunt.ceiling)
            if kept and not bounds.restrict(model, state, kept):
                return None
        if turn % patience == 0:
            if mark is not None and (top - mark) * PROGRESS < hunt.ceiling + SCALE - top:
                break
            mark = top
        if stalled >= 3:
            reach, stalled = reach * 0.6, 0
        gap = min(hunt.ceiling + SCALE - bound, abs(bound) // 6 + SCALE)
        if not bounds.move_shares(model, state, days, pull, reach * gap):
            break
    state.bound = top
    return days


def _branches(model: Model, state: State, days: list[int]) -> Iterator[State]:
    """Two states that hold all answers of this one: the most disputed clinic day paid for, and struck out."""
    short, day = _most_disputed(model, state, days)
    if short <= 0:
        yield from _halves(model, state, days)
        return
    paying = bounds.fork(state)
    paying.paid |= 1 << day
    paying.constant += model.visit
    for row in paying.prices[: len(model.series_sizes)]:
        row[day] = 0
    bounds.take_masks(model, paying, paying.masks)
    yield paying
    without = bounds.fork(state)
    users = [n for n, series in enumerate(model.series) if series is not None and state.masks[n] >> day & 1]
    if bounds.restrict(model, without, dict.fromkeys(users, ~(1 << day))):
        yield without


def _most_disputed(model: Model, state: State, days: list[int]) -> tuple[int, int]:
    """How much of its price the worst paid clinic day lacks in the answer behind the bound, and that day."""
    income: dict[int, int] = {}
    for series, day in {(series, days[event]) for event, series in enumerate(model.series) if series is not None}:
        if day in state.users:
            income[day] = income.get(day, 0) + state.prices[series][day]
    return max(((model.visit - paid, day) for day, paid in income.items()), default=(0, 0))


def _halves(model: Model, state: State, days: list[int]) -> Iterator[State]:
    """Part the days of an event that its copy disagrees with, or else of the event with most days."""
    for number, (event, _) in enumerate(model.copies):
        if days[event] != days[model.size + number]:
            cut = max(days[event], days[model.size + number])
            break
    else:
        event = max(range(model.size), key=lambda n: len(state.days[n]))
        if len(state.days[event]) == 1:
            return
        cut = state.days[event][len(state.days[event]) // 2]
    early = (1 << cut) - 1
    for half in (early, ~early):
        child = bounds.fork(state)
        if bounds.restrict(model, child, {event: half}):
            yield child


# --- the first of equals ---


def _first_of_equals(hunt: Hunt, root: State, effort: int) -> tuple[list[int], bool, int]:
    """Of the answers that cost as little, the one whose days come first; whether that is proven; rounds spent.

    Days that no such answer uses are struck out first. What is left is decided event by event: is there one with an
    earlier day here, those before it staying as they are?
    """
    assert hunt.answer is not None
    model, goal, days = hunt.model, hunt.best, hunt.answer
    bounds.take_masks(model, root, list(root.masks))
    sharpen = Hunt(model, hunt.paid, 0, goal, days, goal)
    _ascend(sharpen, root, PATIENCE_IN_BRANCH, may_stop=False)
    rounds = sharpen.rounds
    for event in range(model.size):
        while earlier := root.masks[event] & ((1 << days[event]) - 1):
            trial = bounds.fork(root)
            if not bounds.restrict(model, trial, {event: earlier}):
                break
            search = Hunt(model, hunt.paid, 0, goal + 1, None, goal)
            _explore(search, trial, effort - rounds)
            rounds += search.rounds
            if search.open_bound is not None:
                return days, False, rounds
            if search.answer is None:
                break
            days = search.answer
        if root.masks[event] != 1 << days[event]:
            bounds.restrict(model, root, {event: 1 << days[event]})
    return days, True, rounds


# --- groups ---


def _groups(masks: Sequence[int], links: Sequence[Link], pays: Sequence[bool], paid: int) -> list[list[int]]:
    """Events that no link and no common clinic day connects fall into different groups."""
    parts: list[tuple[set[int], int]] = []
    joined = [({link.i, link.j}, 0) for link in links]
    joined += [({n}, masks[n] & ~paid if pays[n] else 0) for n in range(len(masks))]
    for events, visit_days in joined:
        rest = []
        for other, other_days in parts:
            if events & other or visit_days & other_days:
                events, visit_days = events | other, visit_days | other_days
            else:
                rest.append((other, other_days))
        parts = [*rest, (events, visit_days)]
    return sorted(sorted(events) for events, _ in parts)
