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
from math import prod

from handover.schedule import bounds
from handover.schedule.bounds import State
from handover.schedule.hunt import Hunt, round_off, stay_near
from handover.schedule.messages import FAR
from handover.schedule.model import SCALE, Model, build, settled_costs, unary_costs
from handover.schedule.network import Link, arcs, matters, narrow, network
from handover.schedule.problem import CLINIC, Problem

EFFORT = 20_000
ROUNDS_AT_MOST = 300
PATIENCE_AT_ROOT, PATIENCE_IN_BRANCH = 10, 5  # rounds after which a bound must have moved
LEVELS, LEVEL_PART = 2, 0.6  # how often shares are levelled at the start, and how far
CANDIDATES = 8  # clinic days that are tried before a state is parted
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
    if not net.agrees or not narrow(masks, arcs(len(masks), net.links)):
        return None
    links = [link for link in net.links if matters(link, masks)]
    cost, paid = settled_costs(problem)
    unary = unary_costs(problem, net)
    pays = [event.place == CLINIC and problem.costs.visit > 0 for event in net.open]
    kept = [problem.previous.get(event.id) for event in net.open]
    wished = [None if day is None else (day - problem.today).days for day in kept]
    bound, is_proven, days = cost, True, {}
    for group in _groups(masks, links, pays, paid):
        place = {n: k for k, n in enumerate(group)}
        inner = [Link(place[x.i], place[x.j], x.least, x.most, x.pulls) for x in links if x.i in place]
        own_masks, own_costs = [masks[n] for n in group], [unary[n] for n in group]
        own_pays, own_wished = [pays[n] for n in group], [wished[n] for n in group]
        found = _solve_group(inner, own_masks, own_costs, own_pays, own_wished, problem.costs.visit, paid, effort)
        effort -= found.rounds
        cost, bound, is_proven = cost + found.cost, bound + found.bound, is_proven and found.is_proven
        days.update({net.open[n].id: problem.today + timedelta(day) for n, day in zip(group, found.days, strict=True)})
    return Solution(days, cost, bound, is_proven)


@dataclass(frozen=True, slots=True)
class _Found:
    days: list[int]
    cost: int
    bound: int
    is_proven: bool
    rounds: int


