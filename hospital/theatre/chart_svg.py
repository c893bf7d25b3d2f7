"""The anaesthetic chart: where each reading lies in a drawing 860 units wide, a strip for each figure. Nothing is drawn here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

WIDTH, LEFT, RIGHT, TOP, STRIP, ROOM = 860, 190, 70, 34, 62, 18
SIGNS = ("dot", "cross", "square", "plus", "triangle", "diamond", "ring")  # told apart without colour
SHAPES = {
    "dot": "M-4 0a4 4 0 1 0 8 0a4 4 0 1 0 -8 0z",
    "cross": "M-4 -4L4 4M-4 4L4 -4",
    "square": "M-4 -4h8v8h-8z",
    "plus": "M-5 0h10M0 -5v10",
    "triangle": "M0 -5L5 4h-10z",
    "diamond": "M0 -6L5 0L0 6L-5 0z",
    "ring": "M-5 0a5 5 0 1 0 10 0a5 5 0 1 0 -10 0zM-1 0h2",
}


@dataclass(frozen=True, slots=True)
class Point:
    x: float
    y: float
    value: Decimal


@dataclass(frozen=True, slots=True)
class Strip:
    """One figure over time. `runs` are drawn as lines: a mark without a reading breaks the line."""

    name: str
    shape: str
    top: int
    middle: float
    bottom: int
    low: Decimal
    high: Decimal
    points: tuple[Point, ...]
    runs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Event:
    """A moment across all strips: its letter stands over the line."""

    x: float
    letter: str


@dataclass(frozen=True, slots=True)
class Chart:
    height: int
    bottom: int
    strips: tuple[Strip, ...]
    ticks: tuple[tuple[float, datetime], ...]
    events: tuple[Event, ...]
    width: int = WIDTH
    left: int = LEFT
    right: int = WIDTH - RIGHT


Series = Sequence[tuple[datetime, Decimal | int | None]]


def anaesthetic_chart(named: Sequence[tuple[str, Series]], moments: Sequence[tuple[str, datetime | None]]) -> Chart | None:
    """The strips of every figure that was read at least once; None when nothing was. `moments`: letter and when."""
    pairs = list(zip(named, SIGNS, strict=False))
    signed = [(name, [(at, value) for at, value in series if value is not None], sign) for (name, series), sign in pairs]
    read = [each for each in signed if each[1]]
    if not read:
        return None
    happened = [(letter, at) for letter, at in moments if at]
    times = [at for _, series, _ in read for at, _ in series] + [at for _, at in happened]
    first, last = min(times), max(max(times), min(times) + timedelta(minutes=30))

    def x(at: datetime) -> float:
        return round(LEFT + (at - first) / (last - first) * (WIDTH - LEFT - RIGHT), 1)

    strips = tuple(_strip(name, SHAPES[sign], series, TOP + n * (STRIP + ROOM), x) for n, (name, series, sign) in enumerate(read))
    bottom = strips[-1].bottom
    ticks, events = ((x(at), at) for at in _ticks(first, last)), (Event(x(at), letter) for letter, at in happened)
    return Chart(bottom + 34, bottom, strips, tuple(ticks), tuple(events))


def _strip(name: str, shape: str, series: Series, top: int, x) -> Strip:
    values = [Decimal(value) for _, value in series]
    low, high = min(values), max(values)
    spread = high - low or Decimal(1)  # a figure that never moves lies in the middle of its strip
    base = low if high > low else low - spread / 2
    points = tuple(Point(x(at), round(top + STRIP - float((Decimal(v) - base) / spread) * STRIP, 1), Decimal(v)) for at, v in series)
    return Strip(name, shape, top, top + STRIP / 2, top + STRIP, low, high, points, _runs(series, points))


def _runs(series: Series, points: Sequence[Point]) -> tuple[str, ...]:
    runs: list[list[Point]] = [[points[0]]]
    for (before, _), (at, _), point in zip(series, series[1:], points[1:], strict=False):
        if at - before > timedelta(minutes=5):
            runs.append([])
        runs[-1].append(point)
    return tuple(" ".join(f"{each.x},{each.y}" for each in run) for run in runs if len(run) > 1)


def _ticks(first: datetime, last: datetime) -> list[datetime]:
    """Quarters of an hour, or hours when there are many."""
    step = 15 if last - first <= timedelta(hours=2, minutes=30) else 60
    at = first.replace(minute=first.minute - first.minute % step, second=0, microsecond=0)
    ticks = []
    while (at := at + timedelta(minutes=step)) <= last:
        ticks.append(at)
    return ticks
