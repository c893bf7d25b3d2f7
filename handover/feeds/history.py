"""What became of one thing on a calendar: from its state at each moment at which something changed to what a calendar
must say now. Knows no database.

RFC 5545: the UID of a thing never changes (3.8.4.7), SEQUENCE rises when it is revised (3.8.7.4), and DTSTAMP of a
calendar without a METHOD is the moment of its last revision (3.8.7.2).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class State:
    """What is on a calendar: `starts` is a day for what lasts all day."""

    starts: date | datetime
    event: str
    at_clinic: bool = False

    def is_over(self, at: datetime, zone: ZoneInfo) -> bool:
        if isinstance(self.starts, datetime):
            return self.starts < at
        return self.starts < at.astimezone(zone).date()


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing as a calendar shall show it: `state` is the last one that it had, if it was cancelled."""

    uid: UUID
    state: State
    made_at: datetime
    changed_at: datetime
    revision: int
    is_cancelled: bool


def entry_of(uid: UUID, states: Iterable[tuple[datetime, State | None]], zone: ZoneInfo) -> Entry | None:
    """The thing after all moments, in their order; None at one of them: it was not there. What had taken place before
    it disappeared was not cancelled, but is history."""
    found: Entry | None = None
    for at, state in states:
        if found is None:
            found = Entry(uid, state, at, at, 0, False) if state else None
        elif state is None:
            if not found.is_cancelled and not found.state.is_over(at, zone):
                found = Entry(uid, found.state, found.made_at, at, found.revision + 1, True)
        elif found.is_cancelled or state != found.state:
            found = Entry(uid, state, found.made_at, at, found.revision + 1, False)
    return found
