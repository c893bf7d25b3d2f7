"""The emergency sheet of one animal: what the hospital's own vets marked for it, worked out for the weight now.

The reference list has no emergency figures, so nothing is on it that a vet of the hospital did not put there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError

from hospital.admissions.models import Patient, Weight
from hospital.clock import now, today
from hospital.medications.dosing import Course, Sheet, sheet, stops, weight_doubt, weight_slip
from hospital.medications.formulary import for_animal
from hospital.medications.models import FormularyAdoption
from hospital.medications.queries import Judge, recent_weights, rows_in_force
from hospital.medications.wording import tongue
from hospital.rules.doses import Asked
from hospital.rules.formulary import Entry
from hospital.rules.weights import good_for_days
from hospital.rules.wording import ROUTES, Route


@dataclass(frozen=True, slots=True)
class EmergencyLine:
    """One medicine: worked out, or why it cannot be drawn up for this animal."""

    entry: Entry
    adoption: FormularyAdoption
    route: str
    worked: Sheet | None
    refusals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EmergencySheet:
    """`slip` or `doubt` say what is wrong with the weight; with a slip, and without any weight, nothing is worked out."""

    weight: Weight | None
    slip: str
    doubt: str
    lines: tuple[EmergencyLine, ...]


def emergency_sheet(patient: Patient) -> EmergencySheet:
    """All that is marked for this animal's group or a wider one, by medicine."""
    recent, lineage = recent_weights(patient), patient.species.group.lineage()
    weight, slip = (recent[0] if recent else None), weight_slip(recent)
    zone = patient.hospital.zone
    doubt = weight_doubt(recent, today(zone), zone, good_for_days(lineage)) if weight and not slip else ""
    usable = weight if not slip else None
    marked = _nearest_marked(rows_in_force(patient.hospital).values(), lineage)
    return EmergencySheet(weight, slip, doubt, tuple(_line(patient, entry, adoption, usable) for entry, adoption in marked))


def _nearest_marked(
    rows: Iterable[tuple[Entry, FormularyAdoption]], lineage: tuple[str, ...]
) -> list[tuple[Entry, FormularyAdoption]]:
    """One row for each medicine: of the nearest group that a vet marked."""
    marked = {entry.slug: (entry, adoption) for entry, adoption in rows if entry.emergency}
    first: dict[str, tuple[Entry, FormularyAdoption]] = {}
    for entry in for_animal([entry for entry, _ in marked.values()], lineage):
        first.setdefault(entry.drug.casefold(), marked[entry.slug])
    return list(first.values())


def _line(patient: Patient, entry: Entry, adoption: FormularyAdoption, weight: Weight | None) -> EmergencyLine:
    said = entry.emergency
    assert said is not None
    route = tongue().say(ROUTES[Route(said.route)])
    refused, warned = stops(patient, entry.drug, said.route)
    sentences = tuple(f"{stop.reason} ({stop.source})" for stop in (*refused, *warned))
    if refused or weight is None:
        return EmergencyLine(entry, adoption, route, None, sentences)
    asked = Asked(said.per_kg, entry.unit, said.strength_per_ml, said.strength_unit)
    course = Course(entry.drug, asked, said.route, 1, 1, now().astimezone(ZoneInfo(patient.hospital.zone)))
    try:
        return EmergencyLine(entry, adoption, route, sheet(course, weight.weight_g, Judge(entry, adoption)), sentences)
    except ValidationError as refusal:
        return EmergencyLine(entry, adoption, route, None, (*sentences, *refusal.messages))
