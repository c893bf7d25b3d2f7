"""What would move one day: how far it can go at no broken rule, and what each other day would cost.

Worked out for the one event that is asked about. Each other day is a plan of its own: that event fixed there, all else
free to follow, and the cheapest of those. Days to the event's own opening calendar keep to it, as planning does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import NamedTuple

from handover.schedule.changes import ASIDE, is_shut
from handover.schedule.company import DRIVE
from handover.schedule.explain import Cure
from handover.schedule.network import can_be_planned
from handover.schedule.plan import Planned, plan
from handover.schedule.problem import CARER, CLINIC, Event, Lag, Problem
from handover.schedule.windows import NoWindow, windows

NEAREST = 2  # of the possible days, so many are offered on either side of the chosen one
MOST_OFFERS = 8


@dataclass(frozen=True, slots=True)
class Price:
    """The parts of a plan's cost, in the order in which they add up to `total` points.

    `visits`: days at the clinic for this animal alone; days on which its carer comes anyway cost nothing more. `promises`:
    events moved from the day that was promised. `off_usual`: points for days that are not the usual ones, each by the
    weight of its rule.
    """

    visits: int
    promises: int
    off_usual: int
    total: int


@dataclass(frozen=True, slots=True)
class Alternative:
    """The cheapest plan that has the event on `day`.

    `extra`: points more than the plan as it is (less than 0 only where a person fixed the day, or a search ended
    early). `moved`: the other events whose day would be another one than now.
    """

    day: date
    price: Price
    extra: int
    moved: Mapping[str, date]


@dataclass(frozen=True, slots=True)
class Moves:
    """What would move one event. `possible`: the open days on which it could be with every rule kept, in order.

    `offers`: some of those days with their price. `companions`: what shares its visit. `apart`: the cheapest plan in
    which they stay where they are and it goes on a day without them; None if there is none, or nobody to leave.
    """

    event_id: str
    day: date
    price: Price
    possible: tuple[date, ...]
    offers: tuple[Alternative, ...]
    companions: tuple[str, ...] = ()
    apart: Alternative | None = None

    @property
    def days_earlier(self) -> int:
        """How many days sooner it could be at the most; 0 if none."""
        return max(0, (self.day - self.possible[0]).days) if self.possible else 0

    @property
    def days_later(self) -> int:
        return max(0, (self.possible[-1] - self.day).days) if self.possible else 0


def moves(problem: Problem, planned: Planned, event_id: str) -> Moves:
    """Slack and prices for one event that is not done. Raises KeyError if there is no such event."""
    event = _open_event(problem, event_id)
    day = planned.days[event_id]
    possible = possible_days(problem, event_id)
    visits = [visit.day for visit in planned.visits]
    days = _worth_asking(possible, day, visits if event.place == CLINIC else [])
    offers = (alternative(problem, planned, event_id, each) for each in days)
    companions = _companions(planned, event)
    return Moves(
        event_id,
        day,
        price_of(problem, planned.days),
        possible,
        tuple(offer for offer in offers if offer),
        companions,
        _apart(problem, planned, event_id, companions) if companions else None,
    )


def alternative(problem: Problem, planned: Planned, event_id: str, on: date) -> Alternative | None:
    """The cheapest plan with the event on this day; None if some rule would be broken. Raises KeyError."""
    _open_event(problem, event_id)
    return _alternative(_pinned(problem, {event_id: on}), planned, event_id)


def possible_days(problem: Problem, event_id: str) -> tuple[date, ...]:
    """The open days on which the event could be, every other one following where it must. Its own pin is left out."""
    event = _open_event(problem, event_id)
    free = _pinned(problem, {event_id: None})
    try:
        window = windows(free)[event_id]
    except NoWindow:
        return ()
    days = (window.opens + timedelta(n) for n in range((window.closes - window.opens).days + 1))
    calendars = [problem.closed[name] for name in (event.place, CARER) if name in problem.closed]
    opened = (day for day in days if not any(is_shut(calendar, day) for calendar in calendars))
    return tuple(day for day in opened if can_be_planned(_pinned(problem, {event_id: day})))


def price_of(problem: Problem, days: Mapping[str, date]) -> Price:
    """What a plan's days cost: the sum that planning makes smallest, part by part."""
    done = {event.id for event in problem.events if event.done}
    coming = [event for event in problem.events if not event.done and not event.id.startswith(ASIDE)]
    anyway = {days[event.id] for event in problem.events if event.id.startswith(DRIVE)}
    visits = len({days[event.id] for event in coming if event.place == CLINIC} - anyway)
    promises = broken(problem, days).promises
    off_usual = sum(
        lag.weight * abs((days[lag.end] - days[lag.start]).days - lag.usual)
        for lag in problem.lags
        if lag.usual is not None and not (lag.start in done and lag.end in done)
    )
    total = problem.costs.visit * visits + problem.costs.move * promises + off_usual
    return Price(visits, promises, off_usual, total)


