"""What stands in the columns of a table: how many cells, how many blanks, from where to where. For a program that compares."""

from __future__ import annotations

from typing import Any

from hospital.imports.check import Reading
from hospital.imports.columns import DAYS, KEEP, LEAVE_OUT, NUMBERS, WORDS
from hospital.imports.files import Table
from hospital.rules.cells import Comma, DayOrder, folded, is_blank, read_day, read_number


def profile(table: Table, reading: Reading) -> dict[str, Any]:
    """Field → given, blank, distinct, and from the least to the most where it is a day or a number."""
    meant = [(place, name) for place, name in enumerate(reading.columns) if name not in (KEEP, LEAVE_OUT)]
    return {f"{name}: {table.headings[place]}": _column(table, place, name, reading) for place, name in meant}


def _column(table: Table, place: int, name: str, reading: Reading) -> dict[str, Any]:
    cells = [row[place] if place < len(row) else "" for _number, row in table.rows]
    given = [cell for cell in cells if not is_blank(cell)]
    said: dict[str, Any] = {"given": len(given), "blank": len(cells) - len(given), "distinct": len({folded(cell) for cell in given})}
    if name in WORDS:
        words = [folded(cell) for cell in given]
        return said | {"words": {word: words.count(word) for word in sorted(set(words))}}
    values = sorted(_read(cell, name, reading) for cell in given if _read(cell, name, reading) is not None)
    return said | ({"least": str(values[0]), "most": str(values[-1])} if values else {})


def _read(cell: str, name: str, reading: Reading) -> Any:
    try:
        if name in DAYS:
            return read_day(cell, DayOrder(reading.day_order) if reading.day_order else None, latest=reading.today)[0]
        return read_number(cell, Comma(reading.comma) if reading.comma else None) if name in NUMBERS else None
    except ValueError:
        return None
