"""When the doses of a course fall due, what a late dose does to the rest, and when a medicine has washed out.

Doses keep their place on the clock face: every 12 hours from 08:00 is 08:00 and 20:00 on both sides of a change to or
from summer time. Washout is chemistry and runs in elapsed hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

# Below this an hour more or less matters, and two doses could share the hour that is skipped.
SHORTEST_CIVIL_HOURS = 4
# After five half-lives 1/32 (3 %) of a dose is left: the rule of thumb of pharmacology (common practice).
HALF_LIVES = 5


class LateDose(StrEnum):
    """What a medicine's rule says of the doses that follow a late one."""

    KEEP_TIMES = "keep_times"
    SHIFT = "shift"


def nth_dose_at(first_at: datetime, every_hours: int, number: int) -> datetime:
    """The moment `number` intervals after the first dose, in its zone.

    Intervals of four hours or more keep the clock face over a change to or from summer time; shorter ones run in
    elapsed hours. A clock time that is skipped moves on by the skipped hour, and one that comes twice means the first of
    the two (RFC 5545, section 3.3.5).
    """
    gap = timedelta(hours=every_hours * number)
    if every_hours < SHORTEST_CIVIL_HOURS:
        return (first_at.astimezone(UTC) + gap).astimezone(first_at.tzinfo)
    civil = (first_at.replace(tzinfo=None) + gap).replace(tzinfo=first_at.tzinfo, fold=0)
    return civil.astimezone(UTC).astimezone(first_at.tzinfo)


def dose_times(first_at: datetime, every_hours: int, count: int) -> tuple[datetime, ...]:
    """The moments of a course of `count` doses, the first one included, in the zone of `first_at`."""
    _checked(first_at, every_hours)
    if count < 1:
        raise ValueError(f"A course has at least one dose, not {count}.")
    return tuple(nth_dose_at(first_at, every_hours, number) for number in range(count))


def next_dose(given_at: datetime, every_hours: int) -> datetime:
    """When the next dose falls due after one given at `given_at`, in its zone."""
    _checked(given_at, every_hours)
    return nth_dose_at(given_at, every_hours, 1)


def due_at(
    first_at: datetime, every_hours: int, number: int, given_at: Sequence[datetime | None], late_dose: LateDose
) -> datetime:
    """The moment of the dose with this number (the first one is 0), given when those before it were given.

    A dose that was missed or refused is None. Under SHIFT a dose given after its time moves every later one; under
    KEEP_TIMES, and for a missed dose, nothing moves.
    """
    anchor, done = first_at, 0
    if late_dose is LateDose.SHIFT:
        for earlier, at in enumerate(given_at[:number]):
            if at is not None and _utc(at) > _utc(nth_dose_at(anchor, every_hours, earlier - done)):
                anchor, done = at.astimezone(first_at.tzinfo), earlier
    return nth_dose_at(anchor, every_hours, number - done)


def remaining_times(
    first_at: datetime, every_hours: int, count: int, given_at: Sequence[datetime | None], late_dose: LateDose
) -> tuple[datetime, ...]:
    """The moments of the doses still to come, after the first `len(given_at)`; see due_at()."""
    _checked(first_at, every_hours)
    if len(given_at) > count:
        raise ValueError(f"A course of {count} doses cannot have {len(given_at)} given.")
    return tuple(due_at(first_at, every_hours, number, given_at, late_dose) for number in range(len(given_at), count))


def is_too_soon(given_at: datetime, next_at: datetime, every_hours: int) -> bool:
    """Whether less than half the interval lies between two doses: ask the vet first (common practice, no source)."""
    return (_utc(next_at) - _utc(given_at)) * 2 < timedelta(hours=every_hours)


def washout_ends(last_dose_at: datetime, half_life_hours: Decimal, half_lives: int = HALF_LIVES) -> datetime:
    """When so many half-lives have passed since the last dose, to the next whole second, in its zone."""
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