# --- cures by their price ---


class Broken(NamedTuple):
    """How many promised dates move, and by how many days all together. Compares as it is: fewer dates, then fewer days."""

    promises: int = 0
    days: int = 0


@dataclass(frozen=True, slots=True)
class PricedCure:
    """A cure of a conflict, and what the cheapest plan that it allows does to the promised dates."""

    cure: Cure
    broken: Broken


def cheapest_first(found: Iterable[Cure]) -> tuple[PricedCure, ...]:
    """Cures by what they cost the promised dates: the fewest moved, then by the fewest days in all.

    Among those of equal cost the order in which they were found is kept: the smallest change first.
    """
    priced = [each for each in map(_priced, found) if each]
    return tuple(sorted(priced, key=lambda each: each.broken))


def _priced(cure: Cure) -> PricedCure | None:
    answer = plan(cure.problem)
    return PricedCure(cure, broken(cure.problem, answer.days)) if isinstance(answer, Planned) else None


def broken(problem: Problem, days: Mapping[str, date]) -> Broken:
    """The promised dates of events to come that these days do not keep."""
    coming = (event.id for event in problem.events if not event.done and event.id in problem.previous)
    shifts = [abs((days[name] - problem.previous[name]).days) for name in coming]
    return Broken(sum(1 for shift in shifts if shift), sum(shifts))


# --- one by one ---


def _open_event(problem: Problem, event_id: str) -> Event:
    event = {event.id: event for event in problem.events}[event_id]
    if event.done:
        raise KeyError(event_id)
    return event


def _worth_asking(possible: tuple[date, ...], day: date, visits: Iterable[date]) -> list[date]:
    """The nearest days on either side, the nearest other visits, and the first and last day of all."""
    others = [each for each in possible if each != day]
    near = sorted(others, key=lambda each: (abs((each - day).days), each))
    before, after = [each for each in near if each < day], [each for each in near if each > day]
    shared = [each for each in near if each in set(visits)]
    wanted = [*before[:NEAREST], *after[:NEAREST], *shared[:NEAREST], *others[:1], *others[-1:]]
    return sorted(list(dict.fromkeys(wanted))[:MOST_OFFERS])


def _companions(planned: Planned, event: Event) -> tuple[str, ...]:
    if event.place != CLINIC:
        return ()
    shared = next((visit.events for visit in planned.visits if event.id in visit.events), ())
    return tuple(name for name in shared if name != event.id and not name.startswith(ASIDE))


def _apart(problem: Problem, planned: Planned, event_id: str, companions: tuple[str, ...]) -> Alternative | None:
    """The cheaper of going before them and going after them, while they stay."""
    day = planned.days[event_id]
    stayed = _pinned(problem, {event_id: None, **dict.fromkeys(companions, day)})
    name = "apart" + "'" * max((len(lag.id) for lag in problem.lags), default=0)  # longer than any other id
    sides = (Lag(name, companions[0], event_id, 1), Lag(name, companions[0], event_id, None, None, -1))
    found = (_alternative(replace(stayed, lags=(*stayed.lags, lag)), planned, event_id) for lag in sides)
    return min((each for each in found if each), key=lambda each: (each.extra, each.day), default=None)


def _alternative(problem: Problem, planned: Planned, event_id: str) -> Alternative | None:
    if not can_be_planned(problem):
        return None
    answer = plan(problem)
    assert isinstance(answer, Planned)
    others = (name for name in answer.days if name != event_id and not name.startswith(ASIDE))
    moved = {name: answer.days[name] for name in others if answer.days[name] != planned.days[name]}
    return Alternative(answer.days[event_id], price_of(problem, answer.days), answer.cost - planned.cost, moved)


def _pinned(problem: Problem, days: Mapping[str, date | None]) -> Problem:
    events = tuple(replace(event, pinned=days[event.id]) if event.id in days else event for event in problem.events)
    return replace(problem, events=events)
