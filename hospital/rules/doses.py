"""Dose arithmetic in decimals: unrounded all the way, rounded once at the end to what the syringe can show.

It checks sums, never judgement: a dose is a proposal until a licensed vet has signed it. Every function
refuses floats, because a binary fraction of a dose is a wrong dose. Where a name says mg, the same sum
serves units (IU): amount in, amount out, as long as dose and strength are in the same unit.
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


class Mass(StrEnum):
    MICROGRAM = "microgram"
    MG = "mg"
    G = "g"


_MICROGRAMS_IN = {Mass.MICROGRAM: Decimal(1), Mass.MG: Decimal(1000), Mass.G: Decimal(1000000)}


class DoseRefused(ValueError):
    """A dose that must not be given as asked; the message is a sentence for the person who asked."""


def _amount(name: str, value: Decimal, *, zero: bool = False) -> Decimal:
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
        _amount("graduation_ml", self.graduation_ml)
        if _amount("capacity_ml", self.capacity_ml) % self.graduation_ml:
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
    mg_per_ml: Decimal
    volume_ml: Decimal
    syringe: Syringe


class TooCoarse(DoseRefused):
    """No syringe can show this volume well enough. `dilution` is a proposal, or None when none of ours
    would do.
    """

    def __init__(self, message: str, dilution: Dilution | None) -> None:
        super().__init__(message)
        self.dilution = dilution


@dataclass(frozen=True, slots=True)
class DrawUp:
    """A dose in a syringe: the volume at the mark, the exact one, and by how much rounding changed the dose.

    `rounding_error_percent` is signed: above 0, more than the exact dose is given.
    """

    dose_mg: Decimal
    mg_per_ml: Decimal
    exact_ml: Decimal
    volume_ml: Decimal
    syringe: Syringe
    rounding_error_percent: Decimal

    @property
    def given_mg(self) -> Decimal:
        return self.volume_ml * self.mg_per_ml


def converted(amount: Decimal, unit: Mass, to: Mass) -> Decimal:
    """An amount in another unit of mass."""
    return _amount("amount", amount) * _MICROGRAMS_IN[unit] / _MICROGRAMS_IN[to]


def to_step(value: Decimal, step: Decimal, rounding: str = ROUND_HALF_UP) -> Decimal:
    """A value rounded to a whole number of steps; halves go up unless another rule of `decimal` is named."""
    steps = (_amount("value", value, zero=True) / _amount("step", step)).to_integral_value(rounding)
    return steps * step


def truncated(value: Decimal, step: Decimal) -> Decimal:
    """A value cut down to a whole number of steps, as some hospitals do for the smallest animals."""
    return to_step(value, step, ROUND_DOWN)


def dose_mg(weight_g: Decimal, mg_per_kg: Decimal) -> Decimal:
    """The dose of an animal, unrounded."""
    return _amount("weight_g", weight_g) * _amount("mg_per_kg", mg_per_kg) / 1000


def mg_per_ml_of_percent(percent: Decimal) -> Decimal:
    """The strength of a solution in percent weight in volume: 1 % is 10 mg in each mL."""
    return _amount("percent", percent) * 10


def exact_ml(dose_mg: Decimal, strength_mg: Decimal, per_ml: Decimal = Decimal(1)) -> Decimal:
    """The volume that holds a dose, unrounded, from a strength of so many mg in so many mL."""
    return _amount("dose_mg", dose_mg) * _amount("per_ml", per_ml) / _amount("strength_mg", strength_mg)


def volume_ml(weight_g: Decimal, mg_per_kg: Decimal, mg_per_ml: Decimal, step_ml: Decimal) -> Decimal:
    """The volume for an animal, rounded once, at the end, to the nearest step; halves go up."""
    return to_step(exact_ml(dose_mg(weight_g, mg_per_kg), mg_per_ml), step_ml)


def draw_up(
    dose_mg: Decimal,
    mg_per_ml: Decimal,
    *,
    max_dose_mg: Decimal | None = None,
    syringes: Sequence[Syringe] = SYRINGES,
) -> DrawUp:
    """The smallest syringe that holds a dose, and the mark to draw up to: the nearest, but never above
    `max_dose_mg`.

    Raises DoseRefused above the maximum or the largest syringe, and TooCoarse, with a proposal of dilution,
    when rounding to the mark would change the dose by more than 10 %.
    """
    volume = exact_ml(dose_mg, mg_per_ml)
    if max_dose_mg is not None and dose_mg > _amount("max_dose_mg", max_dose_mg):
        raise DoseRefused(f"{_plain(dose_mg)} mg is above the stated maximum of {_plain(max_dose_mg)} mg.")
    syringe = _smallest_that_holds(volume, syringes)
    rounded_ml = to_step(volume, syringe.graduation_ml)
    if max_dose_mg is not None and rounded_ml * mg_per_ml > max_dose_mg:
        rounded_ml = to_step(volume, syringe.graduation_ml, ROUND_FLOOR)
    if abs(rounded_ml * mg_per_ml - dose_mg) * 100 > LARGEST_ROUNDING_ERROR_PERCENT * dose_mg:
        raise _too_coarse(volume, mg_per_ml, syringe, syringes)
    error_percent = (rounded_ml * mg_per_ml - dose_mg) * 100 / dose_mg
    return DrawUp(dose_mg, mg_per_ml, volume, rounded_ml, syringe, error_percent)


def diluted_mg_per_ml(mg_per_ml: Decimal, take_ml: Decimal, add_ml: Decimal) -> Decimal:
    """The strength after adding a diluent to a volume of drug; the final volume is both together."""
    whole_ml = _amount("take_ml", take_ml) + _amount("add_ml", add_ml, zero=True)
    return _amount("mg_per_ml", mg_per_ml) * take_ml / whole_ml


def tablets_per_dose(dose_mg: Decimal, tablet_mg: Decimal, smallest_part: Decimal = Decimal("0.5")) -> Decimal:
    """Tablets for a dose, to the nearest part that they can be cut into (1 for capsules).

    Raises DoseRefused when that changes the dose by more than 10 %.
    """
    exact = _amount("dose_mg", dose_mg) / _amount("tablet_mg", tablet_mg)
    tablets = to_step(exact, smallest_part)
    if abs(tablets * tablet_mg - dose_mg) * 100 > LARGEST_ROUNDING_ERROR_PERCENT * dose_mg:
        raise DoseRefused(f"{_plain(dose_mg)} mg cannot be made up within 10 % from tablets of {_plain(tablet_mg)} mg.")
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
    needed_ml = _amount("volume_ml", volume_ml) * doses + _amount("loading_ml", loading_ml, zero=True)
    with_spare_ml = needed_ml * (100 + _amount("spare_percent", spare_percent, zero=True)) / 100
    return to_step(with_spare_ml, step_ml, ROUND_CEILING)


def bottle_lasts_days(bottle_ml: Decimal, volume_ml: Decimal, every_hours: int) -> Decimal:
    """For how many days the whole doses in a bottle last."""
    doses = (_amount("bottle_ml", bottle_ml) / _amount("volume_ml", volume_ml)).to_integral_value(ROUND_FLOOR)
    return doses * every_hours / HOURS_A_DAY


def _smallest_that_holds(volume: Decimal, syringes: Sequence[Syringe]) -> Syringe:
    by_size = sorted(syringes, key=lambda syringe: syringe.capacity_ml)
    for syringe in by_size:
        if volume <= syringe.capacity_ml:
            return syringe
    raise DoseRefused(
        f"{_plain(volume)} mL is more than the largest syringe holds ({_plain(by_size[-1].capacity_ml)} mL):"
        " check weight and strength, or order it as an infusion."
    )


def _too_coarse(volume: Decimal, mg_per_ml: Decimal, syringe: Syringe, syringes: Sequence[Syringe]) -> TooCoarse:
    return TooCoarse(
        f"{_plain(volume)} mL cannot be drawn up within 10 % with marks"
        f" {_plain(syringe.graduation_ml)} mL apart: dilute it, or use a weaker solution.",
        _proposed_dilution(volume, mg_per_ml, syringes),
    )


def _proposed_dilution(volume: Decimal, mg_per_ml: Decimal, syringes: Sequence[Syringe]) -> Dilution | None:
    """The least dilution that fills at least ten marks of the syringe that it needs."""
    by_size = sorted(syringes, key=lambda syringe: syringe.capacity_ml)
    for parts in DILUTIONS:
        syringe = next((each for each in by_size if volume * parts <= each.capacity_ml), None)
        if syringe and volume * parts >= LEAST_STEPS_AFTER_DILUTION * syringe.graduation_ml:
            return Dilution(parts, mg_per_ml / parts, to_step(volume * parts, syringe.graduation_ml), syringe)
    return None


def _plain(value: Decimal) -> str:
    """A number for a refusal: no exponent, at most four significant digits after the leading zeros."""
    with localcontext() as context:
        context.prec = 4
        return f"{(+Decimal(value)).normalize():f}"
