"""Reminders come into the post when their hour has come, and are put into words as they go: a changed plan leaves no stale one."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from hospital.admissions.models import Placement
from hospital.mail.actions import letter_key, write
from hospital.mail.models import Letter

# Kind of letter → from when on the hospital's clocks. After quiet hours it would be another day's: then it lapses.
HOURS = {"course": time(9), "visit": time(17), "log": time(19)}
KEPT = timedelta(days=8)


def write_reminders(at: datetime) -> int:
    """Write today's reminders whose hour has come, once each; how many were new."""
    _forget(at)
    homes = Placement.objects.open().filter(carer__person__is_active=True, patient__closed_on=None)
    wanted = {}
    for home in homes.select_related("patient__hospital", "carer__person"):
        local = at.astimezone(ZoneInfo(home.patient.hospital.zone))
        for kind in (kind for kind, hour in HOURS.items() if local.time() >= hour):
            wanted[letter_key(kind, home.pk, local.date(), to=home.carer.person)] = (kind, home, local)
    known = set(Letter.objects.filter(key__in=list(wanted)).values_list("key", flat=True))
    new = [found for key, found in wanted.items() if key not in known]
    for kind, home, local in new:
        since = home.started_at.astimezone(local.tzinfo).date()
        facts = {"placement": home.pk, "on": str(local.date()), "since": str(since)}
        write(kind, home.pk, local.date(), hospital=home.patient.hospital, to=home.carer.person, facts=facts)
    return len(new)


def _forget(at: datetime) -> None:
    """Reminders that had nothing to say need not be kept."""
    Letter.objects.filter(kind__in=HOURS, state=Letter.State.LAPSED, written_at__lt=at - KEPT).delete()
