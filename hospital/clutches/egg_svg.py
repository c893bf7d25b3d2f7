"""The chart of one egg: its weights, and the lines between which it should lie until the hatch, in 640 by 240 units."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from hospital.admissions.weights_svg import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, Point, Tick, scale
from hospital.clutches.models import EggWeight
from hospital.rules.egg_weights import LossBand, guide_g


@dataclass(frozen=True, slots=True)
class LossChart:
    """Points in the order of time, lines of the grid, the corners of the expected band (empty: none is known), first and last day."""

    points: tuple[Point, ...]
    lines: tuple[Tick, ...]
    band: str
    starts: date
    ends: date

    @property
    def path(self) -> str:
        return " ".join(f"{point.x},{point.y}" for point in self.points)

    @property
    def height(self) -> int:
        return HEIGHT


def loss_chart(weights: Iterable[EggWeight], incubation_days: Fraction | None, band: LossBand | None) -> LossChart | None:
    """The drawing from the first weighing on; until the hatch where the band and the days are known. None before two weights."""
    rows = [(each.weighed_on, each.weight_g) for each in weights]
    if len(rows) < 2:
        return None
    starts, first_g = rows[0]
    guided = int(incubation_days) if band and incubation_days else 0
    expected = [guide_g(first_g, percent, guided, incubation_days) for percent in (band.least, band.most)] if guided else []
    grams = [*(weight_g for _on, weight_g in rows), *(Decimal(each.numerator) / each.denominator for each in expected)]
    lines, days = scale(min(grams), max(grams)), max((rows[-1][0] - starts).days, guided)

    def x(day: int) -> int:
        return round(LEFT + day / days * (WIDTH - LEFT - RIGHT))

    def y(weight_g: Decimal | Fraction) -> int:
        return round(BOTTOM - float((Fraction(weight_g) - Fraction(lines[0])) / Fraction(lines[-1] - lines[0])) * (BOTTOM - TOP))

    corners = [(x(0), y(first_g)), *((x(guided), y(each)) for each in expected)] if expected else []
    return LossChart(
        tuple(Point(x((on - starts).days), y(weight_g), on, weight_g) for on, weight_g in rows),
        tuple(Tick(y(value), value) for value in lines), " ".join(f"{at_x},{at_y}" for at_x, at_y in corners),
        starts, starts + timedelta(days=days),
    )  # fmt: skip
