"""The plan of least cost, and of those the one whose days come first: exact, by branch and bound on clinic days.

Events that cannot affect each other are planned apart. For each group the shares of `bounds` are improved until the
bound meets the best answer; if they stall, the most disputed clinic day is either paid for or struck out, and both
cases are searched, cheapest bound first. Effort is counted in rounds of messages, never by the clock.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from handover.schedule import bounds
from handover.schedule.bounds import State
from handover.schedule.messages import offers
from handover.schedule.model import SCALE, Model, build, settled_costs, true_cost, unary_costs
from handover.schedule.network import Link, narrow, network
from handover.schedule.problem import CLINIC, Problem

EFFORT = 20_000
ROUNDS_AT_MOST = 300
PATIENCE_AT_ROOT, PATIENCE_IN_BRANCH = 12, 6  # rounds after which a bound must have moved
PROGRESS = 8  # ... by this part of what is missing


@dataclass(frozen=True, slots=True)
class Solution:
    """Days of the open events. If not proven, no answer costs less than `bound` (equal: only the tie-break is open)."""

    days: dict[str, date]
    cost: int
    bound: int
    is_proven: bool


@dataclass(slots=True)
class Hunt:
    """The search for one answer in one group. With a `goal` any answer of that cost ends it; else the cheapest is sought."""

    model: Model
    paid: int
    constant: int
    best: int = 1 << 62
    answer: list[int] | None = None
    goal: int | None = None
    rounds: int = 0
    tried: set[int] = field(default_factory=set)
    open_bound: int | None = None

    @property
    def ceiling(self) -> int:
        """Bounds above it cannot lead to an answer that is wanted (costs differ by whole units)."""
        return self.best - SCALE if self.goal is None else self.goal

    @property
    def is_over(self) -> bool:
        return self.goal is not None and self.answer is not None

    def offer(self, days: Sequence[int]) -> None:
        cost = true_cost(self.model, days, self.paid)
        if cost is not None and cost + self.constant < self.best:
            self.best, self.answer = cost + self.constant, list(days[: self.model.size])


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
    def of(cls, group, masks, links, unary, pays, visit) -> _Part:
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
    _stay_near(hunt, root.masks, wished)
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
    model, pull, reach = hunt.model, {}, 1.0
    top = mark = None
    stalled = 0
    for turn in range(ROUNDS_AT_MOST):
        hunt.rounds += 1
        bound = bounds.relax(model, state)
        if bound > hunt.ceiling:
            return None
        stalled = 0 if top is None or bound > top else stalled + 1
        top = bound if top is None else max(top, bound)
        days = bounds.read_off(model, state)
        hunt.offer(days)
        if turn % 4 == 0:
            _round_off(hunt, state, and_polish=turn % 8 == 0)
        if bound > hunt.ceiling or (may_stop and hunt.is_over):
            return None
        if turn % 4 == 3:
            kept = bounds.too_dear(model, state, hunt.ceiling)
            if kept and not bounds.restrict(model, state, kept):
                return None
        if turn % patience == 0:
            if mark is not None and (top - mark) * PROGRESS < hunt.ceiling + SCALE - top:
                break
            mark = top
        if stalled >= 3:
            reach, stalled = reach * 0.6, 0
        gap = min(hunt.ceiling + SCALE - bound, abs(bound) // 4 + SCALE)
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


# --- good answers ---


def _stay_near(hunt: Hunt, masks: list[int], wished: Sequence[int | None]) -> None:
    """Offer an answer that keeps as many of the wished days as go together, taken in the order of the events."""
    masks = list(masks)
    for event, day in enumerate(wished):
        if day is not None and day >= 0 and masks[event] >> day & 1:
            trial = list(masks)
            trial[event] = 1 << day
            if narrow(trial, hunt.model.links, [event]):
                masks = trial
    days = [(mask & -mask).bit_length() - 1 for mask in masks]
    hunt.offer(days)
    _polish(hunt, masks, days)


def _round_off(hunt: Hunt, state: State, and_polish: bool) -> None:
    """Read an answer off the messages event by event, letting each use the clinic days of those before it for free."""
    days = _rounded(hunt, state)
    if days is not None:
        hunt.offer(days)
        if and_polish:
            _polish(hunt, state.masks, days)


def _rounded(hunt: Hunt, state: State) -> list[int] | None:
    model = hunt.model
    chosen: dict[int, int] = {}
    visited = state.paid
    turns = [(root, None, None) for root in model.roots]
    turns += [(step.node, step.parent, via) for step, via in zip(model.steps, state.to_parent, strict=True)]
    for event, parent, via in turns:
        if event >= model.size:
            continue
        days, costs = state.days[event], state.sums[event]
        if via is not None:
            days, costs = offers(via, costs, state.days[parent].index(chosen[parent]))
        series = model.series[event]
        if series is not None:
            price = state.prices[series]
            costs = [cost - price[d] * (visited >> d & 1) for cost, d in zip(costs, days, strict=True)]
        fitting = _fitting(model, event, days, chosen)
        best = min([(cost, d) for cost, d in zip(costs, days, strict=True) if fitting >> d & 1], default=None)
        if best is None:
            return None
        chosen[event] = best[1]
        if series is not None:
            visited |= 1 << best[1]
    return [chosen[event] for event in range(model.size)]


def _fitting(model: Model, event: int, days: list[int], chosen: dict[int, int]) -> int:
    """A mask of days that suit the links outside the forest, as far as their other ends are chosen."""
    mask = -1
    for _, k in model.copies:
        link = model.links[k]
        if link.i == event and link.j in chosen:
            least, most = link.least, link.most
            span = [d for d in days if _is_gap(link, chosen[link.j] - d)]
        elif link.j == event and link.i in chosen:
            span = [d for d in days if _is_gap(link, d - chosen[link.i])]
        else:
            continue
        mask &= sum([1 << d for d in span])
    return mask


def _is_gap(link: Link, gap: int) -> bool:
    return (link.least is None or link.least <= gap) and (link.most is None or gap <= link.most)


def _polish(hunt: Hunt, masks: list[int], days: Sequence[int]) -> None:
    """Offer the best answer that goes to the clinic only on the clinic days of this one, while that improves."""
    model = hunt.model
    while True:
        visited = sum({1 << days[event] for event, series in enumerate(model.series) if series is not None})
        if visited in hunt.tried:
            return
        hunt.tried.add(visited)
        allowed = visited | hunt.paid
        kept = {n: masks[n] & allowed for n, series in enumerate(model.series) if series is not None}
        narrowed = [kept.get(n, mask) for n, mask in enumerate(masks)]
        if not narrow(narrowed, model.links, [n for n in kept if narrowed[n] != masks[n]]):
            return
        state = bounds.start(model, narrowed, allowed)
        hunt.rounds += 1
        bounds.relax(model, state)
        found = _rounded(hunt, state) if model.copies else bounds.read_off(model, state)
        if found is None:
            return
        hunt.offer(found)
        days = found


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
