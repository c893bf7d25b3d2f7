"""The best answer so far, and ways to come by good ones early: every good answer cuts the search short.

An answer is a day for each event of a group; whatever is offered is checked and priced before it counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from handover.schedule import bounds
from handover.schedule.bounds import State
from handover.schedule.messages import offers
from handover.schedule.model import SCALE, Model, true_cost
from handover.schedule.network import narrow


@dataclass(slots=True)
class Hunt:
    """The search for one answer in one group: any answer that costs the `goal`, or without one the cheapest."""

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


def stay_near(hunt: Hunt, masks: list[int], wished: Sequence[int | None]) -> None:
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


def round_off(hunt: Hunt, state: State, and_polish: bool) -> None:
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
    vias = {step.node: (step.parent, via) for step, via in zip(model.steps, state.to_parent, strict=True)}
    for event in [*model.roots, *(step.node for step in model.steps if step.node < model.size)]:
        days, costs = state.days[event], state.sums[event]
        if event in vias:
            parent, via = vias[event]
            first, costs = offers(via, costs, state.days[parent].index(chosen[parent]))
            days = days[first : first + len(costs)]
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
        other, way = (link.i, model.ways[k][0]) if link.j == event else (link.j, model.ways[k][1])
        if event in (link.i, link.j) and other in chosen:
            mask &= sum([1 << day for day in days if way.allows(day - chosen[other])])
    return mask


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
