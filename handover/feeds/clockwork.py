"""A zone's clock as a calendar carries it (RFC 5545, section 3.6.5): one part for each change, worked out from the zone
itself. The onset of a part is written in the time that was kept before it (section 3.6.5, TZOFFSETFROM)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

SECOND = timedelta(seconds=1)


@lru_cache(maxsize=64)
def clock_of(zone: str, first: date, last: date) -> Timezone:
    """Every change of the zone's clock from one day to another, and what it shows before them."""
    key, began = ZoneInfo(zone), datetime(first.year, first.month, first.day, tzinfo=UTC)
    made = Timezone()
    made.add("tzid", zone)
    for at in (began, *_changes(key, began, last)):
        made.add_component(_part(key, at, (at - SECOND).astimezone(key)))
    return made


def _changes(zone: ZoneInfo, at: datetime, last: date) -> Iterator[datetime]:
    """The first second, in UTC, at which the clock is another one."""
    while at.date() < last:
        later = at + timedelta(days=1)
        if at.astimezone(zone).utcoffset() != later.astimezone(zone).utcoffset():
            yield _between(zone, at, later)
        at = later


def _between(zone: ZoneInfo, before: datetime, after: datetime) -> datetime:
    was = before.astimezone(zone).utcoffset()
    while after - before > SECOND:
        middle = before + timedelta(seconds=(after - before) // SECOND // 2)
        before, after = (middle, after) if middle.astimezone(zone).utcoffset() == was else (before, middle)
    return after


def _part(zone: ZoneInfo, at: datetime, before: datetime) -> TimezoneStandard | TimezoneDaylight:
    now, was = at.astimezone(zone), before.utcoffset() or timedelta()
    part = TimezoneDaylight() if now.dst() else TimezoneStandard()
    part.add("dtstart", at.replace(tzinfo=None) + was)
    part.add("tzoffsetfrom", was)
    part.add("tzoffsetto", now.utcoffset())
    part.add("tzname", now.tzname())
    return part
