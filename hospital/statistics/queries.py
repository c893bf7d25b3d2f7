"""The cases that figures are made of. Never by carer: a carer who takes the worst cases would look the worst."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from hospital.admissions.models import Cause, Patient, TaxonGroup
from hospital.admissions.reference import searchable
from hospital.outcomes.models import Outcome
from hospital.people.models import Person
from hospital.sites.models import Hospital

Kind = Outcome.Kind


@dataclass(frozen=True, slots=True)
class Case:
    """One admission. `days` is how long it was in care, or has been so far; `ending` is None while it is."""

    species: str
    group: str
    cause: str
    year: int
    days: int
    ending: Kind | None


def patients_asked_for(person: Person, hospital: Hospital, asked: Mapping[str, Any]) -> QuerySet[Patient]:
    """Patients of the hospital by what a FilterForm said; an empty word asks for nothing."""
    patients = Patient.objects.visible_to(person).at(hospital)
    if asked.get("since"):
        patients = patients.filter(admitted_at__gte=_midnight(asked["since"], hospital))
    if asked.get("until"):
        patients = patients.filter(admitted_at__lt=_midnight(asked["until"] + timedelta(days=1), hospital))
    if asked.get("group"):
        patients = patients.filter(species__group__in=_with_parts(asked["group"]))
    if asked.get("cause"):
        patients = patients.filter(cause=asked["cause"])
    for word in searchable(asked.get("species") or "").split():
        patients = patients.filter(species__search_text__contains=word)
    return patients


def cases(patients: QuerySet[Patient], zone: str, today: date) -> list[Case]:
    """Each patient as a case. A day in care that has begun counts when the next begins: in and out on one day is 0."""
    groups, causes = dict(TaxonGroup.objects.values_list("slug", "name")), dict(Cause.objects.values_list("slug", "name"))
    read = patients.values_list("species__common_name", "species__group", "cause", "admitted_at", "closed_on", "outcome__kind")
    return [_case(row, groups, causes, ZoneInfo(zone), today) for row in read.order_by().iterator()]


def _case(row: tuple, groups: dict[str, str], causes: dict[str, str], zone: ZoneInfo, today: date) -> Case:
    species, group, cause, admitted_at, closed_on, kind = row
    admitted_on = admitted_at.astimezone(zone).date()
    days = max(0, ((closed_on or today) - admitted_on).days)
    ending = Kind(kind) if closed_on and kind else None
    return Case(species, groups[group], causes.get(cause, _("Cause not recorded")), admitted_on.year, days, ending)


def groups_with_patients(patients: QuerySet[Patient]) -> list[tuple[str, str]]:
    """Slug and name of the groups that hold a species of theirs, and of all groups around these, by name."""
    parents = {slug: (parent, name) for slug, parent, name in TaxonGroup.objects.values_list("slug", "parent", "name")}
    held: set[str] = set()
    for slug in patients.order_by().values_list("species__group", flat=True).distinct():
        while slug and slug not in held:
            held.add(slug)
            slug = parents[slug][0]
    return sorted(((slug, parents[slug][1]) for slug in held), key=lambda pair: pair[1])


def _with_parts(slug: str) -> list[str]:
    """The group and all groups within it."""
    children: dict[str | None, list[str]] = {}
    for own, parent in TaxonGroup.objects.values_list("slug", "parent"):
        children.setdefault(parent, []).append(own)
    found = [slug]
    for each in found:
        found += children.get(each, [])
    return found


def _midnight(day: date, hospital: Hospital) -> datetime:
    return datetime.combine(day, time(), ZoneInfo(hospital.zone))


@dataclass(frozen=True, slots=True)
class Found:
    """Where one animal was found, in degrees, and how coarsely its species may be shown."""

    latitude: float
    longitude: float
    cause: str
    sensitivity: int | None


def found_places(patients: QuerySet[Patient]) -> Iterable[Found]:
    causes = dict(Cause.objects.values_list("slug", "name"))
    known = patients.exclude(found_latitude=None).order_by()
    for lat, lon, cause, level in known.values_list("found_latitude", "found_longitude", "cause", "species__sensitivity"):
        yield Found(float(lat), float(lon), causes.get(cause, _("Cause not recorded")), level)
