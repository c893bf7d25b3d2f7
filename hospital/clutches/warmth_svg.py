"""The chart of a clutch: its temperature since laying, and the days on which it may hatch, in 640 by 240 units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from hospital.rules.incubation import Forecast, Piece

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
