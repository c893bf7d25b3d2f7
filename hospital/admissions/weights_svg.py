"""The weight chart: where each weighing lies in a drawing of 640 by 240 units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

WIDTH, HEIGHT = 640, 240
LEFT, RIGHT, TOP, BOTTOM = 92, 32, 18, 200
MOST_LINES = 5


@dataclass(frozen=True, slots=True)
class Point:
    x: int
    y: int
    on: date
    weight_g: Decimal


@dataclass(frozen=True, slots=True)
class Tick:
    """A line of the grid: where it lies and what it stands for."""

    at: int
    value: Decimal


@dataclass(frozen=True, slots=True)
class WeightChart:
    """Points in the order of time, horizontal lines of the grid, the line through the points, and the weights at which to call."""

    points: tuple[Point, ...]
    lines: tuple[Tick, ...]
    calls: tuple[Tick, ...] = ()  # the first: the same day, the second: at once

    @property
    def path(self) -> str:
        return " ".join(f"{point.x},{point.y}" for point in self.points)

    @property
    def first(self) -> Point:
        return self.points[0]

    @property
    def last(self) -> Point:
        return self.points[-1]


def weight_chart(weighings: Sequence[tuple[date, Decimal]], calls: Sequence[Decimal] = ()) -> WeightChart | None:
    """The drawing of weighings in the order of time, with the weights in grams at which a vet is called; None without any.

    Its scale need not begin at 0.
    """
    if not weighings:
        return None
    grams = [*(weight_g for _on, weight_g in weighings), *calls]
    lines = scale(min(grams), max(grams))
    first, last = weighings[0][0], weighings[-1][0]

    def x(on: date) -> int:
        span = (last - first).days
        share = (on - first).days / span if span else 0.5
        return round(LEFT + share * (WIDTH - LEFT - RIGHT))

    def y(weight_g: Decimal) -> int:
        share = float((weight_g - lines[0]) / (lines[-1] - lines[0]))
        return round(BOTTOM - share * (BOTTOM - TOP))

    points = tuple(Point(x(on), y(weight_g), on, weight_g) for on, weight_g in weighings)
    return WeightChart(points, tuple(Tick(y(value), value) for value in lines), tuple(Tick(y(value), value) for value in calls))


def scale(lowest: Decimal, highest: Decimal) -> list[Decimal]:
    """Two to six round values, evenly apart, from at or below `lowest` to at or above `highest`."""
    step = _round_step((highest - lowest) or highest / 10)
    start, end = math.floor(lowest / step), math.ceil(highest / step)
    if start == end:
        end += 1
    return [step * number for number in range(start, end + 1)]


def _round_step(span: Decimal) -> Decimal:
    """1, 2 or 5 times a power of ten, so that at most five steps cover the span."""
    rough = span / (MOST_LINES - 1)
    power = Decimal(10) ** rough.adjusted()
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
