"""When the doses of a course fall due on the clock face."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

# Below this an hour more or less matters, and two doses could share the hour that is skipped.
SHORTEST_CIVIL_HOURS = 4


def nth_dose_at(first_at: datetime, every_hours: int, number: int) -> datetime:
    """The moment `number` intervals after the first dose, in its zone.

    Intervals of four hours or more keep the clock face over a change to or from summer time; shorter ones run in
    elapsed hours. A clock time that is skipped moves on by the skipped hour (RFC 5545, section 3.3.5).
    """
    gap = timedelta(hours=every_hours * number)
    if every_hours < SHORTEST_CIVIL_HOURS:
        return (first_at.astimezone(UTC) + gap).astimezone(first_at.tzinfo)
    civil = (first_at.replace(tzinfo=None) + gap).replace(tzinfo=first_at.tzinfo, fold=0)
    return civil.astimezone(UTC).astimezone(first_at.tzinfo)
