"""The register of admissions and the annual return, as rows. No finder is in either."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.admissions.models import Identification, Patient
from hospital.exports.places import Shown, found_place, shown
from hospital.outcomes.models import Outcome

Kind = Outcome.Kind
Cell = Callable[[Patient, Shown, Shown, ZoneInfo], Any]


def _admitted_on(patient: Patient, zone: ZoneInfo) -> date:
    return patient.admitted_at.astimezone(zone).date()


def _outcome(patient: Patient) -> Outcome | None:
    return getattr(patient, "outcome", None)


def end_of(patient: Patient) -> str:
    """How it ended, in a word: an outcome, in care, or as an old file says."""
    if outcome := _outcome(patient):
        return str(outcome.get_kind_display())
    if patient.closed_on is None:
        return ""
    imported = getattr(patient, "imported", None)
    return imported.end_words if imported else ""


def ended_on(patient: Patient) -> date | None:
    if outcome := _outcome(patient):
        return outcome.happened_on
    imported = getattr(patient, "imported", None)
    return imported.ended_on if imported else patient.closed_on


def _mark(patient: Patient, kind: str) -> str:
    return " ".join(mark.value for mark in patient.identifications.all() if mark.kind == kind)


def _first_weight_g(patient: Patient) -> Any:
    weights = list(patient.weights.all())
    return Decimal(f"{weights[0].weight_g.normalize():f}") if weights else None  # 9800, not 9.8E+3


def _days_in_care(patient: Patient, zone: ZoneInfo) -> int | None:
    end = ended_on(patient)
    return (end - _admitted_on(patient, zone)).days if end else None


# column → its heading, with the unit in it, and what stands in it
COLUMNS: dict[str, tuple[Any, Cell]] = {
    "case_number": ("case number here", lambda p, f, e, z: p.case_number),
    "former_number": ("former numbers", lambda p, f, e, z: _mark(p, Identification.Kind.FORMER)),
    "admitted_on": ("admitted on", lambda p, f, e, z: p.admitted_at.astimezone(z).strftime("%Y-%m-%d %H:%M")),
    "species": ("species", lambda p, f, e, z: p.species.common_name),
    "scientific_name": ("scientific name", lambda p, f, e, z: p.species.scientific_name),
    "name": ("name", lambda p, f, e, z: p.name),
    "sex": ("sex", lambda p, f, e, z: p.sex),
    "life_stage": ("life stage", lambda p, f, e, z: p.life_stage),
    "cause": ("cause", lambda p, f, e, z: p.cause.name if p.cause else ""),
    "weight": ("weight g", lambda p, f, e, z: _first_weight_g(p)),
    "microchip": ("microchip", lambda p, f, e, z: _mark(p, Identification.Kind.MICROCHIP)),
    "ring": ("ring", lambda p, f, e, z: _mark(p, Identification.Kind.RING)),
    "found_on": ("found on", lambda p, f, e, z: p.found_on.isoformat() if p.found_on else ""),
    "found_place": ("place found", lambda p, f, e, z: f.words),
    "latitude": ("latitude", lambda p, f, e, z: f.latitude),
    "longitude": ("longitude", lambda p, f, e, z: f.longitude),
    "uncertainty": ("uncertainty m", lambda p, f, e, z: f.uncertainty_m),
    "generalised": ("generalised", lambda p, f, e, z: "; ".join(filter(None, [f.generalised, f.withheld]))),
    "outcome": ("outcome", lambda p, f, e, z: end_of(p)),
    "ended_on": ("outcome on", lambda p, f, e, z: str(ended_on(p) or "")),
    "outcome_place": ("outcome place", lambda p, f, e, z: e.words),
    "days_in_care": ("days in care", lambda p, f, e, z: _days_in_care(p, z)),
    "is_imported": ("from an old file", lambda p, f, e, z: "yes" if hasattr(p, "imported") else "no"),
}


def register_rows(patients: Iterable[Patient], columns: Sequence[str], zone: ZoneInfo, *, is_exact: bool) -> Iterator[list[Any]]:
    """A row for each case. A release site is a place too, and as coarse as where it was found."""
    for patient in patients:
        outcome = _outcome(patient)
        end = shown(patient, outcome.place, None, None, None, is_exact=is_exact) if outcome else Shown()
        found = found_place(patient, is_exact=is_exact)
        yield [COLUMNS[name][1](patient, found, end, zone) for name in columns]


# --- the annual return ------------------------------------------------------------------------------------------

GROUPS: dict[str, tuple[Any, Callable[[Patient, ZoneInfo], str]]] = {
    "species": (gettext_lazy("Species"), lambda p, z: p.species.common_name),
    "scientific_name": (gettext_lazy("Scientific name"), lambda p, z: p.species.scientific_name),
    "class": (gettext_lazy("Class"), lambda p, z: p.species.class_name),
    "cause": (gettext_lazy("Cause"), lambda p, z: p.cause.name if p.cause else _("Not recorded")),
    "life_stage": (gettext_lazy("Life stage"), lambda p, z: str(p.get_life_stage_display())),
    "year": (gettext_lazy("Year"), lambda p, z: str(_admitted_on(p, z).year)),
    "month": (gettext_lazy("Month"), lambda p, z: f"{_admitted_on(p, z):%Y-%m}"),
}
IN_CARE, NOT_OURS = "in_care", "other"


def return_table(patients: Iterable[Patient], groups: Sequence[str], zone: ZoneInfo) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows: for each group how many were admitted and what became of them; the last row is the sum."""
    counts: dict[tuple[str, ...], Counter[str]] = {}
    for patient in patients:
        key = tuple(GROUPS[name][1](patient, zone) for name in groups)
        counts.setdefault(key, Counter())[_column_of(patient)] += 1
    ends = [*Kind.values, NOT_OURS, IN_CARE]
    headings = [*(str(GROUPS[name][0]) for name in groups), _("Admitted"), *(str(label) for _value, label in Kind.choices)]
    headings += [_("Ended otherwise, or not known how"), _("In care")]
    rows = [[*key, found.total(), *(found[end] for end in ends)] for key, found in sorted(counts.items())]
    whole = sum(counts.values(), Counter())
    rows.append([_("All"), *[""] * (len(groups) - 1), whole.total(), *(whole[end] for end in ends)])
    return headings, rows


def _column_of(patient: Patient) -> str:
    if outcome := _outcome(patient):
        return outcome.kind
    return IN_CARE if patient.closed_on is None else NOT_OURS
