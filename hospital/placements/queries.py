"""Reading who could take an animal, who has it, and who had it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Count, F, Prefetch, Q, QuerySet
from django.utils.module_loading import import_string

from hospital.admissions.models import Patient, Placement, TaxonGroup
from hospital.people.models import Carer, CarerAway, Membership, Person, Role
from hospital.placements.models import HoldingLimit, Loan
from hospital.placements.suitability import Animal, Limit, Neighbour, Offer, Suitability, distance_km, facilities_needed, ranked
from hospital.sites.models import Hospital


def open_placement(patient: Patient) -> Placement | None:
    """Where the patient lives now."""
    return patient.open_placement()


def chain(patient: Patient) -> QuerySet[Placement]:
    """Everywhere it has lived, the newest first."""
    return patient.placements.select_related("carer__person", "placed_by").order_by("-started_at", "-pk")


def carers_of(hospital: Hospital, on: date) -> QuerySet[Carer]:
    """The hospital's carers with `animals_there` (a number), `there` (open placements) and `away_days` not over by `on`."""
    still_away = CarerAway.objects.filter(ends_on__gte=on)
    there = Placement.objects.open().select_related("patient__species").order_by("started_at")
    return (
        Carer.objects.at(hospital)
        .select_related("person", "hospital")
        .annotate(animals_there=Count("placements", filter=Q(placements__ended_at=None)))
        .prefetch_related(
            Prefetch("away", still_away, to_attr="away_days"), Prefetch("placements", there, to_attr="there")
        )
        .order_by("person__name", "pk")
    )


def distance_to(carer: Carer) -> float | None:
    """Kilometres between the carer and the hospital; None when the carer's position is not known."""
    if carer.latitude is None or carer.longitude is None:
        return None
    site = carer.hospital
    return distance_km((float(site.latitude), float(site.longitude)), (float(carer.latitude), float(carer.longitude)))


def suitability(carers: Iterable[Carer], patient: Patient, on: date) -> list[Suitability]:
    """The carers (of `carers_of`), the best suited for the patient first."""
    return suitabilities(carers, [patient], on)[patient.pk]


def suitabilities(carers: Iterable[Carer], patients: Sequence[Patient], on: date) -> dict[int, list[Suitability]]:
    """By patient, all of one hospital, in a fixed number of queries."""
    carers, lineages = list(carers), lineages_of()
    animals = animals_of(patients, lineages, on)
    cared_for = _animals_of_the_same_group(patients)
    found = {}
    for patient in patients:
        offers = [_offer(each, len(cared_for[each.pk, patient.species.group_id] - {patient.pk}), lineages) for each in carers]
        found[patient.pk] = ranked(offers, animals[patient.pk], on)
    return found


def lineages_of() -> dict[str, tuple[str, ...]]:
    """Each group's slug with its own and its parents', the widest last."""
    parents = dict(TaxonGroup.objects.values_list("slug", "parent"))
    found = {}
    for slug in parents:
        lineage = [slug]
        while parent := parents[lineage[-1]]:
            lineage.append(parent)
        found[slug] = tuple(lineage)
    return found


def animal_of(patient: Patient, on: date) -> Animal:
    return animals_of([patient], lineages_of(), on)[patient.pk]


def animals_of(patients: Sequence[Patient], lineages: Mapping[str, tuple[str, ...]], on: date) -> dict[int, Animal]:
    """What each asks of a carer: by its kind, its plan, and the hospital's limits."""
    visits = import_string(settings.COMING_VISITS)(patients, on)
    limits = limits_of({patient.hospital_id for patient in patients})
    days = _days_with_carers(patients, on) if any(limit.most_days for limit in limits) else {}
    return {
        each.pk: _animal(each, lineages[each.species.group_id], visits.get(each.pk, ()), limits, days.get(each.pk, 0)) for each in patients
    }


def _animal(patient: Patient, lineage: tuple[str, ...], visits: tuple[date, ...], limits: Sequence[Limit], days: int) -> Animal:
    needed = facilities_needed(
        lineage=lineage,
        body_plan=patient.species.group.body_plan,
        is_aquatic=patient.species.is_aquatic,
        keeps_apart=patient.is_biosecurity_risk,
        life_stage=patient.life_stage,
    )
    theirs = tuple(limit for limit in limits if limit.group in lineage)
    return Animal(lineage, needed, patient.is_biosecurity_risk, visits, theirs, days)


