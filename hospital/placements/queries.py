"""Reading who could take an animal, who has it, and who had it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db.models import Count, Prefetch, Q, QuerySet

from hospital.admissions.models import Patient, Placement
from hospital.people.models import Carer, CarerAway, Membership, Person, Role
from hospital.placements.suitability import Animal, Offer, Suitability, distance_km, facilities_needed, ranked
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
    cared_for = _animals_of_the_same_group(patient)
    return ranked([_offer(carer, cared_for.get(carer.pk, 0)) for carer in carers], animal_of(patient), on)


def animal_of(patient: Patient) -> Animal:
    group = patient.species.group
    lineage = group.lineage()
    needed = facilities_needed(
        lineage=lineage,
        body_plan=group.body_plan,
        is_aquatic=patient.species.is_aquatic,
        keeps_apart=patient.is_biosecurity_risk,
        life_stage=patient.life_stage,
    )
    return Animal(lineage, needed)


def _offer(carer: Carer, cared_for: int) -> Offer:
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
    )


def _animals_of_the_same_group(patient: Patient) -> dict[int, int]:
    """Carer's id → how many other animals of the patient's group they had or have."""
    placements = Placement.objects.filter(
        carer__hospital=patient.hospital_id, patient__species__group=patient.species.group_id
    ).exclude(patient=patient)
    return dict(placements.values_list("carer").annotate(Count("patient", distinct=True)))


def carers_without_profile(hospital: Hospital) -> QuerySet[Person]:
    """People who are carers of the hospital and have not yet said what they can offer."""
    members = Membership.objects.filter(hospital=hospital, role=Role.CARER).values("person")
    known = Carer.objects.at(hospital).values("person")
    return Person.objects.filter(pk__in=members, is_active=True).exclude(pk__in=known).order_by("name")
