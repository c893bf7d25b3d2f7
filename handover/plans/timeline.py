"""Where everything of a plan lies on its picture: whole numbers for an SVG, nothing drawn here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from handover.schedule.changes import is_shut
from handover.schedule.problem import CARER, CLINIC, Closed

WIDTH, LABELS, MARGIN = 960, 372, 14
TOP, ROW = 34, 30
LONGEST_LABEL = 45
MOST_DAYS_BACK = 21


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch of days: whole pixels from `x`, `width` wide."""

    x: int
    width: int
    title: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One event of the picture. `state` is coming, late, pinned or done."""

    label: str
    short: str
    y: int
    text_y: int
    bar_y: int
    on_x: int
    state: str
    on: date
    window: Bar | None
    season: Bar | None


@dataclass(frozen=True, slots=True)
class Mark:
    """A line across the picture, with its text where there is room for it."""

    x: int
    day: date
    has_text: bool = True


@dataclass(frozen=True, slots=True)
class Timeline:
    width: int
    height: int
    top: int
    body: int
    lines: tuple[Line, ...]
    months: tuple[Mark, ...]
    closed: tuple[Bar, ...]
    visits: tuple[Mark, ...]
    today: Mark
    labels_end: int


@dataclass(frozen=True, slots=True)
class Entry:
    """What the picture needs to know of one event."""

    label: str
    on: date
    state: str
    opens: date | None = None
    closes: date | None = None
    season: tuple[date, date] | None = None


def timeline(entries: Sequence[Entry], visits: Sequence[date], today: date, closed: Mapping[str, Closed]) -> Timeline:
    """Lay out the events, in their order, from a little before today to a little after the last one."""
    first = max(min([today, *(entry.on for entry in entries)]), today - timedelta(MOST_DAYS_BACK)) - timedelta(1)
    last = max([today + timedelta(14), *(entry.on for entry in entries)]) + timedelta(5)
    scale = _Scale(first, last)
    height = TOP + ROW * len(entries) + MARGIN
    return Timeline(
        width=WIDTH,
        height=height,
        top=TOP,
        body=height - TOP,
        lines=tuple(_line(scale, entry, number) for number, entry in enumerate(entries)),
        months=tuple(_months(scale)),
        closed=tuple(_closed(scale, closed)),
        visits=tuple(Mark(scale.middle(day), day) for day in visits),
        today=Mark(scale.middle(today), today),
        labels_end=LABELS,
    )


class _Scale:
    """Days → pixels."""

    def __init__(self, first: date, last: date) -> None:
        self.first, self.last = first, last
        self.days = (last - first).days + 1

    def left(self, day: date) -> int:
        room = WIDTH - LABELS - MARGIN
        return LABELS + round(room * min(max((day - self.first).days, 0), self.days) / self.days)

    def middle(self, day: date) -> int:
        return (self.left(day) + self.left(day + timedelta(1))) // 2

    def bar(self, opens: date, closes: date, title: str = "") -> Bar | None:
        if closes < self.first or opens > self.last:
            return None
        x = self.left(opens)
        return Bar(x, max(3, self.left(closes + timedelta(1)) - x), title)

    def each_day(self) -> Iterator[date]:
        return (self.first + timedelta(n) for n in range(self.days))


def _line(scale: _Scale, entry: Entry, number: int) -> Line:
    y = TOP + ROW * number
    has_window = entry.state != "done" and entry.opens and entry.closes
    return Line(
        label=entry.label,
        short=shortened(entry.label, LONGEST_LABEL),
        y=y + ROW // 2,
        text_y=y + ROW // 2 + 5,
        bar_y=y + 7,
        on_x=scale.middle(entry.on),
        state=entry.state,
        on=entry.on,
        window=scale.bar(entry.opens, entry.closes) if has_window and entry.opens and entry.closes else None,
        season=scale.bar(*entry.season) if entry.season else None,
    )


def shortened(label: str, longest: int) -> str:
    """As much of a label as there is room for; the number at its end, which tells links of a chain apart, is kept."""
    if len(label) <= longest:
        return label
    start, bracket, number = label.rpartition(" (")
    tail = f" ({number}" if bracket and len(number) < 12 else ""
    return f"{(start if tail else label)[: longest - 1 - len(tail)].rstrip()}…{tail}"


def _months(scale: _Scale) -> Iterator[Mark]:
    """The first of each month; no text where it would run over the one before or the edge."""
    last_text = -100
    for day in scale.each_day():
        if day.day != 1 and day != scale.first:
            continue
        x = scale.left(day)
        has_text = x - last_text >= 48 and WIDTH - x >= 48 and (day.day == 1 or day.day <= 20)
        last_text = x if has_text else last_text
        yield Mark(x, day, has_text)


def _closed(scale: _Scale, closed: Mapping[str, Closed]) -> Iterator[Bar]:
    bars = (scale.bar(first, last) for first, last in closed_runs(scale.each_day(), closed))
    return (bar for bar in bars if bar)


def closed_runs(days: Iterable[date], closed: Mapping[str, Closed]) -> Iterator[tuple[date, date]]:
    """Runs of days on which the clinic is closed or the carer away: first and last day of each."""
    calendars = [closed[name] for name in (CLINIC, CARER) if name in closed]
    run: list[date] = []
    for day in days:
        if any(is_shut(calendar, day) for calendar in calendars):
            run.append(day)
        elif run:
            yield run[0], run[-1]
            run = []
    if run:
        yield run[0], run[-1]
