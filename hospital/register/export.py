"""The register for an inspector: a file to read by machine, and a set of pages to print."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from django.template.loader import render_to_string
from django.utils import timezone

from hospital.press import print_pdf
from hospital.register.models import RegisterLine, RegisterPage
from hospital.register.queries import fault_of, lines_of
from hospital.register.wording import fault, rows, strength, title, unit
from hospital.rules.register import amount_of
from hospital.sheets import plain_cell
from hospital.sites.models import Hospital

COLUMNS = (
    "hospital", "legal_class", "drug", "strength", "form", "location", "line", "kind", "unit", "moved", "balance", "counted",
    "done_at", "entered_at", "recorded_by", "witness_asked", "witness", "witnessed_at", "animal", "batch", "document",
    "from_or_to", "reason", "late_reason", "refers_to_line", "previous_hash", "hash",
)  # fmt: skip


def as_csv(hospital: Hospital, pages: Iterable[RegisterPage]) -> str:
    """Every line of the pages: RFC 4180, moments in ISO 8601 with the hospital's offset, amounts as plain decimals."""
    written = io.StringIO(newline="")
    writer = csv.writer(written, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    zone = ZoneInfo(hospital.zone)
    for page in pages:
        names = (hospital.name, page.legal_class, page.drug, strength(page), page.get_form_display(), page.location)
        head = [plain_cell(each) for each in names]
        for line in lines_of(page):
            writer.writerow([*head, *_cells(line, zone)])
    return written.getvalue()


def _cells(line: RegisterLine, zone: ZoneInfo) -> list[str]:
    def moment(at) -> str:
        return at.astimezone(zone).isoformat(timespec="seconds") if at else ""

    def number(whole: int | None) -> str:
        return "" if whole is None else f"{amount_of(whole).normalize():f}"

    words = (line.animal, line.batch, line.source, line.other_party, line.reason, line.late_reason)
    return [
        str(line.number), line.kind, unit(line.page), number(line.moved_thousandths), number(line.balance_thousandths),
        number(line.counted_thousandths), moment(line.done_at), moment(line.entered_at), plain_cell(line.recorded_by_name),
        "yes" if line.is_witness_asked else "no", plain_cell(line.witness_name), moment(line.witnessed_at), *map(plain_cell, words),
        str(line.refers_to.number) if line.refers_to else "", line.previous_hash, line.hash,
    ]  # fmt: skip


def as_pdf(hospital: Hospital, pages: Iterable[RegisterPage]) -> bytes:
    """A sheet, or several, for each page of the register. Nothing in it tells when it was printed: a reprint is the same file."""
    with timezone.override(ZoneInfo(hospital.zone)):
        html = render_to_string("register/print.html", {"hospital": hospital, "sheets": [_sheet(page) for page in pages]})
    return print_pdf(html, "register.css")


def _sheet(page: RegisterPage) -> dict:
    written, found = rows(lines_of(page)), fault_of(page)
    return {
        "page": page,
        "title": title(page),
        "rows": written,
        "last": written[-1].line if written else None,
        "fault": fault(found) if found else "",
    }