def _solve_group(
    links: Sequence[Link],
    masks: Sequence[int],
    unary: Sequence[list[int]],
    pays: Sequence[bool],
    wished: Sequence[int | None],
    visit: int,
    paid: int,
    effort: int,
) -> _Found:
    model, masks = build(links, masks, unary, pays, visit)
    shift = model.shift
    hunt = Hunt(model, masks, paid << shift if shift >= 0 else paid >> -shift)
    stay_near(hunt, [None if day is None else day + shift for day in wished])
    _explore(hunt, _fair_start(hunt), effort)
    assert hunt.answer is not None
    cost, bound, is_first = hunt.best // SCALE, hunt.best // SCALE, False
    if hunt.open_bound is None:
        is_first = _first_of_equals(hunt, effort)
    else:
        bound = min(cost, -(-hunt.open_bound // SCALE))
    return _Found([day - shift for day in hunt.answer], cost, bound, is_first, hunt.rounds)


# --- the cheapest ---


def _fair_start(hunt: Hunt) -> State:
    """The start whose shares bound more: by the lengths of the series, or levelled by what a day is worth to each.

    Levelled shares meet an easy optimum at once; with hard ones the long series had better keep most (measured).
    """
    root = bounds.start(hunt.model, hunt.masks, hunt.paid)
    bounds.relax(hunt.model, root)
    levelled = bounds.fork(root)
    for _ in range(LEVELS):
        hunt.rounds += 1
        bounds.level(hunt.model, levelled, LEVEL_PART)
        bounds.relax(hunt.model, levelled)
    return max(root, levelled, key=lambda state: state.bound)


def _explore(hunt: Hunt, root: State, effort: int) -> None:
    """Search below a state until nothing wanted can be left, or the effort is spent."""
    days = _ascend(hunt, root, PATIENCE_AT_ROOT)
    serial = 0
    waiting = [] if days is None else [(root.bound, serial, root, days)]
    while waiting and not hunt.is_over:
        bound, _, state, days = heapq.heappop(waiting)
        if bound > hunt.ceiling:
            hunt.park(state)
            continue
        if hunt.rounds >= effort:
            hunt.open_bound = bound
            return
        children = _branches(hunt.model, state, days)
        if not children:  # a single answer is left
            hunt.offer([left[0] for left in state.days])
            hunt.park(state)
        for child in children:
            days = _ascend(hunt, child, PATIENCE_IN_BRANCH)
            if days is not None:
                serial += 1
                child.bound = max(bound, child.bound)
                heapq.heappush(waiting, (child.bound, serial, child, days))


def _ascend(hunt: Hunt, state: State, patience: int, may_stop: bool = True) -> list[int] | None:
    """Improve the shares while that pays. The answer behind the bound, or None if nothing wanted is left below."""
    model, reach, stalled = hunt.model, 1.0, 0
    pull: bounds.Pull = {}
    top = state.bound
    mark: int | None = None
    for turn in range(ROUNDS_AT_MOST):
        hunt.rounds += 1
        bound = bounds.relax(model, state)
        stalled = 0 if bound > top else stalled + 1
        top = max(top, bound)
        if bound > hunt.ceiling:
            break
        days = bounds.read_off(model, state)
        hunt.offer(days)
        if turn % 4 == 0 and not hunt.is_over:
            round_off(hunt, state, and_polish=turn % 8 == 0)
        if bound > hunt.ceiling or (may_stop and hunt.is_over):
            break
        kept: dict[int, int] = {}
        if turn % 4 == 3 or (turn == 0 and not may_stop):
            kept = bounds.too_dear(model, state, hunt.limit)
            if kept and not bounds.restrict(model, state, kept):
                return None
        if turn % patience == 0:
            if mark is not None and (top - mark) * PROGRESS < hunt.ceiling + SCALE - top:
                break
            mark = top
        if stalled >= 3:
            reach, stalled = reach * 0.6, 0
        gap = min(hunt.ceiling + SCALE - bound, abs(bound) // 6 + SCALE)
        is_settled = not bounds.move_shares(model, state, days, pull, reach * gap)
        if is_settled and not kept:  # else the answer may use days that are gone: nothing follows from its agreeing
            break
    state.bound = top
    if top > hunt.ceiling:
        hunt.park(state)
        return None
    return days


def _branches(model: Model, state: State, days: list[int]) -> list[State]:
    """States that together hold all answers of this one: a clinic day paid for, and struck out.

    Of the most disputed days that one is taken whose two states raise the bound most, as far as one round tells.
    """
    best: tuple[int, list[State]] | None = None
    for day in _most_disputed(model, state, days):
        pair = _either(model, state, day)
        gains = [max(0, bounds.relax(model, child) - state.bound) + SCALE for child in pair]
        gain = prod(gains) if len(gains) == 2 else FAR
        if best is None or gain > best[0]:
            best = gain, pair
    return best[1] if best is not None else list(_halves(model, state, days))


def _either(model: Model, state: State, day: int) -> list[State]:
    paying, without = bounds.fork(state), bounds.fork(state)
    bounds.pay(model, paying, day)
    users = [n for n, series in enumerate(model.series) if series is not None and state.masks[n] >> day & 1]
    return [paying, without] if bounds.restrict(model, without, dict.fromkeys(users, ~(1 << day))) else [paying]


def _most_disputed(model: Model, state: State, days: list[int]) -> list[int]:
    """The clinic days that lack most of their price in the answer behind the bound."""
    income: dict[int, int] = {}
    for series, day in {(series, days[event]) for event, series in enumerate(model.series) if series is not None}:
        if day in state.users:
            income[day] = income.get(day, 0) + state.prices[series][day]
    short = sorted([(paid - model.visit, day) for day, paid in income.items() if paid < model.visit])
    return [day for _, day in short[:CANDIDATES]]


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


def _first_of_equals(hunt: Hunt, effort: int) -> bool:
    """Of the answers that cost as little, take the one whose days come first; whether that is proven.

    All of them lie in the parked states. Days that none of them uses are struck out first. What is left is decided
    event by event: is there one with an earlier day here, those before it staying as they are?
    """
    assert hunt.answer is not None
    model, goal = hunt.model, hunt.best
    states = []
    for state in hunt.parked:
        if state.bound <= goal:
            sharpen = Hunt(model, state.masks, hunt.paid, goal, goal, hunt.answer)
            if _ascend(sharpen, state, PATIENCE_IN_BRANCH, may_stop=False) is not None:
                states.append(state)
            hunt.rounds += sharpen.rounds
    for event in range(model.size):
        for state in states:
            while earlier := state.masks[event] & ((1 << hunt.answer[event]) - 1):
                trial = bounds.fork(state)
                if not bounds.restrict(model, trial, {event: earlier}):
                    break
                search = Hunt(model, trial.masks, hunt.paid, goal)
                _explore(search, trial, effort - hunt.rounds)
                hunt.rounds += search.rounds
                if search.open_bound is not None:
                    return False
                if search.answer is None:
                    break
                hunt.answer = search.answer
        states = [state for state in states if bounds.restrict(model, state, {event: 1 << hunt.answer[event]})]
    return True


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
