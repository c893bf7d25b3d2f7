"""The only module that asks what time it is. Everything else is told."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import timezone

_pretended: ContextVar[datetime | None] = ContextVar("pretended", default=None)


def now() -> datetime:
    """This moment, aware, in UTC."""
    return _pretended.get() or timezone.now()


def today(zone: str | None = None) -> date:
    """Today's date where the hospital is: in `zone`, or in the zone that the request activated."""
    return timezone.localdate(now(), timezone=ZoneInfo(zone) if zone else None)


@contextmanager
def pretending(moment: datetime) -> Iterator[None]:
    """Inside, it is `moment`: for tests, and for telling the demonstration's story in order."""
    token = _pretended.set(moment)
    try:
        yield
    finally:
        _pretended.reset(token)
