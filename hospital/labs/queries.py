"""Reading samples and their results."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.db.models import F, QuerySet

from hospital.admissions.models import Patient
from hospital.labs.models import Finding, Sample


def samples_of(patient: Patient) -> QuerySet[Sample]:
    """Those that wait first, then the newest first."""
    newest = (F("resulted_on").desc(nulls_first=True), "-taken_on", "-pk")
    return patient.samples.select_related("taken_by", "moved_from__patient").prefetch_related("findings").order_by(*newest)


def withdrawn_of(patient: Patient) -> QuerySet[Sample]:
    """Those that were a mistake, the newest first."""
    written = patient.samples(manager="written").exclude(withdrawn_at=None)
    return written.select_related("withdrawn_by", "moved_to__patient").prefetch_related("findings").order_by("-taken_on", "-pk")


@dataclass(frozen=True, slots=True)
class Trend:
    """One quantity in one unit on several days, the oldest first."""

    name: str
    unit: str
    findings: tuple[tuple[date, Finding], ...]


def trends(samples: list[Sample]) -> list[Trend]:
    """What was measured as a number on at least two days, by name and unit; another unit is another trend."""
    found: dict[tuple[str, str, str], list[tuple[date, Finding]]] = defaultdict(list)
    for sample in sorted(samples, key=lambda each: (each.taken_on, each.pk)):
        for finding in sample.findings.all():
            if finding.value is not None:
                found[sample.kind, finding.name.casefold(), finding.unit].append((sample.taken_on, finding))
    return [
        Trend(rows[-1][1].name, unit, tuple(rows))
        for (_kind, _name, unit), rows in found.items()
        if len({on for on, _finding in rows}) > 1
    ]
