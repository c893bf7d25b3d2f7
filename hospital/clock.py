"""The only module that asks what time it is. Everything else is told."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import timezone


def now() -> datetime:
    """This moment, aware, in UTC."""
    return timezone.now()


def today(zone: str | None = None) -> date:
    """Today's date where the hospital is: in `zone`, or in the zone that the request activated."""
    return timezone.localdate(timezone=ZoneInfo(zone) if zone else None)
