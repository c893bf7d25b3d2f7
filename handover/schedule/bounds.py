"""How cheap a plan can possibly be: a lower bound that also says which days make a plan too dear.

The price of a clinic day is shared out among the series of events that could use it; whichever member of a series
falls on that day pays the share of its series. A link that would close a ring hangs on a copy of one of its ends, and
a toll per day, paid by the event and handed back to its copy, draws the two together. What is left is a forest, whose
least cost is exact by passing messages along it (dynamic programming). Any shares and tolls give a true lower bound
(Lagrangian relaxation: Held and Karp 1971); they get better by moving against the disagreements of the answer behind
the bound. Shares are whole numbers, so every bound is exact arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from operator import add, sub

from handover.schedule.messages import Passage, offers, passage, send
from handover.schedule.model import Model, Step
from handover.schedule.network import days_of, narrow

MEMORY = 0.6  # how much of its last direction a move of the shares keeps (measured: without, three times the rounds)

Prices = list[list[int]]


@dataclass(slots=True)
class State:
    """One node of the search: the days still possible, the clinic days paid for, and how the rest is shared.

    For each open clinic day the shares of the series that can still use it add up to the price of a visit, and every
    other series has no share: so the same prices bound the whole problem as well as this part of it.
    """

    masks: list[int]
    paid: int
    constant: int
    prices: Prices
    bound: int = -(1 << 62)
    days: list[list[int]] = field(default_factory=list)
    costs: list[list[int]] = field(default_factory=list)
    users: dict[int, list[int]] = field(default_factory=dict)  # clinic day: series that can use it
    to_parent: list[Passage] = field(default_factory=list)
    sums: list[list[int]] = field(default_factory=list)  # of each node: its costs and what its children told it
    told: list[list[int]] = field(default_factory=list)  # what each node told its parent


def start(model: Model, masks: Sequence[int], paid: int = 0, constant: int = 0) -> State:
    """A fresh state: shares in proportion to the square of a series' length (long chains fix most visits)."""
    span = len(model.unary[0])
    state = State(list(masks), paid, constant, [[0] * span for _ in range(model.price_count)])
    take_masks(model, state, state.masks)
    return state


def fork(state: State) -> State:
    return State(list(state.masks), state.paid, state.constant, [list(row) for row in state.prices], state.bound)


def take_masks(model: Model, state: State, masks: list[int]) -> None:
    """Go on with these masks (which agree along the links), and share again the days that a series has lost."""
    state.masks = masks
    state.days = [days_of(mask) for mask in masks]
    state.days += [state.days[event] for event, _ in model.copies]
    state.costs = [[row[day] for day in days] for row, days in zip(model.unary, state.days, strict=False)]
    state.costs += [[0] * len(state.days[event]) for event, _ in model.copies]
    _share_out(model, state)
    state.to_parent = [_passage(model, state, step, True) for step in model.steps]


def restrict(model: Model, state: State, kept: dict[int, int]) -> bool:
    """Keep only these days of these events; False if that leaves no answer."""
    masks = list(state.masks)
    for event, mask in kept.items():
        masks[event] &= mask
    if not narrow(masks, model.links, list(kept)):
        return False
    take_masks(model, state, masks)
    return True


def relax(model: Model, state: State) -> int:
    """Pass messages from the leaves to the roots; the bound for the present shares."""
    sums = _node_costs(model, state)
    told: list[list[int]] = [[] for _ in sums]
    for step, via in zip(reversed(model.steps), reversed(state.to_parent), strict=True):
        message = told[step.node] = send(via, sums[step.node])
        sums[step.parent] = list(map(add, sums[step.parent], message))
    state.sums, state.told = sums, told
    state.bound = state.constant + sum([min(sums[root]) for root in model.roots])
    return state.bound


def read_off(model: Model, state: State) -> list[int]:
    """The answer behind the bound: a day for each node, copies included. Needs a fresh relax()."""
    days = [0] * len(state.sums)
    places = [0] * len(state.sums)
    for root in model.roots:
        places[root] = state.sums[root].index(min(state.sums[root]))
        days[root] = state.days[root][places[root]]
    for step, via in zip(model.steps, state.to_parent, strict=True):
        n, at = step.node, places[step.parent]
        first, costs = offers(via, state.sums[n], at)
        places[n] = first + costs.index(min(costs))
        days[n] = state.days[n][places[n]]
    return days


def too_dear(model: Model, state: State, limit: int) -> dict[int, int]:
    """The masks that are left, by event, once days that no answer of at most `limit` uses are gone; only those that
    change. Needs a fresh relax()."""
    through = list(state.sums)  # in the end: for each node and day, the least cost of its tree on that day
    spare = [0] * len(through)
    for root in model.roots:
        spare[root] = limit - state.bound + min(state.sums[root])
    for step in model.steps:
        rest = list(map(sub, through[step.parent], state.told[step.node]))
        via = _passage(model, state, step, False)
        through[step.node] = list(map(add, state.sums[step.node], send(via, rest)))
        spare[step.node] = spare[step.parent]
    kept: dict[int, int] = {}
    for node, costs in enumerate(through):
        if max(costs) > spare[node]:
            mask = sum([1 << day for day, cost in zip(state.days[node], costs, strict=True) if cost <= spare[node]])
            event = model.event_of(node)
            kept[event] = kept.get(event, -1) & mask
    return kept


