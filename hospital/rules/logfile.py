"""The file of a logger: which rows can be read, and why the others cannot. Degrees Celsius, percent of humidity; moments aware.

Date as year-month-day or day.month.year: with slashes nobody knows which is the month. Separators comma, semicolon, tab.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple
from zoneinfo import ZoneInfo

MOST_ROWS = 20_000
# Colder and warmer no incubator runs and no egg lives: a slip, or degrees Fahrenheit (80 °F is 27 °C). Ours; common practice, no source.
COLDEST_C, WARMEST_C = Decimal(5), Decimal(45)
HOTTEST_AS_F = Decimal(113)  # 45 °C


class Fault(StrEnum):
    """Why a row, or the whole file, was not taken."""

    NO_MOMENT = "no_moment"
    SLASHES = "slashes"
    SKIPPED_HOUR = "skipped_hour"
    DOUBLE_HOUR = "double_hour"
    FUTURE = "future"
    NO_NUMBER = "no_number"
    FAHRENHEIT = "fahrenheit"
    OUT_OF_RANGE = "out_of_range"
    NO_HUMIDITY = "no_humidity"
    HUMIDITY_RANGE = "humidity_range"
    COLUMNS = "columns"
    TWICE = "twice"
    TOO_MANY = "too_many"


class Row(NamedTuple):
    """One reading. `humidity_percent` None: the file has no such column, or left it empty."""

    at: datetime
    temperature_c: Decimal
    humidity_percent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Read:
    """Rows that can be taken, in the order of the file, and (line, fault, text) of those that cannot."""

    rows: tuple[Row, ...]
    refused: tuple[tuple[int, Fault, str], ...]


@dataclass(frozen=True, slots=True)
class _Columns:
    count: int
    moment: tuple[int, ...]  # one column, or date and time
    temperature: int
    humidity: int | None = None


def read_log(text: str, zone: str, now: datetime) -> Read:
    """Every row of a logger's file. Clock times without an offset are those of `zone`."""
    lines = [(number, line) for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1) if line.strip(" \t;,")]
    if not lines:
        return Read((), ())
    mark = max(";\t,", key=lambda each: (lines[0][1].count(each), each == ";"))
    cells = [(number, next(csv.reader([line], delimiter=mark)), line) for number, line in lines]
    columns = _Columns(2, (0,), 1)
    if not any(character.isdigit() for character in cells[0][1][0]):
        header = [cell.strip().casefold() for cell in cells[0][1]]
        if any(re.search(r"°\s*f\b|\(f\)|fahrenheit", cell) for cell in header):
            return Read((), ((cells[0][0], Fault.FAHRENHEIT, cells[0][2]),))
        named = _columns(header)
        if named is None:
            return Read((), ((cells[0][0], Fault.COLUMNS, cells[0][2]),))
        columns, cells = named, cells[1:]
    if len(cells) > MOST_ROWS:
        return Read((), ((cells[MOST_ROWS][0], Fault.TOO_MANY, ""),))
    rows: dict[datetime, Row] = {}
    refused = []
    for number, row, line in cells:
        found = _row(row, columns, ZoneInfo(zone), now)
        if isinstance(found, Fault):
            refused.append((number, found, line[:80]))
        elif found.at in rows:
            refused.append((number, Fault.TWICE, line[:80]))
        else:
            rows[found.at] = found
    return Read(tuple(rows.values()), tuple(refused))


def _columns(header: Sequence[str]) -> _Columns | None:
    """Which columns hold day, time, temperature and humidity, by their names."""
    humidity = next((i for i, cell in enumerate(header) if re.match(r"(relative )?humidity|rh\b", cell)), None)
    temperature = next((i for i, cell in enumerate(header) if cell.startswith("temp")), None)
    both = [i for i, cell in enumerate(header) if "date" in cell and "time" in cell]
    days = [i for i, cell in enumerate(header) if "date" in cell]
    times = [i for i, cell in enumerate(header) if cell.startswith("time")]
    moment = both[:1] or [*days[:1], *times[:1]]
    return _Columns(len(header), tuple(moment), temperature, humidity) if temperature is not None and moment else None


def _row(row: Sequence[str], columns: _Columns, zone: ZoneInfo, now: datetime) -> Row | Fault:
    cells = [cell.strip() for cell in row]
    while len(cells) > columns.count and not cells[-1]:
        cells.pop()
    if len(cells) != columns.count:
        return Fault.COLUMNS
    at = _moment(" ".join(cells[i] for i in columns.moment), zone)
    if isinstance(at, Fault):
        return at
    if at > now:
        return Fault.FUTURE
    temperature_c = _celsius(cells[columns.temperature])
    if isinstance(temperature_c, Fault):
        return temperature_c
    humidity = _percent(cells[columns.humidity]) if columns.humidity is not None else None
    return humidity if isinstance(humidity, Fault) else Row(at, temperature_c, humidity)


def _moment(text: str, zone: ZoneInfo) -> datetime | Fault:
    if "/" in text:
        return Fault.SLASHES
    if found := re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{4})[ T]+(.+)", text):
        day, month, year, clock = found.groups()
        text = f"{year}-{int(month):02}-{int(day):02} {clock}"
    if not re.match(r"\d{4}-\d{2}-\d{2}[ T]+\d{2}:\d{2}", text):
        return Fault.NO_MOMENT
    try:
        at = datetime.fromisoformat(re.sub(r"[ T]+", "T", text, count=1))
    except ValueError:
        return Fault.NO_MOMENT
    if at.tzinfo:
        return at.astimezone(UTC)
    first, second = (at.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        back = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
        return Fault.DOUBLE_HOUR if back == at else Fault.SKIPPED_HOUR
    return first.astimezone(UTC)


def _celsius(text: str) -> Decimal | Fault:
    if re.search(r"[fF]$", text):
        return Fault.FAHRENHEIT
    degrees = _number(re.sub(r"\s*°?\s*[cC]?$", "", text))
    if degrees is None:
        return Fault.NO_NUMBER
    if WARMEST_C < degrees <= HOTTEST_AS_F:
        return Fault.FAHRENHEIT
    return round(degrees, 2) if COLDEST_C <= degrees <= WARMEST_C else Fault.OUT_OF_RANGE


def _percent(text: str) -> Decimal | Fault | None:
    """Relative humidity; an empty cell says nothing."""
    if not text:
        return None
    percent = _number(re.sub(r"\s*%?\s*(rh)?$", "", text, flags=re.IGNORECASE))
    if percent is None:
        return Fault.NO_HUMIDITY
    return round(percent, 1) if 0 <= percent <= 100 else Fault.HUMIDITY_RANGE


def _number(text: str) -> Decimal | None:
    plain = text.replace(",", ".")
    return Decimal(plain) if re.fullmatch(r"[+-]?\d{1,9}(\.\d{1,15})?", plain) else None
