"""Visits to the clinic by day and by who brings the animals."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from handover.boards.places import here
from handover.plans.outlook import Due, Outlook
from hospital.admissions.models import Patient, Placement
from hospital.sites.models import Hospital

FORTNIGHT_DAYS = 14


@dataclass(frozen=True, slots=True)
class Stop:
    """One animal of a visit, and what is done with it. `is_doubtful`: its plan's dates collide, so the day may move."""

    patient: Patient
    due: tuple[Due, ...]
    is_doubtful: bool = False

    @property
    def bring(self) -> str:
        """What to bring for this animal, each thing once."""
        return "; ".join(dict.fromkeys(due.bring for due in self.due if due.bring))


@dataclass(frozen=True, slots=True)
class Visit:
    """What one carer brings on one day; `placement` None: animals in the hospital. `is_away`: the carer is, that day."""

    placement: Placement | None
    stops: tuple[Stop, ...]
    is_away: bool = False

    @property
    def minutes(self) -> int:
        return sum(due.minutes for stop in self.stops for due in stop.due)


@dataclass(frozen=True, slots=True)
class Day:
    """A day of the clinic."""

    on: date
    visits: tuple[Visit, ...]
    is_closed: bool

    @property
    def minutes(self) -> int:
        return sum(visit.minutes for visit in self.visits)


def days_ahead(known: Mapping[int, Outlook], hospital: Hospital, first: date, count: int) -> list[Day]:
    """Visits by day and carer, for so many days from `first` on; days without visits are there too."""
    stops: dict[date, list[Stop]] = defaultdict(list)
    for outlook in known.values():
        by_day: dict[date, list[Due]] = defaultdict(list)
        for due in outlook.due:
            if due.at_clinic:
                by_day[due.on].append(due)
        for on, found in by_day.items():
            stops[on].append(Stop(outlook.patient, tuple(found), outlook.is_in_conflict))
    days = [first + timedelta(days=n) for n in range(count)]
    closed = closed_among(days, hospital)
    return [Day(on, _visits(stops[on], on), on in closed) for on in days]


def closed_among(days: Iterable[date], hospital: Hospital) -> frozenset[date]:
    """Those days on which the clinic sees nobody, by its week or by a day it is closed besides."""
    besides = {day.on for day in hospital.closed_days.all()}
    return frozenset(on for on in days if on in besides or on.weekday() in hospital.closed_weekdays)


def is_away(placement: Placement | None, on: date) -> bool:
    """Whether the carer who has the animal is away on that day."""
    if placement is None or placement.carer is None:
        return False
    return any(span.starts_on <= on <= span.ends_on for span in placement.carer.away.all())


def _visits(stops: list[Stop], on: date) -> tuple[Visit, ...]:
    """Grouped by who brings them: carers by name, then the animals in the hospital."""
    groups: dict[int, list[Stop]] = defaultdict(list)
    placements: dict[int, Placement | None] = {0: None}
    for stop in stops:
        placement = here(stop.patient)
        carer_id = placement.carer_id or 0 if placement else 0
        groups[carer_id].append(stop)
        if carer_id:
            placements[carer_id] = placement
    visits = [Visit(placements[key], tuple(found), is_away(placements[key], on)) for key, found in groups.items()]
    return tuple(sorted(visits, key=lambda each: (each.placement is None, str(each.placement and each.placement.carer))))
