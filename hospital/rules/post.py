"""When a letter may go: not in quiet hours; after a failure later and later, and at last no more."""

from __future__ import annotations

from datetime import datetime, time, timedelta, tzinfo

from hospital.rules.hours import is_within, next_showing

# Seven tries more within two days; then a person is asked. RFC 5321, 4.5.4.1, wants tries for four to five days from a mail
# server, which is what the letter is handed to; here it is that server that did not take it.
PAUSES = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 240, 720, 1440))


def next_try_after(tries: int) -> timedelta | None:
    """How long to wait after so many tries that failed; None when a person must look."""
    return PAUSES[tries - 1] if tries <= len(PAUSES) else None


def may_go_at(at: datetime, zone: tzinfo, quiet_from: time | None, quiet_until: time | None) -> datetime:
    """The moment itself, or the end of the quiet hours that it falls into."""
    if quiet_from is None or quiet_until is None or not is_within(at.astimezone(zone).time(), quiet_from, quiet_until):
        return at
    return next_showing(quiet_until, at, zone)