def move_shares(model: Model, state: State, days: Sequence[int], pull: dict[tuple[int, int], float], reach: float) -> bool:
    """Raise the shares of those who use a day that others shun, lower the others'; False if nobody disagrees.

    `pull` is the direction of the last move, kept from call to call; `reach` is the rise that the move aims at.
    """
    used: dict[int, set[int]] = {}
    for event, series in enumerate(model.series):
        if series is not None:
            used.setdefault(days[event], set()).add(series)
    _fade(state, pull, len(model.series_sizes))
    agree = True
    for day, by in used.items():
        could = state.users.get(day, ())
        if len(by) < len(could):
            agree = False
            level = len(by) / len(could)
            for series in could:
                key = series, day
                pull[key] = pull.get(key, 0.0) + (1 - MEMORY) * ((series in by) - level)
    for number, (event, _) in enumerate(model.copies, len(model.series_sizes)):
        own, copied = days[event], days[model.size + number - len(model.series_sizes)]
        if own != copied:
            agree = False
            pull[number, own] = pull.get((number, own), 0.0) + 1 - MEMORY
            pull[number, copied] = pull.get((number, copied), 0.0) - 1 + MEMORY
    if not agree:
        _follow(model, state, pull, reach)
    return not agree


# --- parts ---


def _share_out(model: Model, state: State) -> None:
    can_use = [0] * len(model.series_sizes)
    for mask, series in zip(state.masks, model.series, strict=True):
        if series is not None:
            can_use[series] |= mask & ~state.paid
    state.users = {}
    for series, mask in enumerate(can_use):
        for day in days_of(mask):
            state.users.setdefault(day, []).append(series)
    for day, users in state.users.items():
        for series, mask in enumerate(can_use):
            if not mask >> day & 1:
                state.prices[series][day] = 0
        missing = model.visit - sum([state.prices[series][day] for series in users])
        if missing:
            weights = [model.series_sizes[series] ** 2 for series in users]
            for series, weight in zip(users, weights, strict=True):
                state.prices[series][day] += missing * weight // sum(weights)
            state.prices[users[0]][day] += model.visit - sum([state.prices[series][day] for series in users])


def _passage(model: Model, state: State, step: Step, is_up: bool) -> Passage:
    node, parent = model.event_of(step.node), step.parent
    here, there = (node, parent) if is_up else (parent, node)
    key = step.link, here, state.masks[here], state.masks[there]
    found = model.passages.get(key)
    if found is None:
        if len(model.passages) > 20_000:  # keep a long search from filling the memory
            model.passages.clear()
        onwards, back = model.ways[step.link]
        found = passage(onwards if step.is_forward == is_up else back, state.days[here], state.days[there])
        model.passages[key] = found
    return found


def _node_costs(model: Model, state: State) -> Prices:
    sums = list(state.costs)
    for event, series in enumerate(model.series):
        if series is not None:
            price = state.prices[series]
            sums[event] = [cost + price[day] for cost, day in zip(sums[event], state.days[event], strict=True)]
    for number, (event, _) in enumerate(model.copies):
        toll, days = state.prices[len(model.series_sizes) + number], state.days[event]
        sums[event] = [cost + toll[day] for cost, day in zip(sums[event], days, strict=True)]
        sums[model.size + number] = [-toll[day] for day in days]
    return sums


def _fade(state: State, pull: dict[tuple[int, int], float], series_count: int) -> None:
    for key in list(pull):
        number, day = key
        pull[key] *= MEMORY
        if abs(pull[key]) < 1e-3 or (number < series_count and number not in state.users.get(day, ())):
            del pull[key]


def _follow(model: Model, state: State, pull: dict[tuple[int, int], float], reach: float) -> None:
    size = reach / sum([weight * weight for weight in pull.values()])
    touched: dict[int, None] = {}
    for (number, day), weight in pull.items():
        state.prices[number][day] += round(size * weight)
        if number < len(model.series_sizes):
            touched[day] = None
    for day in touched:
        _balance(state.prices, day, state.users[day], model.visit)


def _balance(prices: Prices, day: int, users: list[int], visit: int) -> None:
    """Bring the shares of a day back to the nearest that are not negative and add up to a visit."""
    running = cut = 0
    for count, share in enumerate(sorted([prices[series][day] for series in users], reverse=True), 1):
        running += share
        if share * count > running - visit:
            cut = -((visit - running) // count)
    rest = visit
    for series in users:
        share = prices[series][day] = max(0, prices[series][day] - cut)
        rest -= share
    prices[users[0]][day] += rest  # what rounding left over; never negative, as the cut is rounded up
