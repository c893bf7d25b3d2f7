"""Where things lie in two drawings: a share with its interval, and the curves of time in care. Nothing is drawn here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hospital.rules.statistics import Step
from hospital.statistics.tables import AWAY, DIED, RELEASED

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 860, 380, 60, 190, 16, 48
CURVES = ((RELEASED, "series"), (DIED, "series third"), (AWAY, "series second"))


@dataclass(frozen=True, slots=True)
class Line:
    fate: str
    look: str
    points: str
    end_y: float
    percent: float


@dataclass(frozen=True, slots=True)
class Curves:
    """Curves from 0 to the last day on which a case ended; ticks are (x, day) and (y, percent)."""

    lines: tuple[Line, ...]
    days: tuple[tuple[float, int], ...]
    percents: tuple[tuple[float, int], ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    bottom: int = HEIGHT - BOTTOM


def curves(steps: Sequence[Step]) -> Curves | None:
    """None when nothing has ended yet."""
    if not steps:
        return None
    last = max(steps[-1].day, 7)

    def x(day: float) -> float:
        return round(LEFT + day / last * (WIDTH - LEFT - RIGHT), 1)

    def y(value: float) -> float:
        return round(HEIGHT - BOTTOM - value * (HEIGHT - BOTTOM - TOP), 1)

    lines = []
    for fate, look in CURVES:
        values = [(step.day, step.ended[fate].value) for step in steps if fate in step.ended]
        if values and values[-1][1] > 0:
            path, before = [f"{x(0)},{y(0)}"], 0.0
            for day, value in values:
                path += [f"{x(day)},{y(before)}", f"{x(day)},{y(value)}"]
                before = value
            path.append(f"{x(last)},{y(before)}")
            lines.append(Line(fate, look, " ".join(path), y(before), 100 * before))
    ticks = tuple((x(day), day) for day in range(0, last + 1, _spacing(last)))
    return Curves(_apart(lines), ticks, tuple((y(n / 100), n) for n in range(0, 101, 25)))


def _spacing(last: int) -> int:
    """Whole weeks, at most twelve of them; of long times months of 30 days or quarters."""
    return next(step for step in (1, 7, 14, 28, 30, 60, 90, 180, 365, last) if last / step <= 12)


def _apart(lines: Sequence[Line], room: float = 20) -> tuple[Line, ...]:
    """The words at the ends of the curves moved up until none lies on another, from the lowest curve."""
    placed: list[Line] = []
    for line in sorted(lines, key=lambda line: -line.end_y):
        end_y = min(line.end_y, placed[-1].end_y - room) if placed else line.end_y
        placed.append(Line(line.fate, line.look, line.points, end_y, line.percent))
    return tuple(placed)
