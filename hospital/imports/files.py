"""Bytes → a table: CSV in any common encoding and delimiter, and XLSX. What cannot be read is refused with a sentence."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from charset_normalizer import from_bytes
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from openpyxl import load_workbook

DELIMITERS = {",": _("comma"), ";": _("semicolon"), "\t": _("tab"), "|": _("upright stroke")}
ENCODINGS = ("utf-8", "cp1252", "iso8859-15", "cp850", "mac_roman", "cp1250", "cp1251", "utf-16")
MOST_UNPACKED_BYTES = 400 * 1024 * 1024
SAMPLE_ROWS = 300


@dataclass(frozen=True, slots=True)
class Table:
    """Headings, and the rows below them with the numbers that a spreadsheet program shows at their left."""

    headings: list[str]
    rows: list[tuple[int, list[str]]]
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    above: int = 0  # lines above the headings


def read_table(content: bytes, *, encoding: str = "", delimiter: str = "", sheet: str = "") -> Table:
    """The table of a file; what is not said about encoding, delimiter and sheet is worked out."""
    if not content.strip():
        raise ValidationError(_("This file is empty."))
    if content.startswith(b"PK\x03\x04"):
        return _workbook(content, sheet)
    if content.startswith((b"\xd0\xcf\x11\xe0", b"%PDF")) or (
        b"\x00" in content[:2000] and not content.startswith((b"\xff\xfe", b"\xfe\xff"))
    ):
        raise ValidationError(_("This is not a CSV or XLSX file. Open it in a spreadsheet program and save it as one of these."))
    text, found = decoded(content, encoding)
    if text.lstrip()[:1] in "{[<":
        raise ValidationError(_("This looks like a program's data, not like a table. Save it from a spreadsheet program as CSV or XLSX."))
    chosen = delimiter or likely_delimiter(text)
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=chosen))
    except csv.Error as fault:
        raise ValidationError(_("This CSV file cannot be read: %(fault)s.") % {"fault": fault}) from None
    return _table(enumerate(records, 1), encoding=found, delimiter=chosen)


def decoded(content: bytes, encoding: str = "") -> tuple[str, str]:
    """The text and the encoding it was read in: the one said, a byte-order mark's, UTF-8 where it fits, else the likeliest."""
    marked = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
    tried = [encoding] if encoding else [name for mark, name in marked.items() if content.startswith(mark)] or ["utf-8"]
    for name in tried:
        try:
            return content.decode(name), name
        except (UnicodeDecodeError, LookupError):
            continue
    if encoding:
        raise ValidationError(_("The file cannot be read as %(encoding)s. Choose another encoding.") % {"encoding": encoding})
    best = from_bytes(content[:200_000], cp_isolation=[e for e in ENCODINGS if e not in ("utf-8", "utf-16")]).best()
    name = "cp1252" if best is None or "cp1252" in best.could_be_from_charset else best.encoding  # the commonest where both fit
    return content.decode(name, errors="replace"), name


def likely_delimiter(text: str) -> str:
    """The delimiter that cuts the first lines into the most columns alike."""

    def evenness(delimiter: str) -> tuple[float, int]:
        rows = [
            row
            for row, _n in zip(csv.reader(io.StringIO(text[:200_000], newline=""), delimiter=delimiter), range(SAMPLE_ROWS), strict=False)
        ]
        width, alike = Counter(len(row) for row in rows if row).most_common(1)[0]
        return (alike / len(rows) if width > 1 else 0, width)

    try:
        return max(DELIMITERS, key=evenness)
    except (csv.Error, IndexError):
        return ","


def _workbook(content: bytes, sheet: str) -> Table:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(each.file_size for each in packed.infolist()) > MOST_UNPACKED_BYTES:
                raise ValidationError(_("Unpacked, this workbook is too large. Save the one sheet as CSV."))
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except (zipfile.BadZipFile, KeyError, OSError, ValueError):
        raise ValidationError(_("This XLSX file is damaged, or not a workbook. Save it again from a spreadsheet program.")) from None
    names = tuple(each.title for each in book.worksheets)
    chosen = sheet if sheet in names else names[0]
    rows = ((number, [_cell(value) for value in row]) for number, row in enumerate(book[chosen].iter_rows(values_only=True), 1))
    try:
        return _table(rows, sheet=chosen, sheets=names)
    finally:
        book.close()


def _cell(value: Any) -> str:
    """A cell as text: days as in ISO 8601, numbers as short as they are."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ", "seconds")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)


def _table(records: Iterable[tuple[int, list[str]]], **said: Any) -> Table:
    """Rows without the empty ones; the headings are the first row that is as wide as most."""
    rows = [(number, row) for number, row in records if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise ValidationError(_("There are no rows below the headings in this file."))
    if len(rows) > settings.SPREADSHEET_MAX_ROWS + 1:
        raise ValidationError(_("This file has more than %(most)d rows. Cut it into several.") % {"most": settings.SPREADSHEET_MAX_ROWS})
    usual = Counter(_width(row) for _number, row in rows[:SAMPLE_ROWS]).most_common(1)[0][0]
    top = next(
        place for place, (_number, row) in enumerate(rows) if _width(row) >= min(usual, max(_width(r) for _n, r in rows[:SAMPLE_ROWS]))
    )
    headings = _headings([cell.strip() for cell in rows[top][1]])
    return Table(headings, rows[top + 1 :], above=top, **said)


def _width(row: list[str]) -> int:
    """How far the row reaches: empty cells at its end are none."""
    return max((place for place, cell in enumerate(row, 1) if cell.strip()), default=0)


def _headings(cells: list[str]) -> list[str]:
    """Headings that differ: one without words, or used before, gets its column's number."""
    while cells and not cells[-1]:
        cells.pop()
    named: list[str] = []
    for place, cell in enumerate(cells, 1):
        words = cell[:80] or _("Column %(n)d") % {"n": place}
        named.append(words if words not in named else f"{words} ({place})")
    return named


def identities(table: Table) -> Iterator[str]:
    """For each row a hash of what it says, whatever the file's encoding, delimiter and order of columns.

    Rows that are alike in every cell are told apart by how many of them came before.
    """
    seen: Counter[str] = Counter()
    for _number, row in table.rows:
        said = sorted((heading, cell.strip()) for heading, cell in zip(table.headings, row, strict=False) if cell.strip())
        digest = hashlib.sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()
        seen[digest] += 1
        yield hashlib.sha256(f"{digest} {seen[digest]}".encode()).hexdigest()
