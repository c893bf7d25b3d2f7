"""Dose arithmetic in decimals: unrounded all the way, rounded once at the end to what the syringe can show.

It checks sums, never judgement: a dose is a proposal until a licensed vet has signed it. Every function
refuses floats, because a binary fraction of a dose is a wrong dose. Amounts are in whatever the bottle counts:
mass, or units (IU). `worked` brings a dose into the unit of the strength; the plainer sums take both in one unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_DOWN, ROUND_FLOOR, ROUND_HALF_UP, Decimal, localcontext
from enum import StrEnum

LARGEST_ROUNDING_ERROR_PERCENT = Decimal(10)
LEAST_STEPS_AFTER_DILUTION = 10  # ten marks of the syringe: rounding to the nearest is then at most 5 % off
DILUTIONS = (2, 5, 10, 20, 50, 100, 200, 500, 1000)
HOURS_A_DAY = 24


class AmountUnit(StrEnum):
    """What an amount of a medicine is counted in. Units (IU) measure effect: no sum turns them into a mass."""

    MICROGRAM = "microgram"
    MG = "mg"
    G = "g"
    UNIT = "unit"


_MICROGRAMS_IN = {AmountUnit.MICROGRAM: Decimal(1), AmountUnit.MG: Decimal(1000), AmountUnit.G: Decimal(1000000)}


class DoseRefused(ValueError):
    """A dose that must not be given as asked; the message is a sentence for the person who asked."""


class UnitsDiffer(DoseRefused):
    """An amount in units beside one in mass."""


class DoesNotFit(DoseRefused):
    """More than the syringe holds: the largest there is, or the one that was chosen."""

    def __init__(self, volume_ml: Decimal, capacity_ml: Decimal) -> None:
        super().__init__(
            f"{_plain(volume_ml)} mL is more than the largest syringe holds ({_plain(capacity_ml)} mL):"
            " check weight and strength, or order it as an infusion."
        )
        self.volume_ml, self.capacity_ml = volume_ml, capacity_ml


def amount(name: str, value: Decimal, *, zero: bool = False) -> Decimal:
    """A quantity that can be meant: a finite decimal (or whole number) above 0, or from 0 on."""
    if isinstance(value, bool) or not isinstance(value, Decimal | int):
        raise TypeError(f"{name} must be a decimal, not {value!r}.")
    value = Decimal(value)
    if not value.is_finite() or value < 0 or (value == 0 and not zero):
        raise ValueError(f"{name} must be {'0 or more' if zero else 'more than 0'}, not {value}.")
    return value


@dataclass(frozen=True, slots=True)
class Syringe:
    """A syringe: what it holds, and the volume between two of its marks."""

    capacity_ml: Decimal
    graduation_ml: Decimal

    def __post_init__(self) -> None:
        amount("graduation_ml", self.graduation_ml)
        if amount("capacity_ml", self.capacity_ml) % self.graduation_ml:
            raise ValueError(f"A syringe of {self.capacity_ml} mL cannot have marks {self.graduation_ml} mL apart.")


# Capacities and marks of common single-use syringes: common practice, no source.
# Look at the syringe that will be used.
SYRINGES = tuple(
    Syringe(Decimal(capacity_ml), Decimal(graduation_ml))
    for capacity_ml, graduation_ml in (
        ("1", "0.01"),
        ("2.5", "0.1"),
        ("5", "0.2"),
        ("10", "0.5"),
        ("20", "1"),
        ("50", "1"),
    )
)


@dataclass(frozen=True, slots=True)
class Dilution:
    """One part of the drug in `parts` parts altogether, the strength that results, and the volume then
    drawn up.
    """

    parts: int
    per_ml: Decimal
    volume_ml: Decimal
    syringe: Syringe


class TooCoarse(DoseRefused):
    """No syringe can show this volume well enough. `dilution` is a proposal, or None when none of ours
    would do.
    """

    def __init__(self, message: str, volume_ml: Decimal, dilution: Dilution | None) -> None:
        super().__init__(message)
        self.volume_ml, self.dilution = volume_ml, dilution


@dataclass(frozen=True, slots=True)
class DrawUp:
    """A dose in a syringe: the volume at the mark, the exact one, and by how much rounding changed the dose.

    `rounding_error_percent` is signed: above 0, more than the exact dose is given.
    """

    dose: Decimal  # exact, in the unit of the strength
    per_ml: Decimal
    exact_ml: Decimal
    volume_ml: Decimal
    syringe: Syringe
    rounding_error_percent: Decimal

    @property
    def given(self) -> Decimal:
        """What the volume at the mark holds, in the unit of the strength."""
        return self.volume_ml * self.per_ml


def converted(value: Decimal, unit: AmountUnit, to: AmountUnit) -> Decimal:
    """An amount in another unit of mass. Raises UnitsDiffer between mass and units (IU)."""
    value = amount("value", value)
    if unit is to:
        return value
    if AmountUnit.UNIT in (unit, to):
        raise UnitsDiffer("Units cannot be worked into mg, nor mg into units: give dose and strength alike.")
    return value * _MICROGRAMS_IN[unit] / _MICROGRAMS_IN[to]


def to_step(value: Decimal, step: Decimal, rounding: str = ROUND_HALF_UP) -> Decimal:
    """A value rounded to a whole number of steps; halves go up unless another rule of `decimal` is named."""
    steps = (amount("value", value, zero=True) / amount("step", step)).to_integral_value(rounding)
    return steps * step


def truncated(value: Decimal, step: Decimal) -> Decimal:
    """A value cut down to a whole number of steps, as some hospitals do for the smallest animals."""
    return to_step(value, step, ROUND_DOWN)


def dose_for(weight_g: Decimal, per_kg: Decimal) -> Decimal:
    """The dose of an animal, unrounded, in whatever `per_kg` counts."""
    return amount("weight_g", weight_g) * amount("per_kg", per_kg) / 1000


def mg_per_ml_of_percent(percent: Decimal) -> Decimal:
    """The strength of a solution in percent weight in volume: 1 % is 10 mg in each mL."""
    return amount("percent", percent) * 10


def exact_ml(dose: Decimal, strength: Decimal, in_ml: Decimal = Decimal(1)) -> Decimal:
    """The volume that holds a dose, unrounded, from a strength of so much in so many mL; both in one unit."""
    return amount("dose", dose) * amount("in_ml", in_ml) / amount("strength", strength)


def volume_ml(weight_g: Decimal, per_kg: Decimal, per_ml: Decimal, step_ml: Decimal) -> Decimal:
    """The volume for an animal, rounded once, at the end, to the nearest step; halves go up."""
    return to_step(exact_ml(dose_for(weight_g, per_kg), per_ml), step_ml)


def draw_up(
    dose: Decimal,
    per_ml: Decimal,
    *,
    most: Decimal | None = None,
    syringes: Sequence[Syringe] = SYRINGES,
) -> DrawUp:
    """The smallest of the syringes that holds a dose, and the mark to draw up to: the nearest, but never above `most`.

    Dose, strength and `most` are in one unit. Raises DoseRefused above the maximum, DoesNotFit above the largest
    syringe, and TooCoarse, with a proposal of dilution, when rounding to the mark would change the dose by more than 10 %.
    """
    volume = exact_ml(dose, per_ml)
    if most is not None and dose > amount("most", most):
        raise DoseRefused(f"{_plain(dose)} is above the stated maximum of {_plain(most)}.")
    syringe = _smallest_that_holds(volume, syringes)
    rounded_ml = to_step(volume, syringe.graduation_ml)
    if most is not None and rounded_ml * per_ml > most:
        rounded_ml = to_step(volume, syringe.graduation_ml, ROUND_FLOOR)
    if abs(rounded_ml * per_ml - dose) * 100 > LARGEST_ROUNDING_ERROR_PERCENT * dose:
        raise _too_coarse(volume, per_ml, syringe, syringes)
    error_percent = (rounded_ml * per_ml - dose) * 100 / dose
    return DrawUp(dose, per_ml, volume, rounded_ml, syringe, error_percent)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a vet asks for: a dose per kg, the strength on the bottle, and how it is to be drawn up.

    `dilution_parts`: one part of the bottle in so many parts altogether, 1 for undiluted. `syringe_ml`: the capacity of
    the chosen syringe of SYRINGES; None for the smallest that holds the dose.
    """

    dose_per_kg: Decimal
    dose_unit: AmountUnit
    strength_per_ml: Decimal
    strength_unit: AmountUnit
    dilution_parts: int = 1
    syringe_ml: Decimal | None = None

    def __post_init__(self) -> None:
        amount("dose_per_kg", self.dose_per_kg)
        amount("strength_per_ml", self.strength_per_ml)
        if isinstance(self.dilution_parts, bool) or self.dilution_parts < 1:
            raise ValueError(f"A dilution has at least one part, not {self.dilution_parts}.")
        if self.syringe_ml is not None and syringe_of(self.syringe_ml) is None:
            raise ValueError(f"There is no syringe of {self.syringe_ml} mL in the list.")