def limits_of(hospitals: Collection[int]) -> list[Limit]:
    rows = HoldingLimit.objects.filter(hospital__in=hospitals).select_related("group").order_by("group__name")
    return [Limit(row.group_id, row.most_animals, row.most_days, row.group.name) for row in rows]


def _days_with_carers(patients: Sequence[Patient], on: date) -> dict[int, int]:
    """By patient: days begun with carers since admission, today's included; a day with two of them counts once."""
    zones = {each.pk: ZoneInfo(each.hospital.zone) for each in patients}
    spent: dict[int, set[date]] = defaultdict(set)
    rows = Placement.objects.filter(patient__in=list(zones), declined_at=None).exclude(carer=None)
    for key, started_at, ended_at in rows.values_list("patient_id", "started_at", "ended_at"):
        first, last = (at.astimezone(zones[key]).date() if at else on for at in (started_at, ended_at))
        spent[key].update(first + timedelta(days=n) for n in range((last - first).days + 1))
    return {key: len(days) for key, days in spent.items()}


def _offer(carer: Carer, cared_for: int, lineages: Mapping[str, tuple[str, ...]]) -> Offer:
    return Offer(
        carer_id=carer.pk,
        name=str(carer),
        taxon_groups=frozenset(carer.taxon_groups),
        authority_ends_on=carer.authority_ends_on,
        facilities=frozenset(carer.facilities),
        room_for=carer.room_for,
        animals_there=carer.animals_there,
        away=[(away.starts_on, away.ends_on) for away in carer.away_days],
        distance_km=distance_to(carer),
        cared_for=cared_for,
        neighbours=[_neighbour(here.patient, lineages) for here in carer.there],
    )


def _neighbour(patient: Patient, lineages: Mapping[str, tuple[str, ...]]) -> Neighbour:
    return Neighbour(patient.called, lineages[patient.species.group_id], patient.is_biosecurity_risk)


def _animals_of_the_same_group(patients: Sequence[Patient]) -> dict[tuple[int, str], set[int]]:
    """By carer and group: the animals of the group that they have or had."""
    groups = {patient.species.group_id for patient in patients}
    hospitals = {patient.hospital_id for patient in patients}
    rows = Placement.objects.filter(carer__hospital__in=hospitals, patient__species__group__in=groups, declined_at=None)
    found: dict[tuple[int, str], set[int]] = defaultdict(set)
    for carer, group, patient in rows.values_list("carer", "patient__species__group", "patient"):
        found[carer, group].add(patient)
    return found


def waiting_for_carers(person: Person, hospital: Hospital) -> QuerySet[Patient]:
    """Animals in care that live in the hospital, or nowhere yet."""
    at_carers = Placement.objects.open().exclude(carer=None).values("patient")
    seen = Patient.objects.visible_to(person).at(hospital).in_care().exclude(pk__in=at_carers)
    return seen.select_related("hospital", "species__group").prefetch_related("placements").order_by("case_number")


def lent_to(person: Person) -> QuerySet[Loan]:
    """What somebody has of any hospital's, the next to come back first."""
    return Loan.objects.filter(carer__person=person, ended_at=None).order_by(F("due_on").asc(nulls_last=True), "pk")


def loans_of(carer: Carer) -> QuerySet[Loan]:
    """What the carer has of the hospital's, then what they had."""
    newest_last = F("ended_at").desc(nulls_first=True)
    return carer.loans.select_related("patient__species", "lent_by", "ended_by").order_by(newest_last, "due_on", "pk")


def carers_without_profile(hospital: Hospital) -> QuerySet[Person]:
    """People who are carers of the hospital and have not yet said what they can offer."""
    members = Membership.objects.filter(hospital=hospital, role=Role.CARER).values("person")
    known = Carer.objects.at(hospital).values("person")
    return Person.objects.filter(pk__in=members, is_active=True).exclude(pk__in=known).order_by("name")
