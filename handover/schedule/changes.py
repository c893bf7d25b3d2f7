"""What differs between a published plan and the one that would be made today, and why: values, not words.

Only days that people have been told are compared: a thing done on its day is no change, nor is a fact that is new.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from handover.schedule.company import DRIVE
from handover.schedule.problem import CARER, CLINIC, Closed, Event, Lag, Problem

ASIDE = ("hold:", "season:", DRIVE)  # helpers of the problem that nobody is told about


class Kind(StrEnum):
    MOVED = "moved"
    ADDED = "added"
    DROPPED = "dropped"
    DONE = "done"  # on another day than the planned one


class Why(StrEnum):
    """Why a day is another one. In brackets, what the `Cause` holds beside it."""

    PINNED = "pinned"  # a person fixed it (now)
    UNPINNED = "unpinned"  # it is no longer fixed (was)
    HELD = "held"  # a vet said "not yet" (now: not before)
    RELEASED = "released"  # that no longer holds (was)
    SEASON = "season"  # its season opens (now)
    FIGURES = "figures"  # the protocol's interval changed (lag_id)
    ANCHOR = "anchor"  # what it counts from has another day (event_id, was, now)
    FACT = "fact"  # something that it counts from is new (event_id, now)
    GONE = "gone"  # something that it counted from is gone (event_id, was)
    CLOSED = "closed"  # the clinic is closed on the old day (was)
    AWAY = "away"  # the carer is away on the old day (was)
    PASSED = "passed"  # the old day went by (was)
    SHARED = "shared"  # one visit for both (event_id, now)
    DRIVE = "drive"  # one drive with another animal of the carer (now)
    FOLLOWS = "follows"  # it follows other days that moved
    ENDED = "ended"  # of a chain: what it repeats until comes first (event_id, now)
    AGAIN = "again"  # of a chain: one more before what it repeats until (event_id, now)


@dataclass(frozen=True, slots=True)
class Cause:
    why: Why
    event_id: str = ""
    lag_id: str = ""
    was: date | None = None
    now: date | None = None

    def to_json(self) -> dict[str, Any]:
        return {
            "why": str(self.why), "event_id": self.event_id, "lag_id": self.lag_id,
            "was": _iso(self.was), "now": _iso(self.now),
        }  # fmt: skip

    @classmethod
    def from_json(cls, given: Mapping[str, Any]) -> Cause:
        return cls(Why(given["why"]), given["event_id"], given["lag_id"], _day(given["was"]), _day(given["now"]))


@dataclass(frozen=True, slots=True)
class Change:
    """One event whose day is new, other, or gone."""

    event_id: str
    kind: Kind
    was: date | None
    now: date | None
    causes: tuple[Cause, ...] = ()


Days = Mapping[str, date]


def compare(before: Problem, before_days: Days, after: Problem, after_days: Days) -> tuple[Change, ...]:
    """Every change of a day, in the order of the new days. The first plan is compared with nothing: see `first`."""
    old, new = _Plan(before, before_days), _Plan(after, after_days)
    names = dict.fromkeys((*new.events, *old.events))
    found = (_change(name, old, new) for name in names if not name.startswith(ASIDE))
    return _in_order(change for change in found if change)


def first(after: Problem, after_days: Days) -> tuple[Change, ...]:
    """The changes of a first plan: every event to come is added."""
    names = [event.id for event in after.events if not event.done and not event.id.startswith(ASIDE)]
    return _in_order(Change(name, Kind.ADDED, None, after_days[name]) for name in names)


def worth_telling(changes: Iterable[Change]) -> tuple[Change, ...]:
    """The changes without those that are no news to whoever keeps the days: what was done, and what only goes by another
    name on its old day, because it is counted from another wound now."""
    changes = tuple(change for change in changes if change.kind is not Kind.DONE)
    dropped = Counter((_stem(change.event_id), change.was) for change in changes if change.kind is Kind.DROPPED)
    added = Counter((_stem(change.event_id), change.now) for change in changes if change.kind is Kind.ADDED)
    renamed = {Kind.DROPPED: dropped & added, Kind.ADDED: dropped & added}
    return tuple(change for change in changes if not _take(renamed.get(change.kind), (_stem(change.event_id), change.was or change.now)))


def _take(left: Counter[tuple[str, date | None]] | None, key: tuple[str, date | None]) -> bool:
    if left is None or not left[key]:
        return False
    left[key] -= 1
    return True


class _Plan:
    """A problem and its answer, by name."""

    def __init__(self, problem: Problem, days: Days) -> None:
        self.problem, self.days = problem, days
        self.events: dict[str, Event] = {event.id: event for event in problem.events}
        self.lags: dict[str, Lag] = {lag.id: lag for lag in problem.lags}

    def lags_to(self, event_id: str) -> dict[str, Lag]:
        return {lag.id: lag for lag in self.problem.lags if lag.end == event_id}

    def is_shut(self, calendar: str, day: date) -> bool:
        closed = self.problem.closed.get(calendar)
        return closed is not None and is_shut(closed, day)


def is_shut(closed: Closed, day: date) -> bool:
    """Whether a calendar says no to a day."""
    if day.weekday() in closed.weekdays or day in closed.dates:
        return True
    return any(start <= day <= end for start, end in closed.spans)


def _change(name: str, old: _Plan, new: _Plan) -> Change | None:
    before, after = old.events.get(name), new.events.get(name)
    was, now = old.days.get(name), new.days.get(name)
    if after is None:
        return (
            None if before is None or before.done else Change(name, Kind.DROPPED, was, None, _why_gone(name, old, new))
        )
    if before is None:
        return None if after.done else Change(name, Kind.ADDED, None, now, _why_new(name, old, new))
    if was == now:
        return None
    kind = Kind.DONE if after.done else Kind.MOVED
    return Change(name, kind, was, now, () if after.done else _why_moved(name, old, new))


def _why_new(name: str, old: _Plan, new: _Plan) -> tuple[Cause, ...]:
    starts = _roots(name, new)
    fresh = [
        start for start in starts if start not in old.events or (new.events[start].done and not old.events[start].done)
    ]
    facts = tuple(Cause(Why.FACT, start, now=new.days[start]) for start in fresh if not start.startswith(ASIDE))
    return facts or _chain_end(name, Why.AGAIN, old, new)


def _why_gone(name: str, old: _Plan, new: _Plan) -> tuple[Cause, ...]:
    """A chain whose end is done needs no anchor any more, and has not lost it."""
    ended = _chain_end(name, Why.ENDED, old, new)
    if ended and new.events[ended[0].event_id].done:
        return ended
    gone = tuple(Cause(Why.GONE, start, was=old.days[start]) for start in _roots(name, old) if start not in new.events)
    return gone or ended


def _roots(name: str, plan: _Plan) -> dict[str, None]:
    """What an event counts from; a link of a chain counts from what its first link does."""
    starts = dict.fromkeys(lag.start for lag in plan.lags_to(name).values())
    before = [start for start in starts if _chain_of(start) and _chain_of(start) == _chain_of(name)]
    return _roots(before[0], plan) if before else starts


def _chain_end(name: str, why: Why, old: _Plan, new: _Plan) -> tuple[Cause, ...]:
    """What the chain of this link repeats until, as long as that chain goes on or its end is done."""
    rules = {_rule_of(lag) for plan in (old, new) for lag in plan.lags_to(name).values()}
    closing = [lag for plan in (new, old) for lag in plan.problem.lags if _rule_of(lag) in rules and _stem(lag.end) != _stem(name)]
    for lag in closing:
        end = new.events.get(lag.end)
        is_same_chain = _chain_of(lag.start) == _chain_of(name) or lag.start in _roots(name, new) | _roots(name, old)
        if end and (end.done or (lag.id in new.lags and is_same_chain)):
            return (Cause(why, end.id, now=new.days[end.id]),)
    return ()


def _chain_of(event_id: str) -> str:
    """The name of the chain that a link belongs to; empty for an event that is none."""
    chain, _, number = event_id.rpartition(":")
    return chain if number.isdecimal() else ""


def _rule_of(lag: Lag) -> str:
    """A lag is named after the rule that it comes of and the event that it leads to."""
    return lag.id.partition("@")[0]


def _stem(event_id: str) -> str:
    return event_id.partition(":")[0]


def _why_moved(name: str, old: _Plan, new: _Plan) -> tuple[Cause, ...]:
    causes = (*_decisions(name, old, new), *_counting(name, old, new), *_calendar(name, old, new))
    return tuple(dict.fromkeys(causes)) or _sharing(name, old, new) or (Cause(Why.FOLLOWS),)


def _decisions(name: str, old: _Plan, new: _Plan) -> Iterator[Cause]:
    """Pins, holds and seasons: what people, and the year, have decided about this event."""
    was, now = old.events[name].pinned, new.events[name].pinned
    if now and now != was:
        yield Cause(Why.PINNED, now=now)
    elif was and not now:
        yield Cause(Why.UNPINNED, was=was)
    for lag_id, why in ((f"hold@{name}", Why.HELD), (f"season@{name}", Why.SEASON)):
        ends_before, ends_now = _not_before(lag_id, old), _not_before(lag_id, new)
        if ends_now and ends_now != ends_before:
            yield Cause(why, now=ends_now)
        elif ends_before and not ends_now and why is Why.HELD:
            yield Cause(Why.RELEASED, was=ends_before)


def _not_before(lag_id: str, plan: _Plan) -> date | None:
    lag = plan.lags.get(lag_id)
    if lag is None:
        return None
    return date.fromordinal(plan.days[lag.start].toordinal() + (lag.min or 0))


def _counting(name: str, old: _Plan, new: _Plan) -> Iterator[Cause]:
    """What it counts from: other figures, another day, a new start, a lost one."""
    before, after = _rules(old.lags_to(name)), _rules(new.lags_to(name))
    for lag_id, lag in after.items():
        if lag.start not in old.events or (lag_id not in before and new.events[lag.start].done):
            yield Cause(Why.FACT, lag.start, now=new.days[lag.start])
        elif old.days[lag.start] != new.days[lag.start]:
            yield Cause(Why.ANCHOR, lag.start, was=old.days[lag.start], now=new.days[lag.start])
        if lag_id in before and _figures_differ(before[lag_id], lag):
            yield Cause(Why.FIGURES, lag_id=lag_id)
    for lag in before.values():
        if lag.start not in new.events:
            yield Cause(Why.GONE, lag.start, was=old.days[lag.start])


def _rules(lags: Mapping[str, Lag]) -> dict[str, Lag]:
    return {lag_id: lag for lag_id, lag in lags.items() if not lag.start.startswith(ASIDE)}


def _figures_differ(before: Lag, after: Lag) -> bool:
    """An interval that was left out is no change of the protocol: somebody is late, a vet said "not yet", or another
    anchor gives the later day now."""
    both = ((before.usual, after.usual), (before.max, after.max))
    return before.min != after.min or any(None not in pair and pair[0] != pair[1] for pair in both)


def _calendar(name: str, old: _Plan, new: _Plan) -> Iterator[Cause]:
    was = old.days[name]
    if was < new.problem.today:
        yield Cause(Why.PASSED, was=was)
        return
    place = new.events[name].place
    if new.is_shut(place, was) and not old.is_shut(place, was):
        yield Cause(Why.CLOSED, was=was)
    if new.is_shut(CARER, was) and not old.is_shut(CARER, was):
        yield Cause(Why.AWAY, was=was)


def _sharing(name: str, old: _Plan, new: _Plan) -> tuple[Cause, ...]:
    """Another thing at the clinic on the new day that was not on the old one, or else another animal."""
    if new.events[name].place != CLINIC:
        return ()
    day = new.days[name]
    others = [
        e.id for e in new.events.values() if e.place == CLINIC and not e.done and e.id != name and new.days[e.id] == day
    ]
    met = [other for other in others if old.days.get(other) != old.days[name]]
    own = [other for other in met if not other.startswith(ASIDE)]
    if own or not met:
        return tuple(Cause(Why.SHARED, other, now=day) for other in own[:1])
    return (Cause(Why.DRIVE, now=day),)


def _in_order(changes: Iterator[Change]) -> tuple[Change, ...]:
    return tuple(sorted(changes, key=lambda change: (change.now or change.was or date.max, change.event_id)))


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
