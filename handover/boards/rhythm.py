"""Carers who have gone quiet, by their own rhythm."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import ceil
from statistics import median
from zoneinfo import ZoneInfo

from handover.boards.places import here
from handover.logs.models import LogEntry
from hospital.admissions.models import Patient, Placement

SILENT_GAPS = 2  # a carer is quiet after so many of their own usual gaps
FEWEST_REPORTS = 3  # days with reports that make a rhythm; with fewer a report a day is expected
FEWEST_SILENT_DAYS = 2  # today is not over yet


@dataclass(frozen=True, slots=True)
class Quiet:
    """A carer from whom nothing came about one animal for longer than they usually let pass.

    `usual_days` None: too few reports to know. `last_on` None: never since the animal came to them.
    """

    patient: Patient
    placement: Placement
    last_on: date | None
    silent_days: int
    usual_days: float | None
    away_until: date | None


def quiet(patients: Iterable[Patient], today: date) -> list[Quiet]:
    """By each carer's own rhythm with each animal; the longest silence first."""
    at_home = [(patient, placement) for patient in patients if (placement := here(patient)) and placement.carer_id]
    reported = _report_days([placement for _, placement in at_home])
    found = [_quiet(patient, placement, reported[placement.pk], today) for patient, placement in at_home]
    return sorted((each for each in found if each), key=lambda each: (-each.silent_days, each.patient.case_number))


def by_carer(found: Iterable[Quiet]) -> list[list[Quiet]]:
    """The same by carer, in the same order: one phone call asks after all of their animals."""
    carers: dict[int, list[Quiet]] = defaultdict(list)
    for each in found:
        carers[each.placement.carer_id].append(each)
    return list(carers.values())


def _report_days(placements: list[Placement]) -> dict[int, list[date]]:
    """By placement: the days that were reported on, in order."""
    rows = LogEntry.objects.filter(placement__in=placements).order_by("on").values_list("placement_id", "on").distinct()
    days: dict[int, list[date]] = defaultdict(list)
    for placement_id, on in rows:
        days[placement_id].append(on)
    return days


def _quiet(patient: Patient, placement: Placement, days: list[date], today: date) -> Quiet | None:
    since = days[-1] if days else placement.started_at.astimezone(ZoneInfo(patient.hospital.zone)).date()
    usual, silent_days = usual_gap_days(days), (today - since).days
    if silent_days < max(FEWEST_SILENT_DAYS, ceil(SILENT_GAPS * (usual or 1))):
        return None
    away = [span.ends_on for span in placement.carer.away.all() if span.starts_on <= today <= span.ends_on]
    return Quiet(patient, placement, days[-1] if days else None, silent_days, usual, max(away, default=None))


def usual_gap_days(days: list[date]) -> float | None:
    """The median number of days from one reported day to the next; None with too few to tell."""
    if len(days) < FEWEST_REPORTS:
        return None
    return median((later - earlier).days for earlier, later in pairwise(days))
