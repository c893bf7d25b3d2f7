"""The water that an egg loses: how much so far, how much by the hatch if it goes on like that, between which lines it should lie.

Shares are of the first weight, days count from it. For birds alone: eggs of reptiles take water up, and no band for them is known here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

Grams = Decimal | Fraction


@dataclass(frozen=True, slots=True)
class LossBand:
    """How many percent of its first weight an egg loses until it hatches."""

    group: str
    least: Decimal
    most: Decimal
    source: str
    how_known: str


# The lines that a person aims between …
AIM = LossBand(
    "bird", Decimal(13), Decimal(17), "Duerr & Gage, Hand-Rearing Birds, 2nd ed. 2020, Fig. 3.1 (egg of a Saint Vincent amazon)", "read"
)
# … and what nature does: the mean of 81 species is 15 %, with a standard deviation of 2.5; this is twice that either way.
# A warning tighter than that would call healthy eggs sick.
NATURAL = LossBand("bird", Decimal(10), Decimal(20), "Ar & Rahn 1980, American Zoologist 20:373 (abstract; 81 species)", "read")


def lost_percent(first_g: Grams, now_g: Grams) -> Fraction:
    """How much of its first weight an egg has lost."""
    return 100 * (1 - Fraction(now_g) / Fraction(first_g))


def lost_g_per_day(first_g: Grams, now_g: Grams, days: int) -> Fraction:
    return (Fraction(first_g) - Fraction(now_g)) / days


def projected_percent(first_g: Grams, now_g: Grams, days: int, incubation_days: Grams | int) -> Fraction:
    """How much it will have lost by the end if it goes on losing as over these days: Hand-Rearing Birds, ch. 36, p. 553 (read)."""
    return lost_percent(first_g, now_g) / days * Fraction(incubation_days)


def guide_g(first_g: Grams, percent: Grams | int, day: int, incubation_days: Grams | int) -> Fraction:
    """What an egg weighs on a day if it loses evenly, and this many percent until the end."""
    return Fraction(first_g) * (1 - Fraction(percent) / 100 * day / Fraction(incubation_days))


@dataclass(frozen=True, slots=True)
class Loss:
    """What the weights of one egg say. Percent; `by_hatch` None: nobody said in how many days this egg hatches."""

    days: int
    first_g: Decimal
    newest_g: Decimal
    lost: Fraction
    g_per_day: Fraction
    by_hatch: Fraction | None
    is_outside: bool  # what it will have lost lies outside natural variation; only asked where a band is known


def loss_of(weights: Sequence[tuple[date, Decimal]], incubation_days: Fraction | None, natural: LossBand | None) -> Loss | None:
    """The loss from the first weighing to the newest; None before an egg was weighed on two days."""
    if len(weights) < 2:
        return None
    (begins, first_g), (ends, newest_g) = weights[0], weights[-1]
    days = (ends - begins).days
    by_hatch = projected_percent(first_g, newest_g, days, incubation_days) if incubation_days else None
    is_outside = bool(natural and by_hatch is not None and not natural.least <= by_hatch <= natural.most)
    lost, g_per_day = lost_percent(first_g, newest_g), lost_g_per_day(first_g, newest_g, days)
    return Loss(days, first_g, newest_g, lost, g_per_day, by_hatch, is_outside)


def band_for(lineage: Sequence[str], band: LossBand = AIM) -> LossBand | None:
    """The band, if it is known for one of these groups."""
    return band if band.group in lineage else None
