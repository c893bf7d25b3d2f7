"""A pack's contents laid out by day, week and month for its pages: what the templates walk through."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from handover.packs.charts import LINES_A_SHEET, LoggedDay, code_for, life_size, log_sheets, syringe_picture, water_picture
from handover.packs.contents import Appointment, Contents, Dose, Medicine, Task, WaterDay
from handover.plans.news import change_in_words
from hospital.words import dated

DAYS_IN_DETAIL = 14
MOST_WEEKS = 11  # rows of the calendar on one sheet
FEW_WEEKS, FEW_DAYS = 7, 3  # a calendar and a list after it that leave room for higher squares
WIDE_SPACE = "\u00a0\u00a0 "  # between times that a pen rings
AT_A_GLANCE = 4  # days on the cover


@dataclass(frozen=True, slots=True)
class Stamp:
    """What tells one printing from another. `url` is the address behind the code; `typed` is for those who cannot scan it."""

    version: int
    made_at: datetime
    made_by: str
    url: str
    typed: str = ""
    typed_at: str = ""
    print_size: str = "usual"


@dataclass(frozen=True, slots=True)
class DosesNow:
    """The doses of one medicine on a day: of what, how much each time, when."""

    drug: str
    volume: str
    times: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Day:
    on: date
    water: WaterDay | None
    doses: tuple[DosesNow, ...]
    tasks: tuple[Task, ...]
    visits: tuple[Appointment, ...]
    at_home: tuple[Appointment, ...]


@dataclass(frozen=True, slots=True)
class DayOf:
    """A day with everything that the plan has on it."""

    on: date
    visits: tuple[Appointment, ...]
    at_home: tuple[Appointment, ...]

    @property
    def minutes(self) -> int:
        return sum(each.minutes for each in self.visits)

    @property
    def bring(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(each.bring for each in self.visits if each.bring))


@dataclass(frozen=True, slots=True)
class Cell:
    """A square of the calendar. `is_outside`: of another month, left empty."""

    on: date
    is_outside: bool
    is_past: bool = False
    is_today: bool = False
    is_shut: bool = False
    is_away: bool = False
    has_visit: bool = False
    has_home: bool = False
    water: str = ""


@dataclass(frozen=True, slots=True)
class Month:
    first: date
    weeks: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class DosePage:
    """A medicine with its picture, and its coming doses by day."""

    medicine: Medicine
    picture: Any
    life_size: Any
    days: tuple[tuple[date, tuple[Dose, ...]], ...]
    later: int
    given: int


def context_of(contents: Contents, stamp: Stamp) -> dict[str, Any]:
    """Everything that templates/packs/_pack.html needs."""
    days = [_day(contents, contents.made_on + timedelta(n)) for n in range(DAYS_IN_DETAIL)]
    coming = days_of(each for each in contents.appointments if each.on >= contents.made_on)
    overdue = [each for each in contents.appointments if each.on < contents.made_on]
    later, months = [day for day in coming if day.on >= contents.made_on + timedelta(DAYS_IN_DETAIL)], months_of(contents)
    topics = {topic.slug: topic for topic in contents.advice}
    return {
        "pack": contents,
        "stamp": stamp,
        "code": code_for(stamp.url),
        "glance": coming[: max(1, AT_A_GLANCE - len(overdue))],
        "overdue": overdue,
        "days": days,
        "daily": [task for task in contents.tasks if task.every_days == 1],
        "now_and_then": [task for task in contents.tasks if task.every_days > 1],
        "later": later,
        "months": months,
        "is_roomy": sum(len(month.weeks) for month in months) <= FEW_WEEKS and len(later) <= FEW_DAYS,
        "water": water_picture(contents.water) if contents.water else None,
        "doses": [dose_page(each, contents.made_on) for each in contents.medicines],
        "topics": topics,
        "asides": [topics[slug] for slug in ("hygiene", "zoonosis", "handling") if slug in topics],
        "home": [topics[slug] for slug in ("housing", "feeding_basics") if slug in topics],
        "handling_cautions": [kind for kind in contents.cautions if kind in ("bat", "venom", "bite", "lifting")],
        "changes": [(each, change_in_words(each.what, each.kind, each.was, each.now)) for each in contents.changes],
        "sheets": log_sheets(
            [_logged(day) for day in days], has_bandage=contents.has_bandage, room=LINES_A_SHEET[stamp.print_size]
        ),
    }


# --- days and weeks -----------------------------------------------------------------------------------------------


def days_of(appointments: Iterable[Appointment]) -> list[DayOf]:
    """The days on which something is planned, in order."""
    found: dict[date, list[Appointment]] = {}
    for each in sorted(appointments, key=lambda each: (each.on, not each.at_clinic, each.what)):
        found.setdefault(each.on, []).append(each)
    return [_day_of(on, each) for on, each in found.items()]


def _day_of(on: date, found: Sequence[Appointment]) -> DayOf:
    return DayOf(on, tuple(e for e in found if e.at_clinic), tuple(e for e in found if not e.at_clinic))


def _day(contents: Contents, on: date) -> Day:
    planned = _day_of(on, [each for each in contents.appointments if each.on == on])
    water = next((day for day in contents.water.days if day.on == on), None) if contents.water else None
    return Day(
        on=on,
        water=water,
        doses=tuple(_doses_on(contents.medicines, on)),
        tasks=tuple(task for task in contents.tasks if task.every_days > 1 and task.is_due(on)),
        visits=planned.visits,
        at_home=planned.at_home,
    )


def _doses_on(medicines: Iterable[Medicine], on: date) -> Iterator[DosesNow]:
    for medicine in medicines:
        times = tuple(dose.at for dose in medicine.doses if dose.on == on)
        if times:
            yield DosesNow(medicine.drug, medicine.volume, times)


# --- months -------------------------------------------------------------------------------------------------------


def months_of(contents: Contents) -> list[Month]:
    """From this week on, month by month, as many as one sheet holds, none after the last planned day."""
    last = max([contents.made_on + timedelta(DAYS_IN_DETAIL), *(each.on for each in contents.appointments)])
    months, first, rows = [], contents.made_on.replace(day=1), 0
    while first <= last:
        month = _month(contents, first)
        rows += len(month.weeks)
        if months and rows > MOST_WEEKS:
            break
        months.append(month)
        first = _next_month(first)
    return months


def _next_month(first: date) -> date:
    return (first + timedelta(31)).replace(day=1)


def _month(contents: Contents, first: date) -> Month:
    """Whole weeks from Monday; weeks that are over are left out."""
    monday, weeks = first - timedelta(first.weekday()), []
    while monday < _next_month(first):
        if monday + timedelta(6) >= contents.made_on:
            weeks.append(tuple(_cell(contents, monday + timedelta(n), first) for n in range(7)))
        monday += timedelta(7)
    return Month(first, tuple(weeks))


def _cell(contents: Contents, on: date, month: date) -> Cell:
    if (on.year, on.month) != (month.year, month.month):
        return Cell(on, is_outside=True)
    return Cell(
        on=on,
        is_outside=False,
        is_past=on < contents.made_on,
        is_today=on == contents.made_on,
        is_shut=on.weekday() in contents.closed_weekdays or on in contents.closed_days,
        is_away=any(away.starts_on <= on <= away.ends_on for away in contents.away),
        has_visit=any(each.on == on and each.at_clinic for each in contents.appointments),
        has_home=any(each.on == on and not each.at_clinic for each in contents.appointments),
        water=_short_water(contents, on),
    )


def _short_water(contents: Contents, on: date) -> str:
    day = next((day for day in contents.water.days if day.on == on), None) if contents.water else None
    if day is None or day.minutes is None:
        return ""
    return _("%(minutes)d min") % {"minutes": day.minutes} if day.minutes else _("dry")


# --- medicines ----------------------------------------------------------------------------------------------------


def dose_page(medicine: Medicine, made_on: date) -> DosePage:
    """The doses of the days in detail, by day; how many come later, how many are over."""
    last = made_on + timedelta(DAYS_IN_DETAIL - 1)
    days: dict[date, list[Dose]] = {}
    for dose in medicine.doses:
        if dose.on <= last:
            days.setdefault(dose.on, []).append(dose)
    return DosePage(
        medicine=medicine,
        picture=syringe_picture(medicine),
        life_size=life_size(medicine),
        days=tuple((on, tuple(doses)) for on, doses in days.items()),
        later=sum(dose.on > last for dose in medicine.doses),
        given=medicine.count - len(medicine.doses),
    )


# --- paper logs ---------------------------------------------------------------------------------------------------


def _logged(day: Day) -> LoggedDay:
    water = ""
    if day.water:
        water = _("all day") if day.water.minutes is None else _most(day.water.minutes)
    return LoggedDay(
        day=dated(day.on, "l"),
        number=str(day.on.day),
        month=dated(day.on, "F"),
        title=dated(day.on, "j M"),
        water=water,
        doses=tuple(WIDE_SPACE.join((f"{each.drug} {each.volume}", *each.times)) for each in day.doses),
    )


def _most(minutes: int) -> str:
    """What follows the minutes that a hand writes."""
    return _("of %(minutes)d min") % {"minutes": minutes} if minutes else _("none today")
