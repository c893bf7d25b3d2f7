"""Fluids: maintenance, deficit and losses in millilitres; rates by the hour and in drops.

Decimals all the way, rounded once at the end. A gram of water is a millilitre. A deficit is given once, never every day
anew; measured urine is part of maintenance and never an ongoing loss. All of it is a proposal until a licensed vet signs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

from hospital.rules.doses import DoseRefused, amount, to_step
from hospital.rules.energy import is_too_coarse, step_for

HOURS_A_DAY = 24
MINUTES_AN_HOUR = 60
DROPS_PER_ML = (10, 15, 20, 60)  # giving sets as they are sold: common practice; the number stands on the packet
# As much at one time as a stomach is usually given: a squirrel rehabilitation page, "The Basics" (5 % of body weight), read.
BY_MOUTH_PERCENT = Decimal(5)
# From here on the estimate itself is in doubt: signs of more are those of shock. Common practice, no source.
GRAVE_PERCENT = Decimal(12)
MOST_PERCENT = Decimal(20)


@dataclass(frozen=True, slots=True)
class Maintenance:
    """What a group needs, in mL for each kg a day: the proposal, and the range that the source gives."""

    group: str
    usual: Decimal
    low: Decimal
    high: Decimal
    source: str
    how_known: str


def _of(group: str, usual: int, low: int, high: int, source: tuple[str, str]) -> Maintenance:
    return Maintenance(group, Decimal(usual), Decimal(low), Decimal(high), *source)


_BIRDS = ("Exotic Animal Formulary, 5th ed., Table 5-36: 50 (40-60)", "read")
_REPTILES = ("LafeberVet, Fluid Administration in Reptiles: 10-30, warmed", "read")
_SMALL = ("LafeberVet, Fluid Administration in Exotic Companion Mammals: 75-100, warmed", "read")
_DOGS = ("Veterinary Nursing Journal 41(1), 2026, p. 55, for dogs and cats: 50", "read")
_WILD = ("BSAVA Manual of Wildlife Casualties; Vogelnest & Portas 2019: 50-60, young 100", "memory")

MAINTENANCES = (
    _of("bird", 50, 40, 60, _BIRDS),
    _of("reptile", 20, 10, 30, _REPTILES),
    _of("small-mammal", 75, 75, 100, _SMALL),
    _of("hedgehog", 75, 75, 100, _SMALL),
    _of("mammal", 50, 50, 60, _DOGS),
    *(_of(group, 50, 50, 60, _WILD) for group in ("fox", "deer", "possum-glider", "macropod", "koala", "wombat")),
)


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of a fluid plan, from an hour after its beginning on: unrounded, and as it is given.

    `ml_each` is for routes that are given so many times a day, `drops_per_minute` for a giving set; else None.
    """

    from_hour: int
    ml_per_hour: Decimal
    ml_each: Decimal | None = None
    drops_per_minute: int | None = None

    @property
    def ml_per_day(self) -> Decimal:
        return self.ml_per_hour * HOURS_A_DAY

    def to_json(self) -> dict[str, Any]:
        return {
            "from_hour": self.from_hour,
            "ml_per_hour": f"{self.ml_per_hour:f}",
            "ml_each": None if self.ml_each is None else f"{self.ml_each:f}",
            "drops_per_minute": self.drops_per_minute,
        }

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Phase:
        each = kept["ml_each"]
        return cls(
            kept["from_hour"], Decimal(kept["ml_per_hour"]), None if each is None else Decimal(each), kept["drops_per_minute"]
        )


@dataclass(frozen=True, slots=True)
class Fluids:
    """A fluid plan worked out, in mL: a day's maintenance, the whole deficit, and how it goes on."""

    maintenance_ml_day: Decimal
    deficit_ml: Decimal
    phases: tuple[Phase, ...]


def maintenance_ml_day(weight_g: Decimal, ml_per_kg_day: Decimal) -> Decimal:
    return amount("weight_g", weight_g) * amount("ml_per_kg_day", ml_per_kg_day) / 1000


