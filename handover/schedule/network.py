"""The problem in whole numbers: a bit mask of possible days for each open event, and links between open events.

Day 0 is today. A mask holds bit `day - first` for every day that an event may still fall on, so that "min to max days
later" is a shift of the whole mask. Lags are closed under taking the earlier (or later) of two answers, day by day;
therefore masks that agree along every link prove that there is an answer: each event on its own first day is one.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from handover.schedule.problem import CARER, CLOSED, HORIZON, PIN, TODAY, Closed, Event, Lag, Problem

Arcs = list[list[tuple[int, int | None, int | None]]]


@dataclass(frozen=True, slots=True)
class Link:
    """least ≤ day(j) - day(i) ≤ most for two open events; `pulls` are (usual, weight) of the same difference."""

    i: int
    j: int
    least: int | None
    most: int | None
    pulls: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Network:
    """Open events by number, their masks (bit 0 = day `first`), the links, and whether the fixed days agree."""

    open: tuple[Event, ...]
    first: int
    masks: tuple[int, ...]
    links: tuple[Link, ...]
    agrees: bool


def network(problem: Problem, without: Collection[str] = ()) -> Network:
    """The hard demands of the problem, leaving out those named (lag ids, pin:EVENT, closed:PLACE, today, horizon).

    Without `today` or `horizon` days reach so far that a longer reach could not make a difference.
    """
    fixed = fixed_days(problem, without)
    lags = [lag for lag in problem.lags if lag.id not in without]
    first, last = _reach(problem, lags, without)
    opened = tuple(event for event in problem.events if event.id not in fixed)
    number = {event.id: n for n, event in enumerate(opened)}
    free = {place: _free_days(problem, place, first, last, without) for place in {e.place for e in opened}}
    masks = [free[event.place] for event in opened]
    agrees = all(first <= fixed[e.id] <= last for e in problem.events if e.id in fixed and not e.done)
    done = {event.id for event in problem.events if event.done}
    between: list[Lag] = []
    for lag in lags:
        if lag.start in number and lag.end in number:
            between.append(lag)
        elif lag.end in number:
            day = fixed[lag.start] - first
            masks[number[lag.end]] &= _span(_plus(day, lag.min), _plus(day, lag.max))
        elif lag.start in number:
            day = fixed[lag.end] - first
            masks[number[lag.start]] &= _span(_minus(day, lag.max), _minus(day, lag.min))
        elif not (lag.start in done and lag.end in done):
            agrees = agrees and _holds(lag, fixed[lag.end] - fixed[lag.start])
    return Network(opened, first, tuple(masks), merged(between, number), agrees)


def can_be_planned(problem: Problem, without: Collection[str] = ()) -> bool:
    """Whether some answer meets every demand that is not left out."""
    net = network(problem, without)
    return net.agrees and not _contradict(net) and narrow(list(net.masks), arcs(len(net.masks), net.links))


def _contradict(net: Network) -> bool:
    """Whether links alone push some events apart without end (a positive cycle: Bellman 1958, Ford 1956).

    Masks would find out too, but only after pushing the events day by day across all the days there are.
    """
    pushes = [(link.i, link.j, link.least) for link in net.links if link.least is not None]
    pushes += [(link.j, link.i, -link.most) for link in net.links if link.most is not None]
    days = [0] * len(net.masks)
    for _ in range(len(days) + 1):
        before = list(days)
        for early, late, least in pushes:
            days[late] = max(days[late], days[early] + least)
        if days == before:
            return False
    return True


def fixed_days(problem: Problem, without: Collection[str] = ()) -> dict[str, int]:
    """Day numbers of the events that are done or (unless the pin is left out) pinned."""
    days = {}
    for event in problem.events:
        day = event.done or (event.pinned if PIN + event.id not in without else None)
        if day:
            days[event.id] = (day - problem.today).days
    return days


def merged(lags: Iterable[Lag], number: dict[str, int]) -> tuple[Link, ...]:
    """One link for each pair of open events, in the order of the events."""
    pairs: dict[tuple[int, int], tuple[int | None, int | None, tuple[tuple[int, int], ...]]] = {}
    for lag in lags:
        i, j = number[lag.start], number[lag.end]
        least, most, usual = lag.min, lag.max, lag.usual
        if i > j:
            i, j, least, most, usual = j, i, _negative(most), _negative(least), _negative(usual)
        low, high, pulls = pairs.get((i, j), (None, None, ()))
        if usual is not None and lag.weight:
            pulls = (*pulls, (usual, lag.weight))
        pairs[i, j] = _tighter(max, low, least), _tighter(min, high, most), pulls
    return tuple(Link(i, j, low, high, tuple(sorted(p))) for (i, j), (low, high, p) in sorted(pairs.items()))


# --- agreeing along the links ---


def arcs(size: int, links: Iterable[Link]) -> Arcs:
    """For each event its links, all seen from this event: (other event, least, most) days from here to there."""
    around: Arcs = [[] for _ in range(size)]
    for link in links:
        around[link.i].append((link.j, link.least, link.most))
        around[link.j].append((link.i, _negative(link.most), _negative(link.least)))
    return around


def narrow(masks: list[int], around: Arcs, changed: Iterable[int] | None = None) -> bool:
    """Take away every day that has no partner along some link; False if an event has no day left.

    `changed` names the events whose masks are news; None means all.
    """
    if not all(masks):
        return False
    waiting = list(range(len(masks)) if changed is None else changed)
    queued = set(waiting)
    while waiting:
        n = waiting.pop()
        queued.discard(n)
        for other, least, most in around[n]:
            left = masks[other] & partner_days(masks[n], least, most)
            if left != masks[other]:
                if not left:
                    return False
                masks[other] = left
                if other not in queued:
                    queued.add(other)
                    waiting.append(other)
    return True


def matters(link: Link, masks: Sequence[int]) -> bool:
    """Whether the link costs something or forbids any two of the days that are left."""
    nearest = (masks[link.j] & -masks[link.j]).bit_length() - masks[link.i].bit_length()
    farthest = masks[link.j].bit_length() - (masks[link.i] & -masks[link.i]).bit_length()
    is_free = (link.least is None or link.least <= nearest) and (link.most is None or link.most >= farthest)
    return bool(link.pulls) or not is_free


def partner_days(mask: int, least: int | None, most: int | None) -> int:
    """The days that lie `least` to `most` days after some day of the mask (which has at least one)."""
    if least is None or most is None:
        opens = None if least is None else (mask & -mask).bit_length() - 1 + least
        closes = None if most is None else mask.bit_length() - 1 + most
        return _span(opens, closes)
    width, covered = most - least + 1, 1
    while covered < width:
        step = min(covered, width - covered)
        mask |= mask << step
        covered += step
    return mask << least if least >= 0 else mask >> -least


def days_of(mask: int) -> list[int]:
    """The set bits, lowest first."""
    days = []
    while mask:
        low = mask & -mask
        days.append(low.bit_length() - 1)
        mask ^= low
    return days


def _span(opens: int | None, closes: int | None) -> int:
    """A mask of all days from `opens` to `closes`; None is without end."""
    if closes is not None and closes < 0:
        return 0
    upwards = -1 if opens is None or opens <= 0 else -1 << opens
    return upwards if closes is None else upwards & ((1 << (closes + 1)) - 1)


# --- opening days ---


def closed_days(closed: Closed | None, today: date, first: int, last: int) -> int:
    """The mask (bit 0 = day `first`) of closed days from `first` to `last`."""
    if closed is None:
        return 0
    all_days = (1 << (last - first + 1)) - 1
    monday = -(today.weekday() + first) % 7  # the bit of the first Monday
    week = sum(1 << (monday + weekday) % 7 for weekday in closed.weekdays)
    weeks = (last - first) // 7 + 1
    mask = week * (((1 << 7 * weeks) - 1) // 127)  # the same week again and again
    for start, end in (*((day, day) for day in closed.dates), *closed.spans):
        mask |= _span((start - today).days - first, (end - today).days - first)
    return mask & all_days


def _free_days(problem: Problem, place: str, first: int, last: int, without: Collection[str]) -> int:
    mask = (1 << (last - first + 1)) - 1
    for calendar in (place, CARER):
        if CLOSED + calendar not in without:
            mask &= ~closed_days(problem.closed.get(calendar), problem.today, first, last)
    return mask


def _reach(problem: Problem, lags: Sequence[Lag], without: Collection[str]) -> tuple[int, int]:
    """First and last day number that an event not done may fall on."""
    first, last = 0, problem.horizon_days
    if TODAY not in without and HORIZON not in without:
        return first, last
    margin = _margin(problem, lags)
    landmarks = _landmarks(problem)
    if TODAY in without:
        first = min(first, *landmarks) - margin
    if HORIZON in without:
        last = max(last, *landmarks) + margin
    return first, last


def _margin(problem: Problem, lags: Sequence[Lag]) -> int:
    """How far beyond the last special date an answer can need to reach.

    Out there only weekdays count. A chain of demands that pushes events outwards meets each event on each weekday at
    most once (else it pushes for ever, and no reach is enough), and each of its steps is a lag and less than a week.
    """
    longest = {event.id: 0 for event in problem.events}
    for lag in lags:
        length = max(abs(lag.min or 0), abs(lag.max or 0))
        for end in (lag.start, lag.end):
            longest[end] = max(longest[end], length)
    return 7 * sum(length + 7 for length in longest.values())


def _landmarks(problem: Problem) -> list[int]:
    days = [day for event in problem.events for day in (event.done, event.pinned) if day]
    for closed in problem.closed.values():
        days += closed.dates
        days += [day for span in closed.spans for day in span]
    return [0, *((day - problem.today).days for day in days)]


# --- numbers that may be missing ---


def _plus(day: int, days: int | None) -> int | None:
    return None if days is None else day + days


def _minus(day: int, days: int | None) -> int | None:
    return None if days is None else day - days


def _negative(days: int | None) -> int | None:
    return None if days is None else -days


def _tighter(choose: Callable[[int, int], int], a: int | None, b: int | None) -> int | None:
    return b if a is None else a if b is None else choose(a, b)


def _holds(lag: Lag, days: int) -> bool:
    return (lag.min is None or days >= lag.min) and (lag.max is None or days <= lag.max)
