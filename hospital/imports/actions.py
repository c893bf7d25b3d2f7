"""Take an old spreadsheet in, step by step: upload, say what its columns and words mean, check, write, and undo."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.clock import now
from hospital.edits import refuse_unseen, save_edit
from hospital.imports.check import doubts
from hospital.imports.columns import MANY, WEIGHTS, guesses, unit_in
from hospital.imports.files import Table, read_table
from hospital.imports.models import Import
from hospital.imports.queries import later_facts, table_of
from hospital.jobs.actions import ask
from hospital.jobs.models import Job
from hospital.people.models import Person
from hospital.sites.models import Hospital

State = Import.State


@transaction.atomic
def upload(hospital: Hospital, *, by: Person, file: Any, key: uuid.UUID | None = None) -> Import:
    """Keep a spreadsheet's file and guess what its columns mean; no case is made of it yet."""
    if key and (before := Import.objects.filter(key=key, hospital=hospital).first()):
        return before
    content = file.read()
    table = read_table(content)
    columns = guesses(table.headings)
    found = Import(
        key=key or uuid.uuid4(), hospital=hospital, file_name=file.name[-200:], uploaded_by=by, uploaded_at=now(), columns=columns,
        encoding=table.encoding, delimiter=table.delimiter, sheet=table.sheet, reading=likely_reading(table, columns),
    )  # fmt: skip
    found.full_clean(exclude=["file"])
    found.file.save(f"{found.key}.bin", ContentFile(content), save=False)
    found.save()
    return found


def likely_reading(table: Table, columns: Sequence[str]) -> dict[str, str]:
    proved = doubts(table, columns)
    units = {unit_in(table.headings[place]) for place, meant in enumerate(columns) if meant in WEIGHTS} - {""}
    return {"day_order": proved["day_order"], "comma": proved["comma"], "weight_unit": units.pop() if len(units) == 1 else ""}


@transaction.atomic
def read_anew(of: Import, *, seen_version: int, encoding: str, delimiter: str, sheet: str) -> Import:
    """Read the file in another encoding, with another delimiter, or another sheet of it; what its columns mean is guessed anew."""
    refuse_written(of)
    of.encoding, of.delimiter, of.sheet = encoding, delimiter, sheet
    table = table_of(of)
    of.columns = guesses(table.headings)
    of.reading = likely_reading(table, of.columns)
    of.words, of.counts, of.state = {}, {}, State.DRAFT
    return save_edit(of, seen_version=seen_version)


@transaction.atomic
def say_columns(of: Import, *, seen_version: int, columns: Sequence[str], day_order: str, comma: str, weight_unit: str) -> Import:
    """Say what each column means, and where days, commas and weights can be read in two ways, which is meant."""
    refuse_written(of)
    _refuse_columns(columns)
    _refuse_doubts(of, columns, day_order, comma, weight_unit)
    of.columns = list(columns)
    of.reading = {"day_order": day_order, "comma": comma, "weight_unit": weight_unit}
    of.counts, of.state = {}, State.DRAFT
    return save_edit(of, seen_version=seen_version)


def _refuse_columns(columns: Sequence[str]) -> None:
    twice = {meant for meant in columns if meant not in MANY and columns.count(meant) > 1}
    wrong = {f"column-{place}": _("Two columns cannot both be this.") for place, meant in enumerate(columns) if meant in twice}
    if "admitted" not in columns:
        wrong["__all__"] = _("Say which column is the day of admission: a case cannot be without it.")
    if wrong:
        raise ValidationError(wrong)


def _refuse_doubts(of: Import, columns: Sequence[str], day_order: str, comma: str, weight_unit: str) -> None:
    found, wrong = doubts(table_of(of), columns), {}
    if found["asks_day_order"] and not day_order:
        wrong["day_order"] = _("Some days, like 03/04/2019, can be read in two ways. Say which is meant.")
    if found["asks_comma"] and not comma:
        wrong["comma"] = _("Some numbers, like 1,250, can be read in two ways. Say what the comma means.")
    if set(columns) & set(WEIGHTS) and not weight_unit:
        wrong["weight_unit"] = _("Say in which unit the weights are.")
    if wrong:
        raise ValidationError(wrong)


@transaction.atomic
def say_words(of: Import, *, seen_version: int, words: Mapping[str, Mapping[str, str]]) -> Import:
    """Say what the words of the file mean here: its species, causes, outcomes, sexes and life stages."""
    refuse_written(of)
    of.words, of.counts, of.state = {name: dict(meanings) for name, meanings in words.items()}, {}, State.DRAFT
    return save_edit(of, seen_version=seen_version)


def refuse_written(of: Import) -> None:
    if of.state in (State.WRITTEN, State.UNDONE):
        raise ValidationError(_("This import is finished. Upload the file again to read it otherwise."))


def ask_check(of: Import, *, by: Person, seen_version: int) -> Job:
    """Ask for a dry run: every row is read, and nothing is written but what is wrong with it."""
    refuse_unseen(of, seen_version)
    refuse_written(of)
    return ask("check-import", of.hospital, subject=of.key, by=by)


def ask_write(of: Import, *, by: Person, seen_version: int) -> Job:
    """Ask for the cases to be written, as the last check showed them."""
    refuse_unseen(of, seen_version)
    if of.state != State.CHECKED or not of.counts.get("new"):
        raise ValidationError(_("There is nothing to write. Check the file first."))
    return ask("write-import", of.hospital, subject=of.key, by=by)


def ask_undo(of: Import, *, by: Person, seen_version: int) -> Job:
    """Ask for every case of this import to be taken away again, unless people have added to one since."""
    refuse_unseen(of, seen_version)
    refuse_undo(of)
    return ask("undo-import", of.hospital, subject=of.key, by=by)


def refuse_undo(of: Import) -> None:
    if of.state != State.WRITTEN:
        raise ValidationError(_("This import was not written, or was undone already."))
    if later := later_facts(of, most=1):
        sentence = _("People have added to cases of this import since, the first being %(patient)s. It cannot be undone as a whole.")
        raise ValidationError(sentence % {"patient": later[0].patient})


@transaction.atomic
def forget_files(before: Any) -> int:
    """Remove the files of imports uploaded before this moment; what was made of them stays."""
    old = list(Import.objects.filter(uploaded_at__lt=before).exclude(file=""))
    for each in old:
        each.file.delete(save=False)
        save_edit(each, seen_version=each.version)
    return len(old)
