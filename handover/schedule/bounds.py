"""How cheap a plan can possibly be: a lower bound that also says which days make a plan too dear.

The price of a clinic day is shared out among the series of events that could use it; whichever member of a series
falls on that day pays the share of its series. A link that would close a ring hangs on a copy of one of its ends, and
a toll per day, paid by the event and handed back to its copy, draws the two together. What is left is a forest, whose
least cost is exact by passing messages along it (dynamic programming). Any shares and tolls give a true lower bound
(Lagrangian relaxation: Held and Karp 1971); they get better by moving against the disagreements of the answer behind
the bound. Shares are whole numbers, so every bound is exact arithmetic.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from operator import add, sub

from handover.schedule.messages import FAR, offers, send
from handover.schedule.model import Model
from handover.schedule.network import days_of, narrow

MEMORY = 0.7  # how much of its last direction a move of the shares keeps (measured: without, three times the rounds)

FAINT = 0.02  # what is left of it when it is forgotten

Rows = list[list[int]]
Pull = dict[tuple[int, int], float]


@dataclass(slots=True)
class State:
    """One node of the search: the days still possible, the clinic days paid for, and how the rest is shared.

    For each open clinic day the shares of the series that can still use it add up to the price of a visit, and every
    other series has no share: so the same prices bound the whole problem as well as this part of it. Messages are kept;
    `stale` are the nodes whose costs or whose parent's days have changed since they were last heard.
    """

    masks: list[int]
    paid: int
    constant: int
    prices: Rows
    days: Rows  # of each node
    costs: Rows  # of each node, without prices
    users: dict[int, list[int]]  # clinic day: series that can use it
    sums: Rows  # of each node: its costs and what its children told it
    values: Rows  # the same, laid out day by day
    told: Rows  # what each node told its parent
    stale: set[int]
    bound: int = -FAR


def start(model: Model, masks: Sequence[int], paid: int = 0) -> State:
    """A fresh state: shares in proportion to the square of a series' length (long chains fix most visits)."""
    nodes, span = len(model.children), len(model.unary[0])
    empty: Rows = [[] for _ in range(nodes)]
    prices = [[0] * span for _ in range(len(model.members) + len(model.copies))]
    state = State(list(masks), paid, 0, prices, [*empty], [*empty], {}, [*empty], [*empty], [*empty], set())
    for series, events in enumerate(model.members):
        for day in days_of(_union(masks, events) & ~paid):
            state.users.setdefault(day, []).append(series)
    for day, users in state.users.items():
        _share_out(model, state, day, users, model.visit)
    _take_days(model, state, range(model.size))
    return state


def fork(state: State) -> State:
    """A state to change while this one stays: rows of prices are changed in place, all else is replaced."""
    return State(
        list(state.masks), state.paid, state.constant, [list(row) for row in state.prices], list(state.days), list(state.costs),
        dict(state.users), list(state.sums), list(state.values), list(state.told), set(state.stale), state.bound,
    )  # fmt: skip


def pay(model: Model, state: State, day: int) -> None:
    """From now on this clinic day is visited, and open to all for nothing."""
    state.paid |= 1 << day
    state.constant += model.visit
    users = state.users.pop(day)
    for series in users:
        state.prices[series][day] = 0
    _touch(model, state, dict.fromkeys(users, 1 << day))


def restrict(model: Model, state: State, kept: dict[int, int]) -> bool:
    """Keep only these days of these events, and share again the days that a series has lost; False if no answer is left."""
    masks = list(state.masks)
    for event, mask in kept.items():
        masks[event] &= mask
    changed = [event for event in kept if masks[event] != state.masks[event]]
    if not narrow(masks, model.around, changed):
        return False
    before, state.masks = state.masks, masks
    changed = [event for event in range(model.size) if masks[event] != before[event]]
    _take_days(model, state, changed)
    for series in {series for event in changed if (series := model.series[event]) is not None}:
        events = model.members[series]
        for day in days_of(_union(before, events) & ~_union(masks, events) & ~state.paid):
            _leave(model, state, series, day)
    return True


