"""Where everything lies on the picture on which a date is moved: parts of its width, so that it fits any screen.

Each event has a row of its own, its words above its bar, high enough for a finger.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from handover.plans.timeline import MOST_DAYS_BACK, closed_runs, shortened
from handover.schedule.problem import Closed

TOP, ROW, BAR_Y, BAR = 30, 64, 28, 22  # pixels; a row leaves 44 for the target about its dot
EDGE = 4  # percent left free on either side
SHORT_LABEL = 30
LEAST_BETWEEN_MONTHS = 16  # percent: room for "30 Sep" on a phone


@dataclass(frozen=True, slots=True)
class Stretch:
    x: str
    width: str


@dataclass(frozen=True, slots=True)
class At:
    x: str
    day: date


@dataclass(frozen=True, slots=True)
class Track:
    """One event. `home`: its day in today's plan, None if it is new; `state`: coming, late, pinned or collides."""

    event_id: str
    label: str
    short: str
    y: int
    text_y: int
    bar_y: int
    middle: int
    on: date
    on_x: str
    state: str
    home: date | None = None
    home_x: str = ""
    window: Stretch | None = None

    @property
    def has_moved(self) -> bool:
        return self.home is not None and self.home != self.on


@dataclass(frozen=True, slots=True)
class Slider:
    """`first`: the day at the left; `days`: how many there are; `edge`: percent of the width before the first one."""

    height: int
    top: int
    body: int
    first: date
    days: int
    edge: int
    tracks: tuple[Track, ...]
    months: tuple[At, ...]
    closed: tuple[Stretch, ...]
    today: At
    bar: int = BAR


@dataclass(frozen=True, slots=True)
class Thing:
    """What the picture needs to know of one event."""

    event_id: str
    label: str
    on: date
    state: str
    home: date | None = None
    opens: date | None = None
    closes: date | None = None


def slider(things: Sequence[Thing], today: date, closed: Mapping[str, Closed]) -> Slider:
    """Lay out the events in their order, from a little before today to some weeks after the last day."""
    days = [day for thing in things for day in (thing.on, thing.home) if day]
    first = max(min([today, *days]), today - timedelta(MOST_DAYS_BACK)) - timedelta(1)
    last = max([today + timedelta(14), *days]) + timedelta(14)
    scale = _Scale(first, (last - first).days + 1)
    body = ROW * len(things) + 8
    return Slider(
        height=TOP + body,
        top=TOP,
        body=body,
        first=first,
        days=scale.days,
        edge=EDGE,
        tracks=tuple(_track(scale, thing, number) for number, thing in enumerate(things)),
        months=tuple(_months(scale)),
        closed=tuple(scale.stretch(*run) for run in closed_runs(scale.each_day(), closed)),
        today=At(scale.middle(today), today),
    )


class _Scale:
    """Days → percent of the width, as text that needs no locale."""

    def __init__(self, first: date, days: int) -> None:
        self.first, self.days = first, days

    def part(self, number: float) -> float:
        return EDGE + (100 - 2 * EDGE) * min(max(number, 0), self.days) / self.days

    def middle(self, day: date) -> str:
        return f"{self.part((day - self.first).days + 0.5):.3f}%"

    def stretch(self, opens: date, closes: date) -> Stretch:
        left, right = self.part((opens - self.first).days), self.part((closes - self.first).days + 1)
        return Stretch(f"{left:.3f}%", f"{max(right - left, 0.4):.3f}%")

    def each_day(self) -> list[date]:
        return [self.first + timedelta(n) for n in range(self.days)]


def _track(scale: _Scale, thing: Thing, number: int) -> Track:
    y = TOP + ROW * number
    return Track(
        event_id=thing.event_id,
        label=thing.label,
        short=shortened(thing.label, SHORT_LABEL),
        y=y,
        text_y=y + 20,
        bar_y=y + BAR_Y,
        middle=y + BAR_Y + BAR // 2,
        on=thing.on,
        on_x=scale.middle(thing.on),
        state=thing.state,
        home=thing.home,
        home_x=scale.middle(thing.home) if thing.home else "",
        window=scale.stretch(thing.opens, thing.closes) if thing.opens and thing.closes else None,
    )


def _months(scale: _Scale) -> list[At]:
    """The first of each month for which there is room."""
    marks: list[At] = []
    last = float(-LEAST_BETWEEN_MONTHS)
    for day in scale.each_day():
        part = scale.part((day - scale.first).days)
        if day.day == 1 and part - last >= LEAST_BETWEEN_MONTHS and part <= 100 - LEAST_BETWEEN_MONTHS:
            marks.append(At(f"{part:.3f}%", day))
            last = part
    return marks
