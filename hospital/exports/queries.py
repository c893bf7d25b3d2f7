"""Which cases an export is about, with everything it tells of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from hospital.admissions.models import Patient
from hospital.exports.models import Export

A_CHUNK = 1000


def cases_of(export: Export) -> QuerySet[Patient]:
    """The cases admitted at its hospital in its period, the oldest first, for the person who asked."""
    zone = ZoneInfo(export.hospital.zone)
    starts = datetime.combine(export.starts_on, time.min, zone)
    ends = datetime.combine(export.ends_on + timedelta(days=1), time.min, zone)
    seen = Patient.objects.visible_to(export.asked_by).at(export.hospital)
    return seen.filter(admitted_at__gte=starts, admitted_at__lt=ends).order_by("admitted_at", "pk")


def each_case(export: Export) -> Iterator[Patient]:
    """The cases one after the other, so that a long register needs no more memory than a short one."""
    found = cases_of(export).select_related("species__group", "cause", "outcome", "imported", "hospital")
    return found.prefetch_related("weights", "identifications").iterator(chunk_size=A_CHUNK)