def relax(model: Model, state: State) -> int:
    """Pass messages from the leaves to the roots, where there is news; the bound for the present shares."""
    stale = state.stale
    for step in reversed(model.steps):
        node = step.node
        if node in stale:
            _add_up(model, state, node)
            state.values[node] = laid_out(model, state.days[node], state.sums[node])
            state.told[node] = send(step.up, state.values[node], state.days[step.parent])
            stale.add(step.parent)
    for root in model.roots:
        if root in stale:
            _add_up(model, state, root)
    stale.clear()
    state.bound = state.constant + sum([min(state.sums[root]) for root in model.roots])
    return state.bound


def read_off(model: Model, state: State) -> list[int]:
    """The answer behind the bound: a day for each node, copies included. Needs a fresh relax()."""
    days = [0] * len(state.sums)
    for root in model.roots:
        days[root] = state.days[root][state.sums[root].index(min(state.sums[root]))]
    for step in model.steps:
        first, costs = offers(step.up, state.values[step.node], days[step.parent])
        days[step.node] = first + costs.index(min(costs))
    return days


def too_dear(model: Model, state: State, limit: int) -> dict[int, int]:
    """The masks that are left, by event, once days that no answer of at most `limit` uses are gone; only those that
    change. Needs a fresh relax()."""
    through, least = _through(model, state)
    room = limit - state.bound
    kept: dict[int, int] = {}
    for event, nodes in enumerate(model.nodes):
        for node in nodes:
            most = least[node] + room
            if max(through[node]) > most:
                mask = sum([1 << day for day, cost in zip(state.days[node], through[node], strict=True) if cost <= most])
                kept[event] = kept.get(event, -1) & mask
    return kept


def move_shares(model: Model, state: State, days: Sequence[int], pull: Pull, reach: float) -> bool:
    """Raise the shares of those who use a day that others shun, lower the others'; False if nobody disagrees.

    `pull` is the direction of the last move, kept from call to call; `reach` is the rise that the move aims at.
    """
    used: dict[int, set[int]] = {}
    for series, events in enumerate(model.members):
        for event in events:
            used.setdefault(days[event], set()).add(series)
    _fade(state, pull, len(model.members))
    fresh = 1 - MEMORY if pull else 1.0
    agree = True
    for day, by in used.items():
        could = state.users.get(day, ())
        if len(by) < len(could):
            agree = False
            level = len(by) / len(could)
            for series in could:
                key = series, day
                pull[key] = pull.get(key, 0.0) + fresh * ((series in by) - level)
    for n, (event, _) in enumerate(model.copies):
        number, own, copied = len(model.members) + n, days[event], days[model.size + n]
        if own != copied:
            agree = False
            pull[number, own] = pull.get((number, own), 0.0) + fresh
            pull[number, copied] = pull.get((number, copied), 0.0) - fresh
    if not agree:
        _follow(model, state, pull, reach)
    return not agree


def level(model: Model, state: State, part: float) -> None:
    """Bring what each series would lose by using a day nearer to what the others would lose, and an event to its copies.

    A move along all days at once, where move_shares() moves along those used. Needs a fresh relax().
    """
    through, least = _through(model, state)
    losses: list[dict[int, int]] = [{} for _ in model.members]
    for event, series in enumerate(model.series):
        if series is not None:
            own = losses[series]
            for day, cost in zip(state.days[event], through[event], strict=True):
                loss = min(cost - least[event], model.visit)
                if own.get(day, loss) >= loss:
                    own[day] = loss
    moved: dict[int, int] = {}
    for day, users in state.users.items():
        if len(users) > 1:
            lost = [losses[series][day] for series in users]
            mean = sum(lost) // len(lost)
            if max(lost) > min(lost):
                for series, loss in zip(users, lost, strict=True):
                    state.prices[series][day] += round(part * (mean - loss))
                    moved[series] = moved.get(series, 0) | 1 << day
                _balance(state.prices, day, users, model.visit)
    _touch(model, state, moved)
    for n, (event, _) in enumerate(model.copies):
        row, copy = state.prices[len(model.members) + n], model.size + n
        for day, cost, copied in zip(state.days[event], through[event], through[copy], strict=True):
            gap = min(copied - least[copy], model.visit) - min(cost - least[event], model.visit)
            row[day] += round(part * gap / 2)
        state.stale.update((event, copy))


# --- parts ---


