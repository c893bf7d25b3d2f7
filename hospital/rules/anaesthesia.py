"""The five-minute grid of an anaesthetic record, the ASA classes, and when the next check after it is due. Moments come in."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from enum import StrEnum

EVERY = timedelta(minutes=5)  # between readings: common practice, no source
RECOVERY_EVERY_MINUTES = (5, 10, 15, 30)  # reptiles 15 to 30 until they right themselves: common practice, no source


class PhysicalStatus(StrEnum):
    """Classes of the ASA Physical Status Classification System (American Society of Anesthesiologists).

    Texts as reprinted in Trials 2012;13:160, table 1: read.

    Class VI, a donor of organs, has no meaning here.
    """

    I = "1"  # noqa: E741
    II = "2"
    III = "3"
    IV = "4"
    V = "5"


PHYSICAL_STATUS = {
    PhysicalStatus.I: "A normal healthy patient",
    PhysicalStatus.II: "A patient with mild systemic disease",
    PhysicalStatus.III: "A patient with severe systemic disease",
    PhysicalStatus.IV: "A patient with severe systemic disease that is a constant threat to life",
    PhysicalStatus.V: "A moribund patient who is not expected to survive without the operation",
}


def mark(at: datetime) -> datetime:
    """The five-minute mark of the clock at or before a moment."""
    return at.replace(minute=at.minute - at.minute % 5, second=0, microsecond=0)


def marks(begun_at: datetime, until: datetime) -> list[datetime]:
    """Every mark of the grid from the one at or before the beginning up to `until`."""
    first = mark(begun_at)
    return [first + EVERY * n for n in range((mark(until) - first) // EVERY + 1)]


def missed(begun_at: datetime, until: datetime, filled: Collection[datetime]) -> list[datetime]:
    """Marks that passed and carry no reading. The newest mark is still being read, so it is none of them."""
    return [each for each in marks(begun_at, until)[:-1] if each not in filled]


def next_check_at(extubated_at: datetime, checks: Sequence[datetime], every_minutes: int) -> datetime:
    """When the animal is looked at next while it recovers: so many minutes after the last look, or after the tube came out."""
    return max([extubated_at, *checks]) + timedelta(minutes=every_minutes)


def minutes_between(begun_at: datetime, ended_at: datetime) -> int:
    """Whole minutes that have passed."""
    return int((ended_at - begun_at) / timedelta(minutes=1))
