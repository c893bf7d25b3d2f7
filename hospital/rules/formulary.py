"""A row of the formulary, and what speaks against an order when it is held beside the row and beside other courses.

Decides only; the words for what it finds are the caller's. Figures count in the row's own unit and come with a source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any

from hospital.rules.doses import AmountUnit, converted
from hospital.rules.dosetimes import LateDose

# Where a source names no limit. Both are common practice, no source: proposals that a hospital's vet may change.
HARD_TIMES_THE_TOP = 2
LEAST_SHARE_OF_THE_DOSE = Decimal("0.5")


@dataclass(frozen=True, slots=True)
class Emergency:
    """What a vet wants drawn up in an emergency: the dose per kg in the row's unit, and the bottle in the emergency box."""

    per_kg: Decimal
    strength_per_ml: Decimal
    strength_unit: AmountUnit
    route: str
    source: str
    note: str = ""

    def __post_init__(self) -> None:
        if self.per_kg <= 0 or self.strength_per_ml <= 0:
            raise ValueError("An emergency dose and its strength must be above 0.")
        if not self.source.strip():
            raise ValueError("Say where the emergency figures are from.")

    def to_json(self) -> dict[str, Any]:
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Emergency:
        figures = {name: Decimal(str(content[name])) for name in ("per_kg", "strength_per_ml")}
        unit = AmountUnit(content["strength_unit"])
        return cls(**figures, strength_unit=unit, route=content["route"], source=content["source"], note=content.get("note", ""))


@dataclass(frozen=True, slots=True)
class Entry:
    """One medicine for one group of animals.

    An order needs a reason below `least_per_kg`, above `per_kg_top`, more often than `every_hours`, for more doses than
    `doses_most`, or by another route; from `hard_from_per_kg` on it needs a second vet. `discard_days`: whole days after
    a bottle was opened or made up; None: not known, read the label. `half_life_hours`: as published for the animals
    studied; None: not known. `late_dose`: what a dose given late does to the rest. `emergency`: a vet marked the row for
    the emergency sheet, with figures and a source of their own; None: it is not on it.
    """

    slug: str
    drug: str
    group: str
    unit: AmountUnit
    per_kg: Decimal
    per_kg_top: Decimal
    least_per_kg: Decimal
    hard_from_per_kg: Decimal
    hard_reason: str
    routes: tuple[str, ...]
    every_hours: int | None
    interval_note: str
    doses_most: int | None
    strengths_per_ml: tuple[Decimal, ...]
    medicine_class: str
    is_controlled: bool
    discard_days: int | None
    discard_note: str
    species: str
    caution: str
    source: str
    how_known: str
    half_life_hours: Decimal | None = None
    late_dose: LateDose = LateDose.KEEP_TIMES
    emergency: Emergency | None = None

    def __post_init__(self) -> None:
        if not self.drug.strip():
            raise ValueError("A row needs the name of the medicine.")
        if not 0 < self.least_per_kg <= self.per_kg:
            raise ValueError("The least dose must be above 0 and not above the usual dose.")
        if self.per_kg_top < self.per_kg:
            raise ValueError("The largest usual dose cannot be less than the usual dose.")
        if self.hard_from_per_kg <= self.per_kg_top:
            raise ValueError("The limit for a second vet must lie above the largest usual dose.")
        if self.half_life_hours is not None and self.half_life_hours <= 0:
            raise ValueError("A half-life must be above 0.")
        if self.emergency and self.emergency.per_kg >= self.hard_from_per_kg:
            raise ValueError("The emergency dose reaches the limit for a second vet: put one of the two right.")
        if not self.routes:
            raise ValueError("Name at least one way of giving it.")
        if not self.source.strip():
            raise ValueError("Say where these figures are from.")

    def to_json(self) -> dict[str, Any]:
        """Plain values: decimals as text, so that no figure changes in storage."""
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Entry:
        """Raises ValueError, with a sentence, for content that is no row."""
        decimals = {"per_kg", "per_kg_top", "least_per_kg", "hard_from_per_kg"}
        try:
            values: dict[str, Any] = {name: Decimal(str(value)) if name in decimals else value for name, value in content.items()}
            values["unit"] = AmountUnit(content["unit"])
            values["routes"] = tuple(content["routes"])
            values["late_dose"] = LateDose(content.get("late_dose", LateDose.KEEP_TIMES))
            if content.get("half_life_hours") is not None:
                values["half_life_hours"] = Decimal(str(content["half_life_hours"]))
            if content.get("emergency"):
                values["emergency"] = Emergency.from_json(content["emergency"])
            values["strengths_per_ml"] = tuple(Decimal(str(each)) for each in content["strengths_per_ml"])
            return cls(**values)
        except (KeyError, TypeError, InvalidOperation) as wrong:
            raise ValueError(f"This is no row of the formulary: {wrong}") from None


