"""Take an old spreadsheet in from the command line, or try what would become of it."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.management.base import BaseCommand, CommandError

from hospital.audit.acting import acting
from hospital.imports import actions
from hospital.imports.columns import FIELDS, KEEP
from hospital.imports.files import Table, read_table
from hospital.imports.models import Import
from hospital.imports.profile import profile
from hospital.imports.queries import reading_of
from hospital.imports.words import proposals
from hospital.imports.work import sorted_out
from hospital.jobs.actions import ask, run
from hospital.people.models import Person
from hospital.sites.models import Hospital

HELP = "Headings and words mean what the page would propose, unless they are said here; what is in doubt must be said."


class Command(BaseCommand):
    help = f"{__doc__} {HELP}"

    def add_arguments(self, parser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--hospital", default="", help="its short name, where there are several")
        parser.add_argument("--by", default="", help="e-mail address of the coordinator who answers for it")
        parser.add_argument("--column", action="append", default=[], metavar="HEADING=FIELD", help=f"a field is one of {', '.join(FIELDS)}")
        parser.add_argument("--word", action="append", default=[], metavar="FIELD:WORD=MEANING", help="for example species:bird=group:bird")
        parser.add_argument("--species", default="", help="of every row, in a file without that column, for example group:mammal")
        parser.add_argument("--day-order", default="", choices=["", "day-first", "month-first"])
        parser.add_argument("--comma", default="", choices=["", "decimal", "thousands"])
        parser.add_argument("--weight-unit", default="", choices=["", "g", "kg", "lb", "oz"])
        parser.add_argument("--dry-run", action="store_true", help="read everything, write nothing")
        parser.add_argument("--json", action="store_true", help="the counts for a program, on standard output")

    def handle(self, *, file: Path, dry_run: bool, **said: Any) -> None:
        hospital, by = _hospital(said["hospital"]), _person(said["by"], dry_run)
        try:
            content = file.read_bytes()
            table = read_table(content)
            columns, reading, words = _meaning(table, said)
            if dry_run:
                of = Import(hospital=hospital, file_name=file.name, columns=columns, reading=reading, words=words)
                counts = sorted_out(of, table, self._tell).counts
            else:
                of = self._write(hospital, by, file.name, content, columns, reading, words)
                counts = of.counts
        except OSError as fault:
            raise CommandError(f"{file}: {fault.strerror}") from None
        except ValidationError as refusal:
            raise CommandError("\n".join(refusal.messages)) from None
        self._report(counts | {"fields": profile(table, reading_of(of))}, said["json"])

    def _write(self, hospital, by, name, content, columns, reading, words) -> Import:
        with acting(by.pk, "importrecords"):
            of = actions.upload(hospital, by=by, file=ContentFile(content, name))
            of = actions.say_columns(of, seen_version=of.version, columns=columns, **reading)
            actions.say_words(of, seen_version=of.version, words=words)
            for kind in ("check-import", "write-import"):
                job = run(ask(kind, hospital, subject=of.key, by=by, begins=False).key)
                if job.state == job.State.FAILED:
                    raise CommandError(job.note)
        return Import.objects.select_related("hospital").get(key=of.key)

    def _tell(self, done: int, total: int) -> None:
        if sys.stderr.isatty() and (done % 1000 == 0 or done == total):
            self.stderr.write(f"\r{done} of {total} rows", ending="" if done < total else "\n")

    def _report(self, counts: dict[str, Any], as_json: bool) -> None:
        if as_json:
            return self.stdout.write(json.dumps(counts, ensure_ascii=False, indent=1))
        for name in ("rows", "new", "here", "refused", "noted"):
            self.stdout.write(f"{name:>8}: {counts[name]}")
        for kind in ("refusals", "notes"):
            for code, number in counts[kind].items():
                self.stdout.write(f"{number:>8}  {kind[:-1]}: {code}")


def _hospital(slug: str) -> Hospital:
    found = Hospital.objects.filter(slug=slug) if slug else Hospital.objects.all()
    if len(found) != 1:
        raise CommandError(f"Say which hospital with --hospital: {', '.join(Hospital.objects.values_list('slug', flat=True))}.")
    return found[0]


def _person(email: str, dry_run: bool) -> Person | None:
    person = Person.objects.filter(email__iexact=email).first()
    if person is None and not dry_run:
        raise CommandError("Say with --by whose import it is: the e-mail address of a coordinator.")
    return person


def _meaning(table: Table, said: dict[str, Any]) -> tuple[list[str], dict[str, str], dict[str, dict[str, str]]]:
    """Columns, reading and words: as guessed, then as said. What nobody says of a word is what the page would choose."""
    columns = actions.guesses(table.headings)
    for heading, field in _pairs(said["column"]):
        if heading not in table.headings or field not in FIELDS:
            raise CommandError(f"--column {heading}={field}: no such heading, or no such field.")
        if field != KEEP:
            columns = [KEEP if each == field and field not in actions.MANY else each for each in columns]
        columns[table.headings.index(heading)] = field
    reading = actions.likely_reading(table, columns)
    reading |= {name: said[name] for name in ("day_order", "comma", "weight_unit") if said[name]}
    words: dict[str, dict[str, str]] = {"species": {"": said["species"]}}
    for word in proposals(table, columns, {}):
        words.setdefault(word.field, {})[word.folded] = word.likely
    for left, meaning in _pairs(said["word"]):
        field, _colon, word = left.partition(":")
        words.setdefault(field, {})[word.casefold()] = meaning
    return columns, reading, words


def _pairs(said: list[str]) -> list[tuple[str, str]]:
    return [(left, right) for left, _equals, right in (each.rpartition("=") for each in said)]
