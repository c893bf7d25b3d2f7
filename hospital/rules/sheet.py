"""The treatment sheet: what is due when, what was written of it, and the hours of a shift.

What is due is worked out, never stored; stored is only what somebody wrote. Moments carry their zone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from enum import StrEnum

# How long after its time a thing is due before it is late, and late before nobody is expected to give it any more. Common
# practice, no source: an hour either way is usual for most courses, and after half the interval the next one is nearer.
GRACE = timedelta(minutes=60)
LATE_UNTIL = timedelta(hours=6)
OVER_FOR = timedelta(days=2)  # a course that ended so long ago is on no sheet, whatever was not written of it (ours)

FIRST_MEAL, LAST_MEAL = 8, 20  # o'clock, common practice, no source
ALONE_AT = time(9)  # a single meal


class State(StrEnum):
    COMING = "coming"
    DUE = "due"
    LATE = "late"
    MISSED = "missed"  # nobody wrote anything, or somebody wrote that it was missed
    GIVEN = "given"
    REFUSED = "refused"  # not taken


@dataclass(frozen=True, slots=True)
class Written:
    """What was written of one thing: a State of GIVEN, REFUSED or MISSED, when, and by whom."""

    state: State
    at: datetime
    by: str = ""
    key: int = 0


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing at its time; `number` counts from 0 within its course or plan."""

    number: int
    due_at: datetime
    state: State
    written: Written | None = None


def entries(
    due: Sequence[datetime], written: Sequence[Written], now: datetime, *, grace: timedelta = GRACE, late_until: timedelta = LATE_UNTIL
) -> tuple[Entry, ...]:
    """Each planned moment once, with the state it is in now.

    The first thing written answers the first that was planned, in the order of time: a dose left out is written as missed.
    What was written beyond the plan is left to the caller.
    """
    told = sorted(written, key=lambda each: (_utc(each.at), each.key))
    found = []
    for number, at in enumerate(due):
        said = told[number] if number < len(told) else None
        found.append(Entry(number, at, said.state if said else state_at(at, now, grace=grace, late_until=late_until), said))
    return tuple(found)


def state_at(due_at: datetime, now: datetime, *, grace: timedelta = GRACE, late_until: timedelta = LATE_UNTIL) -> State:
    """The state of something that nobody has written of."""
    since = _utc(now) - _utc(due_at)
    if since < timedelta(0):
        return State.COMING
    if since < grace:
        return State.DUE
    return State.LATE if since < late_until else State.MISSED


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of the clock on the wall. `is_again`: the hour that comes twice when summer time ends, the second time."""

    starts_at: datetime
    is_again: bool = False

    @property
    def ends_at(self) -> datetime:
        return (_utc(self.starts_at) + timedelta(hours=1)).astimezone(self.starts_at.tzinfo)

    def holds(self, moment: datetime) -> bool:
        return _utc(self.starts_at) <= _utc(moment) < _utc(self.ends_at)


def hours(starts_at: datetime, ends_at: datetime) -> tuple[Hour, ...]:
    """The hours from the one that holds `starts_at` up to `ends_at`, as they pass: one that is skipped when summer time begins is
    not there, one that comes twice is there twice."""
    zone = starts_at.tzinfo
    assert zone is not None
    at = _utc(starts_at.replace(minute=0, second=0, microsecond=0))
    found = []
    while at < _utc(ends_at):
        local = at.astimezone(zone)
        found.append(Hour(local, is_again=local.fold == 1))
        at += timedelta(hours=1)
    return tuple(found)


def shift_of(day: date, from_hour: int, to_hour: int, zone: tzinfo) -> tuple[datetime, datetime]:
    """The shift that begins on a day: 8 to 20 is by day, 20 to 8 by night into the next day, 8 to 8 a whole day."""
    starts_at = datetime.combine(day, time(from_hour), zone)
    last_day = day if to_hour > from_hour else day + timedelta(days=1)
    return starts_at, datetime.combine(last_day, time(to_hour), zone)


def meal_times(times_a_day: int) -> tuple[time, ...]:
    """Clock times for so many meals a day: one at 9, up to six spread from 8 to 20 o'clock, more around the clock from 8 on.

    Common practice, no source. Raises ValueError below 1 and above 24.
    """
    if not 1 <= times_a_day <= 24:
        raise ValueError(f"Between 1 and 24 meals a day, not {times_a_day}.")
    if times_a_day == 1:
        return (ALONE_AT,)
    if times_a_day <= 6:
        gap = (LAST_MEAL - FIRST_MEAL) * 60 // (times_a_day - 1)
        minutes = [FIRST_MEAL * 60 + n * gap for n in range(times_a_day)]
    else:
        minutes = sorted((FIRST_MEAL * 60 + n * 1440 // times_a_day) % 1440 for n in range(times_a_day))
    return tuple(time(each // 60, each % 60 // 15 * 15) for each in minutes)


def meal_moments(times_a_day: int, every_days: int, first_on: date, starts_at: datetime, ends_at: datetime) -> tuple[datetime, ...]:
    """The meals between two moments (the second not included), on every nth day from the first one on."""
    zone = starts_at.tzinfo
    assert zone is not None
    days = [starts_at.date() + timedelta(n) for n in range((ends_at.date() - starts_at.date()).days + 1)]
    fed = [day for day in days if day >= first_on and (day - first_on).days % every_days == 0]
    moments = [datetime.combine(day, at, zone) for day in fed for at in meal_times(times_a_day)]
    real = [each.astimezone(UTC).astimezone(zone) for each in moments]  # a time that is skipped moves on by the skipped hour
    return tuple(each for each in real if _utc(starts_at) <= _utc(each) < _utc(ends_at))


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC)
