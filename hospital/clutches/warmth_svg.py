"""The charts of a clutch: its temperature since laying, the days on which it may hatch, its humidity, each in 640 by 240 units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from hospital.clutches.models import Incubator
from hospital.rules.incubation import LONGEST_BRIDGE, Forecast, Piece

LEFT, RIGHT, TOP, BOTTOM = 76, 620, 18, 200
MOST_POINTS = 600  # of a line; a log of months has more readings than a screen has columns


@dataclass(frozen=True, slots=True)
class WarmthChart:
    """Lines of readings and of what is assumed as points of SVG, °C of the grid, and the band of the hatch."""

    read: tuple[str, ...]
    assumed: tuple[str, ...]
    lines: tuple[tuple[int, int], ...]  # (y, °C)
    now_x: int
    band: tuple[int, int] | None  # x and width
    starts: datetime
    ends: datetime
    lowest_c: Fraction
    highest_c: Fraction


def warmth_chart(pieces: Sequence[Piece], now: datetime, forecast: Forecast | None) -> WarmthChart | None:
    """The drawing; None before anything is known of the temperature."""
    if not pieces or pieces[0].starts >= now:
        return None
    starts = pieces[0].starts
    hatch = (forecast.earliest, forecast.latest or forecast.earliest) if forecast else (now, now)
    ends = max(now, hatch[1])
    degrees = [each for piece in pieces for each in (piece.from_c, piece.to_c)]
    bottom, top = int(min(degrees)) - 1, int(max(degrees)) + 2
    step = max(1, (top - bottom + 4) // 5)

    def x(at: datetime) -> int:
        return round(LEFT + (at - starts) / (ends - starts) * (RIGHT - LEFT))

    def y(temperature_c: Fraction | int) -> int:
        return round(BOTTOM - float(temperature_c - bottom) / (top - bottom) * (BOTTOM - TOP))

    band = (x(hatch[0]), max(4, x(hatch[1]) - x(hatch[0]))) if forecast else None
    return WarmthChart(
        *(tuple(_lines(pieces, x, y, is_assumed)) for is_assumed in (False, True)),
        tuple((y(each), each) for each in range(bottom, top + 1, step)), x(now), band, starts, ends, min(degrees), max(degrees),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class HumidityChart:
    """What was read of the humidity as lines of SVG, percent of the grid, the alarms and what the incubator is set to."""

    read: tuple[str, ...]
    lines: tuple[tuple[int, int], ...]  # (y, percent)
    alarms: tuple[int, ...]
    target_y: int | None
    starts: datetime
    ends: datetime
    lowest: Decimal
    highest: Decimal


def humidity_chart(readings: Sequence[tuple[datetime, Decimal]], now: datetime, incubator: Incubator) -> HumidityChart | None:
    """The drawing, from the first reading of the humidity until now; None before there are two. No line crosses a gap of the log."""
    if len(readings) < 2:
        return None
    starts, values = readings[0][0], [percent for _at, percent in readings]
    runs = [[readings[0]]]
    for before, after in pairwise(readings):
        if after[0] - before[0] > LONGEST_BRIDGE:
            runs.append([])
        runs[-1].append(after)

    def y(percent: Decimal | int) -> int:
        return round(BOTTOM - float(percent) / 100 * (BOTTOM - TOP))

    def point(at: datetime, percent: Decimal) -> str:
        return f"{round(LEFT + (at - starts) / (now - starts) * (RIGHT - LEFT))},{y(percent)}"

    alarms = (incubator.alarm_low_humidity_percent, incubator.alarm_high_humidity_percent)
    target = incubator.target_humidity_percent
    return HumidityChart(
        tuple(" ".join(point(*each) for each in run) for run in runs), tuple((y(each), each) for each in range(0, 101, 25)),
        tuple(y(each) for each in alarms if each is not None), None if target is None else y(target), starts, now, min(values), max(values),
    )  # fmt: skip


def _lines(pieces: Sequence[Piece], x, y, is_assumed: bool) -> list[str]:
    """Polylines of pieces that follow one another. A line is broken where nobody read the temperature."""
    runs: list[list[Piece]] = []
    for piece in pieces:
        if piece.is_assumed != is_assumed:
            continue
        if runs and runs[-1][-1].ends == piece.starts:
            runs[-1].append(piece)
        else:
            runs.append([piece])
    every = max(1, len(pieces) // MOST_POINTS)
    drawn = [[(run[0].starts, run[0].from_c), *((each.ends, each.to_c) for each in _thinned(run, every))] for run in runs]
    return [" ".join(f"{x(at)},{y(temperature_c)}" for at, temperature_c in points) for points in drawn]


def _thinned(run: Sequence[Piece], every: int) -> list[Piece]:
    """Every so many-th piece, and the coldest and warmest of them all: a dip is never thinned away."""
    kept = {*range(0, len(run), every), len(run) - 1}
    kept |= {min(range(len(run)), key=lambda i: run[i].to_c), max(range(len(run)), key=lambda i: run[i].to_c)}
    return [run[i] for i in sorted(kept)]
