"""Who is told of a worrying report that nobody has seen, and when the next one is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo

from hospital.rules.hours import is_within

ROUNDS = 3  # how often the whole list is gone through; then the board alone keeps it
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Turn:
    """A place on the list: a person with hours, which may go over midnight and then belong to the day on which they begin.

    The same time twice is the whole day; no weekdays are all of them (0 is Monday).
    """

    person: int
    starts: time
    ends: time
    weekdays: frozenset[int] = frozenset()

    def holds(self, local: datetime) -> bool:
        if not is_within(local.time(), self.starts, self.ends):
            return False
        began = local if local.time() >= self.starts else local - DAY
        return not self.weekdays or began.weekday() in self.weekdays


@dataclass(frozen=True, slots=True)
class Step:
    """Somebody was told."""

    person: int
    at: datetime


def on_duty(turns: Iterable[Turn], at: datetime, zone: tzinfo) -> list[int]:
    """Who is on duty at a moment, in the order of the list; in an hour that nobody has, the whole list."""
    turns, local = list(turns), at.astimezone(zone)
    here = [turn.person for turn in turns if turn.holds(local)]
    return list(dict.fromkeys(here or [turn.person for turn in turns]))


def next_to_tell(told: Sequence[Step], turns: Iterable[Turn], every: timedelta, now: datetime, zone: tzinfo) -> int | None:
    """The person to tell now; None while the last one still has time, and when the list was gone through often enough.

    Time to answer is time that passes, whatever the clocks on the wall do meanwhile.
    """
    if told and now.astimezone(UTC) - told[-1].at.astimezone(UTC) < every:
        return None
    here, counts = on_duty(turns, now, zone), Counter(step.person for step in told)
    person = min(here, key=lambda each: (counts[each], here.index(each)), default=None)
    return None if person is None or counts[person] >= ROUNDS else person