@dataclass(frozen=True, slots=True)
class Worked:
    """One dose, worked out. `dose` is exact, in the unit that it was asked in; volumes are of what is drawn up."""

    weight_g: Decimal
    dose: Decimal
    drawn: DrawUp
    stock_ml: Decimal  # out of the undiluted bottle, for one dose


def worked(asked: Asked, weight_g: Decimal, *, most_per_kg: Decimal | None = None) -> Worked:
    """The dose for an animal, and the mark to draw up to. The order and the dose calculator both ask here.

    `most_per_kg`, in the unit of the dose, is what rounding must never pass; it is no limit for the dose itself.
    Raises what `draw_up` and `converted` raise.
    """
    dose = dose_for(weight_g, asked.dose_per_kg)
    in_strength = converted(dose, asked.dose_unit, asked.strength_unit)
    most = None
    if most_per_kg is not None and most_per_kg >= asked.dose_per_kg:
        most = converted(dose_for(weight_g, most_per_kg), asked.dose_unit, asked.strength_unit)
    chosen = syringe_of(asked.syringe_ml) if asked.syringe_ml is not None else None
    drawn = draw_up(
        in_strength,
        asked.strength_per_ml / asked.dilution_parts,
        most=most,
        syringes=(chosen,) if chosen else SYRINGES,
    )
    return Worked(weight_g, dose, drawn, drawn.volume_ml / asked.dilution_parts)


