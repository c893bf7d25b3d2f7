"""Make the file of an export: the piece of work that runs beside the pages."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import BinaryIO
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.files import File
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.exports.actions import forget_files
from hospital.exports.darwin_core import write_archive
from hospital.exports.geojson import write_geojson
from hospital.exports.models import Export
from hospital.exports.queries import cases_of, each_case
from hospital.exports.tables import COLUMNS, register_rows, return_table
from hospital.jobs.models import Job
from hospital.sheets import write_csv, write_xlsx

Kind = Export.Kind
Tell = Callable[[int, int], None]


def make(job: Job, tell: Tell) -> None:
    """Write the file, keep it for the stated time, and let go of files whose time is over."""
    forget_files(now())
    export = Export.objects.select_related("hospital", "asked_by").get(key=job.subject)
    total = cases_of(export).count()
    with tempfile.TemporaryFile() as file:
        write_file(file, export, _told(each_case(export), total, tell))
        file.seek(0)
        with transaction.atomic():
            export.cases, export.kept_until = total, now() + timedelta(days=settings.EXPORTS_KEPT_DAYS)
            export.file.save(f"{export.key}.{export.file_format}", File(file), save=False)
            export.save()


def _told(patients: Iterator[Patient], total: int, tell: Tell) -> Iterator[Patient]:
    for done, patient in enumerate(patients, 1):
        yield patient
        tell(done, total)


def write_file(file: BinaryIO, export: Export, patients: Iterator[Patient]) -> None:
    if export.kind == Kind.DARWIN_CORE:
        return write_archive(file, export, patients)
    if export.kind == Kind.GEOJSON:
        return write_geojson(file, export, patients)
    zone = ZoneInfo(export.hospital.zone)
    if export.kind == Kind.RETURN:
        title = _("Annual return")
        headings, rows = return_table(patients, export.choices["groups"], zone)
    else:
        title, columns = _("Register of admissions"), export.choices["columns"]
        headings = [str(COLUMNS[name][0]) for name in columns]
        rows = register_rows(patients, columns, zone, is_exact=export.has_exact_places)
    if export.file_format == "xlsx":
        write_xlsx(file, title, headings, rows)
    else:
        write_csv(file, headings, rows)
