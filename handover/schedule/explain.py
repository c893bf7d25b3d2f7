"""Why nothing can be planned: the demands that collide, and the single changes that would settle it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from handover.schedule.changes import is_shut
from handover.schedule.network import can_be_planned
from handover.schedule.problem import (
    CALENDARS,
    CARER,
    CLOSED,
    HORIZON,
    LONGEST_DAYS,
    PIN,
    PLACES,
    TODAY,
    Closed,
    Event,
    Lag,
    Problem,
)  # fmt: skip

MOST_DAYS = 366  # no single change is proposed that is larger than a year
DAYS_OFFERED = 3  # of the days on which opening would help, the first few are enough to choose from


def conflict(problem: Problem) -> tuple[str, ...] | None:
    """An irreducible set of demands that collide: take any one away, and the rest can be planned. None: no conflict.

    Members are in the order lags (by id), pins (in the order of the events), closed calendars, `today`, `horizon`. A
    conflict among the lags themselves is preferred to one with pins, and that to one with closed days or the
    horizon: what is nearer to the end of that order is left out first. (Deletion filter: Chinneck, Dravnieks 1991.)
    """
    if can_be_planned(problem):
        return None
    every = demands(problem)
    kept, size = list(every), len(every) + 1
    # An event whose pin is left out must keep to opening days again, so that leaving out a pin can make things
    # harder. Hence the filter runs until a whole round leaves everything in place.
    while len(kept) < size:
        size = len(kept)
        for member in reversed(kept.copy()):
            rest = [name for name in kept if name != member]
            if not _fits(problem, every, rest):
                kept = rest
    return tuple(kept)


def demands(problem: Problem) -> tuple[str, ...]:
    """Everything that a conflict can be made of, in the order in which a conflict names it."""
    lags = sorted(lag.id for lag in problem.lags)
    pins = [PIN + event.id for event in problem.events if event.pinned and not event.done]
    return (*lags, *pins, *(CLOSED + name for name in CALENDARS if name in problem.closed), TODAY, HORIZON)


def _fits(problem: Problem, every: Collection[str], kept: Collection[str]) -> bool:
    return can_be_planned(problem, set(every) - set(kept))


# --- cures ---


class CureKind(StrEnum):
    """What would be changed. The target is an event, a lag or a calendar; `on` says which day where that matters."""

    MOVE_PIN = "move_pin"
    EXTEND_HORIZON = "extend_horizon"
    SHORTEN_MIN = "shorten_min"
    LENGTHEN_MAX = "lengthen_max"
    OPEN = "open"
    CARER_BACK = "carer_back"
    CARER_LEAVES = "carer_leaves"
    DROP_PIN = "drop_pin"


@dataclass(frozen=True, slots=True)
class Cure:
    """One change that makes the problem plannable by itself; `problem` is the problem with the change made.

    `days`: by how many days the pin, the lag or the horizon moves; how many closed days open; how many days sooner
    the carer is back, or later away. For a dropped pin, the days to the nearest day that it could move to, or None
    if there is none.
    `on`: the new day of a pin, the day that opens, the first day that the carer is back, the first day away.
    """

    kind: CureKind
    target: str
    days: int | None
    problem: Problem
    on: date | None = None


def cures(problem: Problem, members: Collection[str]) -> tuple[Cure, ...]:
    """The single changes that settle a conflict (`members`, or a value that has them), fewest days first; perhaps none.

    Every change touches a member, since any other would leave the conflict as it is. If two conflicts stand side by
    side no single change settles both, and there is no cure here.
    """
    members = getattr(members, "members", members)
    found = [cure for member in members for cure in _cures_of(problem, member)]
    order = list(CureKind)
    return tuple(sorted(found, key=lambda cure: (cure.days is None, cure.days or 0, order.index(cure.kind), cure.target)))


def _cures_of(problem: Problem, member: str) -> Iterator[Cure]:
    if member.startswith(PIN):
        yield from _pin_cures(problem, member.removeprefix(PIN))
    elif member.startswith(CLOSED):
        calendar = member.removeprefix(CLOSED)
        if calendar in PLACES:
            yield from _opening_cures(problem, calendar)
        else:
            yield from _carer_cures(problem)
    elif member == HORIZON:
        yield from _horizon_cures(problem)
    elif member != TODAY:
        yield from _lag_cures(problem, next(lag for lag in problem.lags if lag.id == member))


def _pin_cures(problem: Problem, name: str) -> Iterator[Cure]:
    def pinned(day: date | None) -> Problem:
        return _with_event(problem, name, pinned=day)

    event = next(event for event in problem.events if event.id == name)
    assert event.pinned
    day = _nearest_pin(problem, event, pinned)
    away = None if day is None else abs((day - event.pinned).days)
    if day is not None:
        yield Cure(CureKind.MOVE_PIN, name, away, pinned(day), day)
    if can_be_planned(pinned(None)):
        yield Cure(CureKind.DROP_PIN, name, away, pinned(None))


def _nearest_pin(problem: Problem, event: Event, pinned: Callable[[date | None], Problem]) -> date | None:
    """The nearest other day (the earlier of two) that is open and to which the pin could move."""
    assert event.pinned
    start = (event.pinned - problem.today).days
    days = sorted(range(problem.horizon_days + 1), key=lambda day: (abs(day - start), day))
    for number in days:
        day = problem.today + timedelta(number)
        if number != start and not _is_shut(problem, event.place, day) and can_be_planned(pinned(day)):
            return day
    return None


def _horizon_cures(problem: Problem) -> Iterator[Cure]:
    most = min(MOST_DAYS, LONGEST_DAYS - problem.horizon_days, (date.max - problem.last_day).days)

    def longer(days: int) -> Problem:
        return replace(problem, horizon_days=problem.horizon_days + days)

    days = _fewest(longer, most)
    if days is not None:
        yield Cure(CureKind.EXTEND_HORIZON, HORIZON, days, longer(days))


def _lag_cures(problem: Problem, lag: Lag) -> Iterator[Cure]:
    def shorter(days: int) -> Problem:
        assert lag.min is not None
        return _with_lag(problem, replace(lag, min=lag.min - days))

    def longer(days: int) -> Problem:
        assert lag.max is not None
        return _with_lag(problem, replace(lag, max=lag.max + days))

    for kind, change, room in (
        (CureKind.SHORTEN_MIN, shorter, None if lag.min is None else lag.min + LONGEST_DAYS),
        (CureKind.LENGTHEN_MAX, longer, None if lag.max is None else LONGEST_DAYS - lag.max),
    ):
        days = None if room is None else _fewest(change, min(room, MOST_DAYS))
        if days is not None:
            yield Cure(kind, lag.id, days, change(days))


def _opening_cures(problem: Problem, place: str) -> Iterator[Cure]:
    """The first days on which the place alone is the obstacle and one open day is enough."""
    offered = 0
    for number in range(problem.horizon_days + 1):
        day = problem.today + timedelta(number)
        if offered < DAYS_OFFERED and is_shut(problem.closed[place], day):
            opened = _with_closed(problem, place, _without_day(problem.closed[place], day, problem))
            if can_be_planned(opened):
                offered += 1
                yield Cure(CureKind.OPEN, place, 1, opened, day)


def _carer_cures(problem: Problem) -> Iterator[Cure]:
    """For each time away: back so many days sooner, or away so many days later. Fewest days that do."""
    closed = problem.closed[CARER]
    for n, (first, last) in enumerate(closed.spans):
        length = (last - first).days + 1

        def cut(back: int, leave: int, n: int = n, first: date = first, last: date = last) -> Problem:
            span = (first + timedelta(leave), last - timedelta(back))
            spans = (*closed.spans[:n], *((span,) if span[0] <= span[1] else ()), *closed.spans[n + 1 :])
            return _with_closed(problem, CARER, replace(closed, spans=spans))

        days = _fewest(lambda back, cut=cut: cut(back, 0), length)  # type: ignore[misc]
        if days is not None:
            yield Cure(CureKind.CARER_BACK, CARER, days, cut(days, 0), last - timedelta(days - 1))
        days = _fewest(lambda leave, cut=cut: cut(0, leave), length - 1)  # type: ignore[misc]
        if days is not None:
            yield Cure(CureKind.CARER_LEAVES, CARER, days, cut(0, days), first + timedelta(days))


def _fewest(change: Callable[[int], Problem], most: int) -> int | None:
    """The fewest days from 1 to `most` that are enough, when more days never do worse; None if none are."""
    if most < 1 or not can_be_planned(change(most)):
        return None
    few, enough = 0, most
    while enough - few > 1:
        middle = (few + enough) // 2
        if can_be_planned(change(middle)):
            enough = middle
        else:
            few = middle
    return enough


# --- small changes ---


def _is_shut(problem: Problem, place: str, day: date) -> bool:
    return any(is_shut(problem.closed[name], day) for name in (place, CARER) if name in problem.closed)


def _with_event(problem: Problem, name: str, pinned: date | None) -> Problem:
    events = tuple(replace(event, pinned=pinned) if event.id == name else event for event in problem.events)
    return replace(problem, events=events)


def _with_lag(problem: Problem, changed: Lag) -> Problem:
    return replace(problem, lags=tuple(changed if lag.id == changed.id else lag for lag in problem.lags))


def _with_closed(problem: Problem, calendar: str, closed: Closed) -> Problem:
    return replace(problem, closed={**problem.closed, calendar: closed})


def _without_day(closed: Closed, day: date, problem: Problem) -> Closed:
    """The calendar with one day open. A weekly closing becomes its dates within the horizon, so that one can go."""
    dates = set(closed.dates)
    weekdays = closed.weekdays - {day.weekday()}
    if weekdays != closed.weekdays:
        every = (problem.today + timedelta(n) for n in range(problem.horizon_days + 1))
        dates |= {other for other in every if other.weekday() == day.weekday()}
    spans = []
    for first, last in closed.spans:
        for start, end in ((first, min(last, day - timedelta(1))), (max(first, day + timedelta(1)), last)):
            if start <= end and (first <= day <= last or start == first):
                spans.append((start, end))
    return Closed(weekdays, frozenset(dates - {day}), tuple(dict.fromkeys(spans)))
