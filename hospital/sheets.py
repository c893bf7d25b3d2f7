"""Tables for spreadsheets: CSV as in RFC 4180, and XLSX; no cell of words is ever worked out as a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import Any, BinaryIO

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")  # a spreadsheet would work it out; ASVS 5.0, 1.2.10


def plain_cell(value: Any) -> Any:
    """Words that a spreadsheet takes for words; a number stays one."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA) else value


def unescaped(cell: str) -> str:
    """A cell without the sign that `plain_cell` set before it."""
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(FORMULA) else cell


def csv_lines(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """RFC 4180: a heading, CRLF, quotes doubled. Line by line, so that a long table needs no memory."""
    yield _line(headings)
    for row in rows:
        yield _line([plain_cell(cell) for cell in row])


def _line(row: Sequence[Any]) -> str:
    written = io.StringIO(newline="")
    csv.writer(written, lineterminator="\r\n").writerow(row)
    return written.getvalue()


def write_csv(file: BinaryIO, headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    for line in csv_lines(headings, rows):
        file.write(line.encode())


def write_xlsx(file: BinaryIO, title: str, headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """One sheet; words are stored as words whatever they begin with."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    for row in chain([headings], rows):
        sheet.append([_xlsx_cell(sheet, value) for value in row])
    book.save(file)


def _xlsx_cell(sheet: Any, value: Any) -> Any:
    if not isinstance(value, str):
        return value
    cell = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("", value))
    cell.data_type = "s"
    return cell
