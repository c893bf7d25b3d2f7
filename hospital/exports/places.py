"""Places as somebody outside may see them: a coarser copy where the species is sensitive, and words that say so."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.rules.geo import UNLISTED, Sensitivity, generalise


@dataclass(frozen=True, slots=True)
class Shown:
    """What of a place goes out. `generalised` and `withheld` say in words what was done to it; empty when nothing was."""

    words: str = ""
    latitude: Decimal | None = None
    longitude: Decimal | None = None
    uncertainty_m: int | None = None
    precision_deg: Decimal | None = None
    generalised: str = ""
    withheld: str = ""


def level_of(patient: Patient) -> Sensitivity:
    """How far this animal's places are hidden; high until somebody decided."""
    level = patient.species.sensitivity
    return UNLISTED if level is None else Sensitivity(level)


def found_place(patient: Patient, *, is_exact: bool) -> Shown:
    """Where it was found, as it may go out."""
    point = (patient.found_latitude, patient.found_longitude, patient.found_uncertainty_m)
    return shown(patient, patient.found_place, *point, is_exact=is_exact)


def shown(
    patient: Patient, words: str, latitude: Decimal | None, longitude: Decimal | None, own_uncertainty_m: int | None, *, is_exact: bool
) -> Shown:  # fmt: skip
    """A place of this animal: as held for those who may know it, or for a species that is not sensitive; else its coarser copy."""
    level = level_of(patient)
    if is_exact or level is Sensitivity.NONE:
        return Shown(words, latitude, longitude, own_uncertainty_m)
    hidden = _("place in words withheld: sensitive species") if words else ""
    if latitude is None or longitude is None:
        return Shown(words=hidden and _("withheld"), withheld=hidden)
    public = generalise(latitude, longitude, level, own_uncertainty_m)
    if public.latitude is None:
        withheld = "; ".join(filter(None, [_("coordinates withheld: extremely sensitive species"), hidden]))
        return Shown(words=hidden and _("withheld"), withheld=withheld)
    said = _("Coordinates rounded to %(deg)s degrees, held more exactly") % {"deg": public.precision_deg}
    return Shown(hidden and _("withheld"), public.latitude, public.longitude, public.uncertainty_m, public.precision_deg, said, hidden)
