"""When the doses of a course fall due, when a drug has washed out, and what a late dose does to the rest.

Doses keep their place on the clock face: every 12 hours from 08:00 is 08:00 and 20:00 on both sides of a
change to or from summer time. Washout is chemistry and runs in elapsed hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

from hospital.rules.dosetimes import nth_dose_at


class LateDose(StrEnum):
    """What a drug's rule says of the doses that follow a late one."""

    KEEP_TIMES = "keep_times"
    SHIFT = "shift"


def dose_times(first_at: datetime, every_hours: int, count: int) -> tuple[datetime, ...]:
    """The moments of a course of `count` doses, the first one included, in the zone of `first_at`.

    Intervals of four hours or more keep the clock face; shorter ones count elapsed hours. A clock time that
    a change of time skips is moved on by the hour that was skipped, and one that comes twice means the
    first of the two, as in RFC 5545, section 3.3.5.
    """
    _checked(first_at, every_hours)
    if count < 1:
        raise ValueError(f"A course has at least one dose, not {count}.")
    return tuple(nth_dose_at(first_at, every_hours, number) for number in range(count))


def next_dose(given_at: datetime, every_hours: int) -> datetime:
    """When the next dose falls due after one given at `given_at`, in its zone."""
    _checked(given_at, every_hours)
    return nth_dose_at(given_at, every_hours, 1)


def remaining_times(
    first_at: datetime,
    every_hours: int,
    count: int,
    given_at: Sequence[datetime | None],
    late_dose: LateDose,
) -> tuple[datetime, ...]:
    """The moments of the doses still to come, after the first `len(given_at)` were given, missed or refused
    (None).

    Under SHIFT a dose given after its time moves every later one; under KEEP_TIMES, and for a missed dose,
    nothing moves.
    """
    _checked(first_at, every_hours)
    if len(given_at) > count:
        raise ValueError(f"A course of {count} doses cannot have {len(given_at)} given.")
    anchor, done = first_at, 0
    if late_dose is LateDose.SHIFT:
        for number, at in enumerate(given_at):
            if at is not None and _utc(at) > _utc(nth_dose_at(anchor, every_hours, number - done)):
                anchor, done = at.astimezone(first_at.tzinfo), number
    return tuple(nth_dose_at(anchor, every_hours, number - done) for number in range(len(given_at), count))


def is_too_soon(given_at: datetime, next_at: datetime, every_hours: int) -> bool:
    """Whether less than half the interval lies between two doses: ask the vet first (common practice, no
    source).
    """
    return (_utc(next_at) - _utc(given_at)) * 2 < timedelta(hours=every_hours)


def washout_ends(last_dose_at: datetime, half_life_hours: Decimal, half_lives: int = 5) -> datetime:
    """When so many half-lives have passed since the last dose, to the next whole second, in its zone.

    After five half-lives 1/32 (3 %) of a dose is left: the rule of thumb of pharmacology (common practice).
    """
    if isinstance(half_life_hours, float) or half_life_hours <= 0 or half_lives < 1:
        raise ValueError("A washout needs a half-life above 0, as a decimal, and at least one of it.")
    _checked(last_dose_at, 1)
    seconds = (half_life_hours * half_lives * 3600).to_integral_value(ROUND_CEILING)
    return (_utc(last_dose_at) + timedelta(seconds=int(seconds))).astimezone(last_dose_at.tzinfo)


def _checked(at: datetime, every_hours: int) -> None:
    if at.utcoffset() is None:
        raise ValueError("A dose needs its time zone.")
    if every_hours < 1:
        raise ValueError(f"Doses lie at least one hour apart, not {every_hours}.")


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC)