def syringe_of(capacity_ml: Decimal) -> Syringe | None:
    """The syringe of the list that holds so much; None when there is none."""
    return next((each for each in SYRINGES if each.capacity_ml == capacity_ml), None)


def diluted_per_ml(per_ml: Decimal, take_ml: Decimal, add_ml: Decimal) -> Decimal:
    """The strength after adding a diluent to a volume of drug; the final volume is both together."""
    whole_ml = amount("take_ml", take_ml) + amount("add_ml", add_ml, zero=True)
    return amount("per_ml", per_ml) * take_ml / whole_ml


def tablets_per_dose(dose: Decimal, per_tablet: Decimal, smallest_part: Decimal = Decimal("0.5")) -> Decimal:
    """Tablets for a dose, to the nearest part that they can be cut into (1 for capsules).

    Raises DoseRefused when that changes the dose by more than 10 %.
    """
    exact = amount("dose", dose) / amount("per_tablet", per_tablet)
    tablets = to_step(exact, smallest_part)
    if abs(tablets * per_tablet - dose) * 100 > LARGEST_ROUNDING_ERROR_PERCENT * dose:
        raise DoseRefused(f"A dose of {_plain(dose)} cannot be made up within 10 % from tablets of {_plain(per_tablet)}.")
    return tablets


def doses_in_course(days: int, every_hours: int) -> int:
    """How many doses fall into so many days from the first one on: every 8 hours for 5 days is 15."""
    if days < 1 or every_hours < 1:
        raise ValueError("A course lasts at least one day, with at least one hour between doses.")
    return -(-days * HOURS_A_DAY // every_hours)


def volume_to_dispense_ml(
    volume_ml: Decimal,
    doses: int,
    *,
    loading_ml: Decimal = Decimal(0),
    spare_percent: Decimal = Decimal(0),
    step_ml: Decimal = Decimal("0.1"),
) -> Decimal:
    """What to send home for a course, rounded up so that the last dose is in the bottle.

    `loading_ml` is a larger first dose on top of the others; `spare_percent` allows for what stays in
    syringes.
    """
    if doses < 1:
        raise ValueError(f"A course has at least one dose, not {doses}.")
    needed_ml = amount("volume_ml", volume_ml) * doses + amount("loading_ml", loading_ml, zero=True)
    with_spare_ml = needed_ml * (100 + amount("spare_percent", spare_percent, zero=True)) / 100
    return to_step(with_spare_ml, step_ml, ROUND_CEILING)


def bottle_lasts_days(bottle_ml: Decimal, volume_ml: Decimal, every_hours: int) -> Decimal:
    """For how many days the whole doses in a bottle last."""
    doses = (amount("bottle_ml", bottle_ml) / amount("volume_ml", volume_ml)).to_integral_value(ROUND_FLOOR)
    return doses * every_hours / HOURS_A_DAY


def _smallest_that_holds(volume: Decimal, syringes: Sequence[Syringe]) -> Syringe:
    by_size = sorted(syringes, key=lambda syringe: syringe.capacity_ml)
    for syringe in by_size:
        if volume <= syringe.capacity_ml:
            return syringe
    raise DoesNotFit(volume, by_size[-1].capacity_ml)


def _too_coarse(volume: Decimal, per_ml: Decimal, syringe: Syringe, syringes: Sequence[Syringe]) -> TooCoarse:
    return TooCoarse(
        f"{_plain(volume)} mL cannot be drawn up within 10 % with marks"
        f" {_plain(syringe.graduation_ml)} mL apart: dilute it, or use a weaker solution.",
        volume,
        _proposed_dilution(volume, per_ml, syringes),
    )


def _proposed_dilution(volume: Decimal, per_ml: Decimal, syringes: Sequence[Syringe]) -> Dilution | None:
    """The least dilution that fills at least ten marks of the syringe that it needs."""
    by_size = sorted(syringes, key=lambda syringe: syringe.capacity_ml)
    for parts in DILUTIONS:
        syringe = next((each for each in by_size if volume * parts <= each.capacity_ml), None)
        if syringe and volume * parts >= LEAST_STEPS_AFTER_DILUTION * syringe.graduation_ml:
            return Dilution(parts, per_ml / parts, to_step(volume * parts, syringe.graduation_ml), syringe)
    return None


def _plain(value: Decimal) -> str:
    """A number for a refusal: no exponent, at most four significant digits after the leading zeros."""
    with localcontext() as context:
        context.prec = 4
        return f"{(+Decimal(value)).normalize():f}"
