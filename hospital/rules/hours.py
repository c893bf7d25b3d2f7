"""Hours of a day by the clock on the wall, which twice a year skips an hour or shows one twice."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, tzinfo


def is_within(at: time, starts: time, ends: time) -> bool:
    """Whether a time of day lies in hours that may go over midnight; the end is outside."""
    return starts <= at < ends if starts < ends else at >= starts or at < ends


def next_showing(wall: time, after: datetime, zone: tzinfo) -> datetime:
    """The first moment after `after` at which the clocks show `wall`, in UTC. An hour that is skipped counts as over."""
    day = after.astimezone(zone).date()
    shown = [_shown(day + timedelta(days), wall, zone, fold) for days in (0, 1) for fold in (0, 1)]
    return min(moment for moment in shown if moment > after)


def _shown(day: date, wall: time, zone: tzinfo, fold: int) -> datetime:
    return datetime.combine(day, wall, zone).replace(fold=fold).astimezone(UTC)
