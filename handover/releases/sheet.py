"""What the sheet for the day of a release says."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from handover.releases.models import ReleaseDay
from hospital.admissions.models import Patient
from hospital.rules.geo import Axis, Sensitivity, dms, generalise

HEAVY_G = Decimal(10000)  # from ten kilograms on, two people lift (common practice, no source)


@dataclass(frozen=True, slots=True)
class Place:
    """A place as it may be printed: `words` and `directions` are empty where they would give it away."""

    words: str
    directions: str
    point: str
    degrees: str
    uncertainty_m: int | None
    is_exact: bool
    is_withheld: bool


def sheet(patient: Patient, *, is_exact: bool) -> dict[str, Any]:
    """Everything but the finder. The place is generalised by the species' sensitivity unless asked for exactly."""
    agreed = ReleaseDay.objects.filter(patient=patient).first()
    weight = patient.latest_weight()
    return {
        "patient": patient,
        "agreed": agreed,
        "weight": weight,
        "place": exact_place(patient, agreed) if is_exact else public_place(patient, agreed),
        "cautions": cautions(patient, weight.weight_g if weight else None),
        "here": patient.open_placement(),
        "marks": patient.identifications.all(),
    }


def exact_place(patient: Patient, agreed: ReleaseDay | None) -> Place:
    words = (agreed.place if agreed else "") or patient.found_place
    directions = agreed.directions if agreed else ""
    if patient.found_latitude is None:
        return Place(words, directions, "", "", None, is_exact=True, is_withheld=False)
    return Place(
        words, directions, *_point(patient.found_latitude, patient.found_longitude), patient.found_uncertainty_m,
        is_exact=True, is_withheld=False,
    )  # fmt: skip


def public_place(patient: Patient, agreed: ReleaseDay | None) -> Place:
    """Words and directions are as exact as a point, so they stay away unless somebody decided to show all."""
    sensitivity = patient.species.sensitivity
    if sensitivity == Sensitivity.NONE:
        return exact_place(patient, agreed)
    if patient.found_latitude is None:
        return Place("", "", "", "", None, is_exact=False, is_withheld=True)
    public = generalise(patient.found_latitude, patient.found_longitude, sensitivity, patient.found_uncertainty_m)
    if public.latitude is None or public.longitude is None:
        return Place("", "", "", "", None, is_exact=False, is_withheld=True)
    point = _point(public.latitude, public.longitude)
    return Place("", "", *point, public.uncertainty_m, is_exact=False, is_withheld=False)


def _point(latitude: Decimal, longitude: Decimal) -> tuple[str, str]:
    """Decimal degrees, and degrees, minutes and seconds."""
    shown = f"{latitude.normalize():f}, {longitude.normalize():f}"
    return shown, f"{dms(latitude, Axis.LATITUDE)} {dms(longitude, Axis.LONGITUDE)}"


def cautions(patient: Patient, weight_g: Decimal | None) -> list[str]:
    """Kinds of templates/_caution.html that fit this animal; any wild animal may bite or scratch."""
    kinds = [patient.species.caution_kind or "bite"]
    if patient.is_zoonosis_risk:
        kinds.append("zoonosis")
    if weight_g is not None and weight_g >= HEAVY_G:
        kinds.append("lifting")
    return kinds
