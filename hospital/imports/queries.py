"""Reading imports: the file again, what of it is here already, and what people did with its cases since."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from hospital.admissions.models import Identification, Patient
from hospital.audit.models import AuditEntry
from hospital.clock import today
from hospital.imports.check import Case, Reading
from hospital.imports.files import Table, read_table
from hospital.imports.models import Import, ImportedCase
from hospital.sites.models import Hospital

A_TIME = 2000  # values in one question to the database


def table_of(of: Import) -> Table:
    """The file's table, read as was said."""
    if not of.file:
        raise ValidationError(_("The file is no longer kept. Upload it again."))
    try:
        with of.file.open("rb") as file:
            content = file.read()
    except FileNotFoundError:
        raise ValidationError(_("The file is no longer kept. Upload it again.")) from None
    return read_table(content, encoding=of.encoding, delimiter=of.delimiter, sheet=of.sheet)


def reading_of(of: Import) -> Reading:
    zone = of.hospital.zone
    species = of.words.get("species", {}).get("", "")
    return Reading(columns=of.columns, words=of.words, zone=ZoneInfo(zone), today=today(zone), species=species, **of.reading)


class Here(NamedTuple):
    """Cases that are here already, by what a row can be known by."""

    identities: set[str]
    numbers: set[str]
    former: dict[tuple[str, date], str]  # former number and day of admission → case number


def here_already(hospital: Hospital, cases: Sequence[Case]) -> Here:
    zone = ZoneInfo(hospital.zone)
    identities, numbers, former = set(), set(), {}
    for some in _some(cases):
        hashes = [case.identity for case in some]
        identities |= set(ImportedCase.objects.filter(hospital=hospital, identity__in=hashes).values_list("identity", flat=True))
        ours = [case.case_number.upper() for case in some if case.case_number]
        numbers |= set(Patient.objects.at(hospital).filter(case_number__in=ours).values_list("case_number", flat=True))
        values = [former_number(case) for case in some if former_number(case)]
        marked = Identification.objects.filter(kind=Identification.Kind.FORMER, value__in=values, patient__hospital=hospital)
        for value, at, number in marked.values_list("value", "patient__admitted_at", "patient__case_number"):
            former[value, at.astimezone(zone).date()] = number
    return Here(identities, numbers, former)


def former_number(case: Case) -> str:
    return next((value for kind, value in case.marks if kind == Identification.Kind.FORMER), "")


def is_here(case: Case, here: Here) -> bool:
    """Whether this very row, or the case that it names, is here already. A row that contradicts a case here is refused."""
    if case.identity in here.identities or case.case_number.upper() in here.numbers:
        return True
    if case.case_number:
        case.marks.insert(0, (Identification.Kind.FORMER.value, case.case_number[:60]))
    day = case.admitted_at.date() if case.admitted_at else None
    if day and (number := here.former.get((former_number(case), day))):
        sentence = _(
            "Case %(number)s has this former number and day of admission, but this row says something else. Correct that case by hand."
        )
        case.refuse("former_number", "contradicts", sentence % {"number": number})
    return False


def _some(cases: Sequence[Case]) -> Iterator[Sequence[Case]]:
    for start in range(0, len(cases), A_TIME):
        yield cases[start : start + A_TIME]


# --- what came later ----------------------------------------------------------------------------------------------


class Later(NamedTuple):
    """What people did with an imported case since: it would be lost with the case."""

    patient: Patient
    what: list[str]


def later_facts(of: Import, most: int = 50) -> list[Later]:
    """The imported cases that people have added to or corrected, as the audit knows it."""
    ours = of.cases.values("patient_id")
    newer = AuditEntry.objects.filter(id__gt=of.last_audit_id or 0, patient_id__in=ours).order_by("id")
    done: dict[int, Counter[str]] = {}
    for patient_id, table in newer.values_list("patient_id", "table")[:10_000]:
        done.setdefault(patient_id, Counter())[_noun(table)] += 1
    patients = Patient.objects.select_related("species").in_bulk(list(done)[:most])
    return [
        Later(patients[pk], [f"{n} × {noun}" if n > 1 else noun for noun, n in what.items()]) for pk, what in done.items() if pk in patients
    ]


def _noun(table: str) -> str:
    return next((str(model._meta.verbose_name) for model in apps.get_models() if model._meta.db_table == table), table)


def imports_of(hospital: Hospital) -> QuerySet[Import]:
    return Import.objects.filter(hospital=hospital).select_related("uploaded_by", "written_by")