def _through(model: Model, state: State) -> tuple[Rows, list[int]]:
    """For each node and day the least cost of its tree on that day; and for each node the least of its tree."""
    through, least = list(state.sums), [0] * len(state.sums)
    for root in model.roots:
        least[root] = min(state.sums[root])
    for step in model.steps:
        rest = list(map(sub, through[step.parent], state.told[step.node]))
        message = send(step.down, laid_out(model, state.days[step.parent], rest), state.days[step.node])
        through[step.node] = list(map(add, state.sums[step.node], message))
        least[step.node] = least[step.parent]
    return through, least


def _union(masks: Sequence[int], events: Collection[int]) -> int:
    together = 0
    for event in events:
        together |= masks[event]
    return together


def _take_days(model: Model, state: State, changed: Collection[int]) -> None:
    for event in changed:
        days, row = days_of(state.masks[event]), model.unary[event]
        for node in model.nodes[event]:
            state.days[node] = days
            state.costs[node] = [row[day] for day in days] if node == event else [0] * len(days)
            state.stale.add(node)
            state.stale.update(model.children[node])


def _leave(model: Model, state: State, series: int, day: int) -> None:
    """The series cannot use the day any more: what it paid is left to the others."""
    share, state.prices[series][day] = state.prices[series][day], 0
    users = [other for other in state.users[day] if other != series]
    if users:
        state.users[day] = users
        if share:
            _share_out(model, state, day, users, share)
            _touch(model, state, dict.fromkeys(users, 1 << day))
    else:
        del state.users[day]


def _share_out(model: Model, state: State, day: int, users: list[int], amount: int) -> None:
    weights = [len(model.members[series]) ** 2 for series in users]
    rest, whole = amount, sum(weights)
    for series, weight in zip(users, weights, strict=True):
        share = amount * weight // whole
        state.prices[series][day] += share
        rest -= share
    state.prices[users[0]][day] += rest


def _touch(model: Model, state: State, moved: dict[int, int]) -> None:
    """Prices have changed: for each series the mask of days."""
    for series, days in moved.items():
        state.stale.update([event for event in model.members[series] if state.masks[event] & days])


def _add_up(model: Model, state: State, node: int) -> None:
    """What a node costs on each of its days: its own costs, prices and tolls, and what its children told it."""
    total, days = state.costs[node], state.days[node]
    if node < model.size:
        series = model.series[node]
        rows = [] if series is None else [state.prices[series]]
        for copy in model.nodes[node][1:]:
            rows.append(state.prices[len(model.members) + copy - model.size])
        for row in rows:
            total = map(add, total, map(row.__getitem__, days))  # type: ignore[assignment]
    else:
        row = state.prices[len(model.members) + node - model.size]
        total = [-row[day] for day in days]
    for child in model.children[node]:
        total = map(add, total, state.told[child])  # type: ignore[assignment]
    state.sums[node] = list(total)


def laid_out(model: Model, days: list[int], costs: list[int]) -> list[int]:
    values = [FAR] * len(model.unary[0])
    for day, cost in zip(days, costs, strict=True):
        values[day] = cost
    return values


def _fade(state: State, pull: Pull, series_count: int) -> None:
    for key, weight in list(pull.items()):
        number, day = key
        if abs(weight) < FAINT or (number < series_count and number not in state.users.get(day, ())):
            del pull[key]
        else:
            pull[key] = weight * MEMORY


def _follow(model: Model, state: State, pull: Pull, reach: float) -> None:
    size = reach / (sum([weight * weight for weight in pull.values()]) or 1.0)  # directions may cancel out
    moved: dict[int, int] = {}
    days: dict[int, None] = {}
    for (number, day), weight in pull.items():
        state.prices[number][day] += round(size * weight)
        if number < len(model.members):
            days[day] = None
        else:
            copy = number - len(model.members)
            state.stale.update((model.copies[copy][0], model.size + copy))
    for day in days:
        users = state.users[day]
        _balance(state.prices, day, users, model.visit)
        for series in users:
            moved[series] = moved.get(series, 0) | 1 << day
    _touch(model, state, moved)


def _balance(prices: Rows, day: int, users: list[int], visit: int) -> None:
    """Bring the shares of a day back to the nearest that are not negative and add up to a visit."""
    if len(users) == 2:  # the usual case, in one step
        row, other = prices[users[0]], prices[users[1]]
        row[day] = min(visit, max(0, (row[day] - other[day] + visit) >> 1))
        other[day] = visit - row[day]
        return
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
