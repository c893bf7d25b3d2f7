"""Years of closed cases, drawn from a fixed seed by the `[history]` of stories.toml and counted back from today."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from math import cos, radians
from typing import Any
from zoneinfo import ZoneInfo

from hospital.admissions.models import CaseCounter, Cause, LifeStage, Patient, Placement, Sex, Species, Weight
from hospital.outcomes.models import Outcome
from hospital.people.models import Carer, Person
from hospital.rules.casenumbers import case_number
from hospital.sites.models import Hospital

METRES_A_DEGREE = 111_320  # of latitude; near enough to scatter invented points
REASONS = {
    "euthanased": "Injuries beyond repair; would not have lived free.",
    "died": "Died in the night.",
    "transferred": "To a hospital with a seawater pool.",
    "held": "Cannot live free; kept for teaching under its own permit.",
}


@dataclass(frozen=True)
class Closed:
    """One drawn case before it has rows."""

    admitted_at: datetime
    left_at: datetime
    kind: Mapping[str, Any]


def make_history(
    told: Mapping[str, Any], hospital: Hospital, now: datetime, *, by: Person, carers: list[Carer]
) -> int:
    """Write the closed cases of one hospital; answers how many."""
    chance = random.Random(f"{told['seed']} {hospital.slug}")  # noqa: S311 - a fixed seed is the point
    cases = sorted(_draw(chance, told, hospital, now), key=lambda case: case.admitted_at)
    counter, _ = CaseCounter.objects.get_or_create(pk=1)
    species = Species.objects.in_bulk([kind["species"] for kind in told["kind"]], field_name="scientific_name")
    causes = Cause.objects.in_bulk()
    patients = []
    for number, case in enumerate(cases, counter.last + 1):
        fields = _place(chance, told["places"]) | {
            "sex": chance.choice(Sex.values),
            "life_stage": chance.choice((LifeStage.ADULT, LifeStage.ADULT, LifeStage.JUVENILE)),
        }
        patients.append(
            Patient(
                hospital=hospital,
                case_number=case_number(number),
                species=species[case.kind["species"]],
                cause=causes[chance.choice(case.kind["causes"])],
                admitted_at=case.admitted_at,
                admitted_by=by,
                found_on=case.admitted_at.date(),
                closed_on=case.left_at.date(),
                **fields,
            )
        )
    Patient.objects.bulk_create(patients)
    pairs = list(zip(patients, cases, strict=True))
    Weight.objects.bulk_create(_weight(chance, patient, case, by) for patient, case in pairs)
    Placement.objects.bulk_create(p for patient, case in pairs for p in _placements(chance, patient, case, by, carers))
    Outcome.objects.bulk_create(_outcome(chance, patient, case, by) for patient, case in pairs)
    counter.last += len(cases)
    counter.save()
    return len(cases)


def _draw(chance: random.Random, told: Mapping[str, Any], hospital: Hospital, now: datetime) -> Iterator[Closed]:
    zone = ZoneInfo(hospital.zone)
    today = now.astimezone(zone).date()
    shares = [kind["share"] for kind in told["kind"]]
    for _ in range(told["years"] * told["cases_a_year"][hospital.slug]):
        kind = chance.choices(told["kind"], shares)[0]
        admitted_on = _day_in_season(chance, today, told["years"], kind["months"])
        left_on = admitted_on + timedelta(days=chance.randint(*kind["days_in_care"]))
        if left_on < today:
            at = time(chance.randint(7, 20), chance.choice((0, 10, 25, 40, 55)))
            yield Closed(datetime.combine(admitted_on, at, zone), datetime.combine(left_on, time(21, 30), zone), kind)


def _day_in_season(chance: random.Random, today: date, years: int, months: list[int]) -> date:
    while True:
        day = today - timedelta(days=chance.randint(2, 365 * years))
        if day.month in months:
            return day


def _place(chance: random.Random, places: list[Mapping[str, Any]]) -> dict[str, Any]:
    """A found point, scattered around one of the places where animals are found."""
    near = chance.choice(places)
    latitude = float(near["latitude"]) + chance.gauss(0, near["spread_m"]) / METRES_A_DEGREE
    east = chance.gauss(0, near["spread_m"]) / METRES_A_DEGREE / cos(radians(latitude))
    return {
        "found_place": near["place"],
        "found_latitude": Decimal(f"{latitude:.6f}"),
        "found_longitude": Decimal(f"{float(near['longitude']) + east:.6f}"),
        "found_uncertainty_m": chance.choice((20, 50, 100, 300, 1000)),
    }


def _weight(chance: random.Random, patient: Patient, case: Closed, by: Person) -> Weight:
    low, high = case.kind["weight_g"]
    grams = Decimal(chance.randint(low * 10, high * 10)) / 10
    return Weight(
        patient=patient,
        weighed_at=case.admitted_at,
        weighed_by=by,
        weight_g=grams if high < 50 else grams.quantize(Decimal(1)),
    )


def _placements(
    chance: random.Random, patient: Patient, case: Closed, by: Person, carers: list[Carer]
) -> Iterator[Placement]:
    """The ward, and for most who stayed longer than a few days a carer who may hold the group."""
    home_at = case.admitted_at + timedelta(days=chance.randint(3, 8))
    lineage = set(patient.species.group.lineage())
    able = [carer for carer in carers if lineage & set(carer.taxon_groups)]
    goes_home = able and home_at < case.left_at and chance.random() < 0.7
    yield Placement(
        patient=patient,
        ward="Ward",
        placed_by=by,
        started_at=case.admitted_at,
        ended_at=home_at if goes_home else case.left_at,
    )
    if goes_home:
        yield Placement(
            patient=patient,
            carer=chance.choice(able),
            placed_by=by,
            started_at=home_at,
            accepted_at=home_at,
            ended_at=case.left_at,
        )


def _outcome(chance: random.Random, patient: Patient, case: Closed, by: Person) -> Outcome:
    ends = case.kind["outcomes"]
    kind = chance.choices(list(ends), list(ends.values()))[0]
    where = {}
    if kind == Outcome.Kind.RELEASED:
        where = {"place": patient.found_place, "latitude": patient.found_latitude, "longitude": patient.found_longitude}
    return Outcome(
        patient=patient,
        kind=kind,
        happened_on=patient.closed_on,
        reason=REASONS.get(kind, ""),
        decided_by=by,
        recorded_at=case.left_at,
        **where,
    )
