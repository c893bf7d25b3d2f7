"""Reading the cells of an old spreadsheet: blanks, days, numbers. What can be read in two ways is said to be in doubt.

Nothing is guessed from one cell alone: the order of day and month, and what a comma means, are judged from a whole column.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from enum import StrEnum

# What people and programs write for "nothing known". Common practice, no source.
BLANKS = {"", "na", "n/a", "#n/a", "null", "none", "nan", "nil", "-", "--", "–", "?", "unknown date"}
MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan january", "feb february", "mar march", "apr april", "may", "jun june", "jul july", "aug august", "sep sept september",
         "oct october", "nov november", "dec december"), start=1,
    )
    for name in names.split()
}  # fmt: skip
OLDEST_YEAR = 1900


def is_blank(cell: str) -> bool:
    return cell.strip().casefold() in BLANKS


def folded(cell: str) -> str:
    """A cell as it is compared: without outer and double spaces, and without regard to capitals."""
    return " ".join(cell.split()).casefold()


# --- days -----------------------------------------------------------------------------------------------------------


class DayOrder(StrEnum):
    """How a day made of three numbers is written, the year being last."""

    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"


@dataclass(frozen=True, slots=True)
class OrderFound:
    """What a column says about itself: how many of its days only fit one order, and how many fit both."""

    only_day_first: int
    only_month_first: int
    either: int

    @property
    def order(self) -> DayOrder | None:
        """The order that the column proves; None when it proves none, or both."""
        if bool(self.only_day_first) == bool(self.only_month_first):
            return None
        return DayOrder.DAY_FIRST if self.only_day_first else DayOrder.MONTH_FIRST

    @property
    def is_in_doubt(self) -> bool:
        """A person must say: days that fit both orders and nothing that settles it, or proofs of both."""
        return self.order is None and bool(self.either or self.only_day_first)


_TIME = re.compile(r"[T\s]+(\d{1,2})[:.](\d{2})(?::(\d{2})(?:\.\d+)?)?\s*([ap]\.?m\.?)?$", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{4})(\d{2})(\d{2})")
_THREE = re.compile(r"(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4}|\d{2})")
_DAY_NAME = r"(?:[a-z]{3,9},?\s+)?"
_NAMED = re.compile(
    _DAY_NAME + r"(?:(\d{1,2})(?:st|nd|rd|th)?[-/. ]*([a-z]{3,9})|([a-z]{3,9})[-/. ]*(\d{1,2})(?:st|nd|rd|th)?),?[-/. ]+(\d{4}|\d{2})"
)


def order_of(cells: Iterable[str]) -> OrderFound:
    """What a column of days says about the order of day and month."""
    counts = {"day": 0, "month": 0, "either": 0}
    for cell in cells:
        three = _THREE.fullmatch(_without_time(cell)[0])
        first, second = (int(three[1]), int(three[2])) if three else (0, 0)
        if not three or first == second:
            continue
        fits_day, fits_month = first <= 31 and second <= 12, first <= 12 and second <= 31
        if fits_day and fits_month:
            counts["either"] += 1
        elif fits_day or fits_month:
            counts["day" if fits_day else "month"] += 1
    return OrderFound(counts["day"], counts["month"], counts["either"])


def read_day(cell: str, order: DayOrder | None, *, latest: date) -> tuple[date, time | None]:
    """The day of a cell, and its time of day where one is written. Years of two digits are the last that are not after `latest`.

    Raises ValueError with a sentence.
    """
    text, at = _without_time(cell)
    year, month, day = _parts(text, order, latest)
    try:
        on = date(year, month, day)
    except ValueError:
        raise ValueError(f"“{cell}” is no day of the calendar.") from None
    if year < OLDEST_YEAR:
        raise ValueError(f"“{cell}” lies before {OLDEST_YEAR}.")
    return on, at


def _parts(text: str, order: DayOrder | None, latest: date) -> tuple[int, int, int]:
    if found := _YEAR_FIRST.fullmatch(text):
        year, month, day = (int(part) for part in found.groups() if part)
        return year, month, day
    if found := _THREE.fullmatch(text):
        first, second, year = int(found[1]), int(found[2]), _year(found[3], latest)
        if order is None and first != second:
            raise ValueError(f"“{text}” may be read in two ways: say whether the day or the month comes first.")
        return (year, first, second) if order is DayOrder.MONTH_FIRST else (year, second, first)
    if (found := _NAMED.fullmatch(text.casefold())) and (month_found := MONTHS.get(found[2] or found[3])):
        return _year(found[5], latest), month_found, int(found[1] or found[4])
    raise ValueError(f"“{text}” is not a day that can be read.")


def _year(text: str, latest: date) -> int:
    if len(text) == 4:
        return int(text)
    year = latest.year - latest.year % 100 + int(text)
    return year if year <= latest.year else year - 100


def _without_time(cell: str) -> tuple[str, time | None]:
    text = " ".join(cell.split())
    found = _TIME.search(text)
    if not found:
        return text, None
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    half = (found[4] or "").replace(".", "").casefold()
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half == "pm" else 0)
    try:
        return text[: found.start()].strip(), time(hour, minute, second)
    except ValueError:
        return text, None


# --- numbers --------------------------------------------------------------------------------------------------------


class Comma(StrEnum):
    """What a comma means in the numbers of a column."""

    POINT = "decimal"
    THOUSANDS = "thousands"


_NUMBER = re.compile(r"[+-]?\d[\d.,' \u00a0]*")


@dataclass(frozen=True, slots=True)
class CommaFound:
    """Numbers with a comma that can only be a decimal one, only thousands, or either (1,234)."""

    only_decimal: int
    only_thousands: int
    either: int

    @property
    def meaning(self) -> Comma | None:
        if bool(self.only_decimal) == bool(self.only_thousands):
            return None
        return Comma.POINT if self.only_decimal else Comma.THOUSANDS

    @property
    def is_in_doubt(self) -> bool:
        return self.meaning is None and bool(self.either or self.only_decimal)


def comma_of(cells: Iterable[str]) -> CommaFound:
    """What the commas of a column of numbers can mean."""
    counts = {"decimal": 0, "thousands": 0, "either": 0}
    for cell in cells:
        text = cell.strip()
        if "," not in text or not _NUMBER.fullmatch(text):
            continue
        if "." in text:
            kind = "thousands" if text.rindex(",") < text.rindex(".") else "decimal"
        elif text.count(",") > 1:
            kind = "thousands"
        else:
            kind = "either" if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text) else "decimal"
        counts[kind] += 1
    return CommaFound(counts["decimal"], counts["thousands"], counts["either"])


def read_number(cell: str, comma: Comma | None) -> Decimal:
    """The number of a cell; ValueError with a sentence when it is none, or can be read in two ways."""
    text = re.sub(r"[ \u00a0']", "", cell)
    if not re.fullmatch(r"[+-]?[\d.,]*\d[\d.,]*", text):
        raise ValueError(f"“{cell}” is not a number.")
    if "," in text and comma is None:
        raise ValueError(f"“{cell}” may be read in two ways: say what the comma means.")
    plain = text.replace(".", "").replace(",", ".") if comma is Comma.POINT and "," in text else text.replace(",", "")
    try:
        return Decimal(plain)
    except InvalidOperation:
        raise ValueError(f"“{cell}” is not a number.") from None


# NIST Special Publication 811, appendix B.8: both exact.
GRAMS = {"g": Decimal(1), "kg": Decimal(1000), "lb": Decimal("453.59237"), "oz": Decimal("28.349523125")}


def grams(amount: Decimal, unit: str) -> Decimal:
    """A weight in grams, to a tenth."""
    return (amount * GRAMS[unit]).quantize(Decimal("0.1"))


def moment_in(on: date, at: time | None) -> datetime:
    """The day with its time; noon stands for a time that was not written."""
    return datetime.combine(on, at or time(12))
