"""The best answer so far, and ways to come by good ones early: every good answer cuts the search short.

An answer is a day for each event of a group; whatever is offered is checked and priced before it counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from handover.schedule import bounds
from handover.schedule.bounds import State
from handover.schedule.messages import FAR, Way, offers
from handover.schedule.model import SCALE, Model, true_cost
from handover.schedule.network import days_of, narrow


@dataclass(slots=True)
class Hunt:
    """The search for one answer in one group: any answer that costs the `goal`, or without one the cheapest.

    `masks` are the days of all answers that it looks for. States that hold nothing cheaper than the best answer, but
    perhaps others that cost as little, are `parked`.
    """

    model: Model
    masks: list[int]
    paid: int
    goal: int | None = None
    best: int = FAR
    answer: list[int] | None = None
    rounds: int = 0
    tried: set[int] = field(default_factory=set)  # sets of clinic days
    free: State | None = None  # all days open, all visits free
    parked: list[State] = field(default_factory=list)
    open_bound: int | None = None

    @property
    def limit(self) -> int:
        """Answers that cost more are of no use."""
        return self.best if self.goal is None else self.goal

    @property
    def ceiling(self) -> int:
        """Bounds above it cannot lead to an answer that is wanted (costs differ by whole units)."""
        return self.best - SCALE if self.goal is None else self.goal

    @property
    def is_over(self) -> bool:
        return self.goal is not None and self.answer is not None

    def park(self, state: State) -> None:
        if self.goal is None and state.bound <= self.best:
            self.parked.append(state)

    def offer(self, days: Sequence[int]) -> int | None:
        """Take an answer if it is the best so far (and costs the goal, if there is one); its cost, None if it is none."""
        cost = true_cost(self.model, days, self.paid)
        if cost is not None and cost < self.best and (self.goal is None or cost <= self.goal):
            self.best, self.answer = cost, list(days[: self.model.size])
        return cost


def stay_near(hunt: Hunt, wished: Sequence[int | None]) -> None:
    """Offer an answer that keeps as many of the wished days as go together, taken in the order of the events."""
    masks = list(hunt.masks)
    for event, day in enumerate(wished):
        if day is not None and day >= 0 and masks[event] >> day & 1:
            trial = list(masks)
            trial[event] = 1 << day
            if narrow(trial, hunt.model.around, [event]):
                masks = trial
    days = [(mask & -mask).bit_length() - 1 for mask in masks]
    hunt.offer(days)
    polish(hunt, days)


def round_off(hunt: Hunt, state: State, and_polish: bool) -> None:
    """Read an answer off the messages event by event, letting each use the clinic days of those before it for free."""
    days = _rounded(hunt, state)
    if days is not None:
        hunt.offer(days)
        if and_polish:
            polish(hunt, days)


def polish(hunt: Hunt, days: Sequence[int]) -> None:
    """Offer the best answer that goes to the clinic only on the clinic days of this one; then do without each of them."""
    model = hunt.model
    visited = _visited(model, days) & ~hunt.paid
    if visited in hunt.tried:
        return
    hunt.tried.add(visited)
    if hunt.free is None:
        hunt.free = bounds.start(model, hunt.masks, -1)
    best, state = _within(hunt, hunt.free, ~(visited | hunt.paid))
    while state is not None:
        for day in days_of(visited):
            if visited & ~(1 << day) not in hunt.tried:
                cost, without = _within(hunt, state, 1 << day)
                hunt.tried.add(visited & ~(1 << day))
                if without is not None and cost < best:
                    best, state, visited = cost, without, visited & ~(1 << day)
                    break
        else:
            return


def _within(hunt: Hunt, state: State, shut: int) -> tuple[int, State | None]:
    """The cost of the best answer without the clinic days in the mask `shut`, as far as one is easily found."""
    model = hunt.model
    kept = {n: ~shut for n, series in enumerate(model.series) if series is not None and state.masks[n] & shut}
    if all(state.masks[n] & ~shut for n in kept):
        state = bounds.fork(state)
        if bounds.restrict(model, state, kept):
            hunt.rounds += 1
            bounds.relax(model, state)
            days = _rounded(hunt, state) if model.copies else bounds.read_off(model, state)
            cost = None if days is None else hunt.offer(days)
            if cost is not None:
                return cost, state
    return FAR, None


def _visited(model: Model, days: Sequence[int]) -> int:
    return sum({1 << days[event] for event, series in enumerate(model.series) if series is not None})


def _rounded(hunt: Hunt, state: State) -> list[int] | None:
    model = hunt.model
    chosen = [0] * model.size
    visited = state.paid
    hung = [(step.node, step) for step in model.steps if step.node < model.size]
    known = 0
    for event, step in [*((root, None) for root in model.roots), *hung]:
        if step is None:
            first, costs = 0, bounds.laid_out(model, state.days[event], state.sums[event])
        else:
            first, costs = offers(step.up, state.values[event], chosen[step.parent])
        series = model.series[event]
        if series is not None:
            for day in days_of(visited & state.masks[event]):
                if first <= day < first + len(costs):
                    costs[day - first] -= state.prices[series][day]
        for way, other in _rings(model, event):
            if known >> other & 1:
                costs = [cost if way.allows(day - chosen[other]) else FAR for day, cost in enumerate(costs, first)]
        least = min(costs)
        if least >= FAR // 2:
            return None
        chosen[event] = first + costs.index(least)
        known |= 1 << event
        if series is not None:
            visited |= 1 << chosen[event]
    return chosen


def _rings(model: Model, event: int) -> Iterator[tuple[Way, int]]:
    """The ways that lead to the event outside the forest, and from which events."""
    for _, k in model.copies:
        link, (onwards, back) = model.links[k], model.ways[k]
        if link.j == event:
            yield onwards, link.i
        elif link.i == event:
            yield back, link.j
