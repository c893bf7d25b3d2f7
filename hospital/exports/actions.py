"""Ask for a file of records, fetch it, and let it go when its time is over."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.clock import now
from hospital.exports.models import Download, Export
from hospital.jobs.actions import ask as ask_job
from hospital.people.models import Person, Role
from hospital.sites.models import Hospital

Kind = Export.Kind
FORMATS = {Kind.REGISTER: ("csv", "xlsx"), Kind.RETURN: ("csv", "xlsx"), Kind.DARWIN_CORE: ("zip",), Kind.GEOJSON: ("geojson",)}


@transaction.atomic
def ask_export(
    hospital: Hospital, *, by: Person, kind: str, file_format: str, starts_on: date, ends_on: date, columns: Sequence[str] = (),
    groups: Sequence[str] = (), licence: str = "cc-by", has_exact_places: bool = False, key: uuid.UUID | None = None, begins: bool = True,
) -> Export:  # fmt: skip
    """Ask for a file of the cases admitted in a period; it is made beside the pages. The same form sent twice asks once."""
    if key and (before := Export.objects.filter(key=key, hospital=hospital).first()):
        return before
    _refuse(hospital, by, kind, starts_on, ends_on, columns, groups, has_exact_places)
    formats = FORMATS[Kind(kind)]
    export = Export(
        key=key or uuid.uuid4(), hospital=hospital, kind=kind, starts_on=starts_on, ends_on=ends_on, has_exact_places=has_exact_places,
        file_format=file_format if file_format in formats else formats[0], asked_by=by, asked_at=now(),
        choices={"columns": list(columns), "groups": list(groups), "licence": licence},
    )  # fmt: skip
    export.full_clean()
    export.save()
    ask_job("make-export", hospital, subject=export.key, by=by, begins=begins)
    return export


def _refuse(hospital, by, kind, starts_on, ends_on, columns, groups, has_exact_places) -> None:
    wrong = {}
    if ends_on < starts_on:
        wrong["ends_on"] = _("The period ends before it begins.")
    if kind == Kind.REGISTER and not columns:
        wrong["columns"] = _("Choose at least one column.")
    if kind == Kind.RETURN and not groups:
        wrong["groups"] = _("Choose by what to count.")
    if has_exact_places and kind != Kind.REGISTER:
        wrong["has_exact_places"] = _("Only the register can carry exact places of sensitive species: the other files are for outside.")
    elif has_exact_places and not may_know_places(by, hospital):
        wrong["has_exact_places"] = _("Exact places of sensitive species are for the coordinator.")
    if wrong:
        raise ValidationError(wrong)


def may_know_places(person: Person, hospital: Hospital) -> bool:
    return person.memberships.filter(hospital=hospital, role=Role.COORDINATOR).exists()


@transaction.atomic
def fetch(export: Export, *, by: Person) -> Download:
    """Write down who took the file, and when."""
    download = Download(of=export, by=by, at=now())
    download.full_clean()
    download.save()
    return download


@transaction.atomic
def forget_files(at: datetime) -> int:
    """Remove the files whose time is over; who asked for them and who took them stays."""
    over = list(Export.objects.filter(kept_until__lt=at).exclude(file=""))
    for export in over:
        export.file.delete(save=False)
        export.save()
    return len(over)