def _plain(part: Any) -> Any:
    if isinstance(part, Emergency):
        return part.to_json()
    if isinstance(part, Decimal):
        return f"{part.normalize():f}"
    if isinstance(part, tuple):
        return [_plain(each) for each in part]
    return str(part) if isinstance(part, StrEnum) else part


class Finding(StrEnum):
    """What speaks against an order."""

    NOT_ADOPTED = "not_adopted"  # no row in force for this animal
    NEARER_DIFFERS = "nearer_differs"  # within the row in force, outside a nearer one that nobody adopted
    OTHER_UNIT = "other_unit"  # the row counts in units and the order in mass, or the reverse
    OTHER_ROUTE = "other_route"
    BELOW_USUAL = "below_usual"
    ABOVE_USUAL = "above_usual"
    ABOVE_HARD = "above_hard"
    TOO_OFTEN = "too_often"
    TOO_MANY_DOSES = "too_many_doses"
    SAME_MEDICINE = "same_medicine"
    SAME_CLASS = "same_class"


# Who must do something about it: the rest only need a reason from the vet who orders.
NEEDS_SECOND_VET = frozenset({Finding.ABOVE_HARD, Finding.OTHER_UNIT})


@dataclass(frozen=True, slots=True)
class Wanted:
    """The order as far as a row says something about it."""

    dose_per_kg: Decimal
    dose_unit: AmountUnit
    route: str
    every_hours: int
    doses: int


def held_beside(entry: Entry | None, wanted: Wanted, *, is_adopted: bool) -> tuple[Finding, ...]:
    """What speaks against an order when it is held beside a row: one in force, or else the proposal of the reference list."""
    if entry is None:
        return (Finding.NOT_ADOPTED,)
    found = [] if is_adopted else [Finding.NOT_ADOPTED]
    if (entry.unit is AmountUnit.UNIT) != (wanted.dose_unit is AmountUnit.UNIT):
        return (*found, Finding.OTHER_UNIT)
    return (*found, *_amounts(entry, wanted), *_times(entry, wanted))


def _amounts(entry: Entry, wanted: Wanted) -> list[Finding]:
    per_kg = converted(wanted.dose_per_kg, wanted.dose_unit, entry.unit)
    if per_kg >= entry.hard_from_per_kg:
        return [Finding.ABOVE_HARD]
    if per_kg > entry.per_kg_top:
        return [Finding.ABOVE_USUAL]
    return [Finding.BELOW_USUAL] if per_kg < entry.least_per_kg else []


def _times(entry: Entry, wanted: Wanted) -> list[Finding]:
    found = []
    if wanted.route and wanted.route not in entry.routes:
        found.append(Finding.OTHER_ROUTE)
    if entry.every_hours and wanted.doses > 1 and wanted.every_hours < entry.every_hours:
        found.append(Finding.TOO_OFTEN)
    if entry.doses_most and wanted.doses > entry.doses_most:
        found.append(Finding.TOO_MANY_DOSES)
    return found


@dataclass(frozen=True, slots=True)
class Span:
    """A course of one medicine from its first dose to one interval after its last, when the next would have been due."""

    key: int
    medicine: str
    medicine_class: str
    starts_at: datetime
    ends_at: datetime

    def meets(self, other: Span) -> bool:
        return self.starts_at < other.ends_at and other.starts_at < self.ends_at


def overlaps(course: Span, others: Sequence[Span]) -> list[tuple[Finding, Span]]:
    """Courses of the same medicine, or of the same class, that are given at the same time; the same medicine first."""
    meeting = [other for other in others if course.meets(other)]
    same = [(Finding.SAME_MEDICINE, other) for other in meeting if other.medicine == course.medicine]
    alike = [
        (Finding.SAME_CLASS, other)
        for other in meeting
        if other.medicine != course.medicine and course.medicine_class and other.medicine_class == course.medicine_class
    ]
    return same + alike