def deficit_ml(weight_g: Decimal, dehydration_percent: Decimal) -> Decimal:
    """What is missing: so many percent (6, not 0.06) of the body weight, a gram being a millilitre."""
    percent = amount("dehydration_percent", dehydration_percent, zero=True)
    if percent > MOST_PERCENT:
        raise DoseRefused("Nothing lives with so much dehydration: give percent of the body weight, for example 6.")
    return amount("weight_g", weight_g) * percent / 100


def share_of_weight_ml(weight_g: Decimal, percent: Decimal = BY_MOUTH_PERCENT) -> Decimal:
    """A share of the body weight as a volume: what a stomach is usually given at one time."""
    return amount("weight_g", weight_g) * amount("percent", percent) / 100


def drops_per_minute(ml_per_hour: Decimal, drops_per_ml: int) -> int:
    """Whole drops, to the nearest. Raises DoseRefused where rounding would change the rate by more than 10 %."""
    exact = amount("ml_per_hour", ml_per_hour) * drops_per_ml / MINUTES_AN_HOUR
    whole = to_step(exact, Decimal(1))
    if is_too_coarse(exact, whole):
        raise DoseRefused("So slow a rate cannot be counted in drops of this giving set: use a finer set, or a pump.")
    return int(whole)


def fluids(
    weight_g: Decimal,
    ml_per_kg_day: Decimal,
    *,
    dehydration_percent: Decimal = Decimal(0),
    deficit_hours: int | None = None,
    half_in_hours: int | None = None,
    losses_ml_day: Decimal = Decimal(0),
    times_per_day: int | None = None,
    drops_per_ml: int | None = None,
) -> Fluids:
    """The whole plan. The deficit is given evenly within `deficit_hours`, or the first half of it in `half_in_hours`.

    Raises ValueError for hours that do not fit, and what `deficit_ml` and `drops_per_minute` raise.
    """
    daily = maintenance_ml_day(weight_g, ml_per_kg_day)
    missing = deficit_ml(weight_g, dehydration_percent)
    base = (daily + amount("losses_ml_day", losses_ml_day, zero=True)) / HOURS_A_DAY
    extra = _deficit_rates(missing, deficit_hours, half_in_hours)
    phases = [_phase(hour, base + rate, times_per_day, drops_per_ml) for hour, rate in extra]
    return Fluids(daily, missing, tuple(phases))


def _deficit_rates(missing: Decimal, hours: int | None, half_in: int | None) -> list[tuple[int, Decimal]]:
    """From which hour on how much of the deficit is given in an hour; nothing after the last."""
    if not missing:
        return [(0, Decimal(0))]
    if not hours or hours < 1:
        raise ValueError("A deficit is given within some hours.")
    if half_in is None:
        steps = [(0, missing), (hours, Decimal(0))]
    elif 0 < half_in < hours:
        steps = [(0, missing / 2), (half_in, missing / 2), (hours, Decimal(0))]
    else:
        raise ValueError("The first half of a deficit is given before the whole of it.")
    rates = [(start, volume / (end - start)) for (start, volume), (end, _) in pairwise(steps)]
    return [*rates, (hours, Decimal(0))]


def _phase(hour: int, ml_per_hour: Decimal, times_per_day: int | None, drops_per_ml: int | None) -> Phase:
    each = ml_per_hour * HOURS_A_DAY / times_per_day if times_per_day else None
    if each is not None:
        each = to_step(each, step_for(each))
    return Phase(hour, ml_per_hour, each, drops_per_minute(ml_per_hour, drops_per_ml) if drops_per_ml else None)


def maintenance_for(lineage: Sequence[str]) -> Maintenance | None:
    """The figures of the nearest group that has some; None where nobody has told us any (amphibians)."""
    known = {each.group: each for each in MAINTENANCES}
    return next((known[group] for group in lineage if group in known), None)
