"""Records of the demonstration: an old spreadsheet taken in, and a return that was asked for."""

from __future__ import annotations

from datetime import date

from django.conf import settings
from django.core.files.base import ContentFile

from handover.demo.stories import Cast
from hospital.audit.acting import acting
from hospital.exports.actions import ask_export
from hospital.exports.models import Export
from hospital.imports import actions
from hospital.imports.queries import table_of
from hospital.imports.words import REFUSE, proposals
from hospital.jobs.actions import ask, run
from hospital.people.models import Person
from hospital.sites.models import Hospital

# Another year than the file that a stranger may download and try.
FILE = settings.BASE_DIR / "fixtures" / "demo" / "old_spreadsheet_2015.csv"


def tell_records(cast: Cast, hospital: Hospital, by: Person) -> None:
    """Take a small old file in, and ask for last year's return."""
    with acting(by.pk, "demonstration"):
        _take_in(hospital, by)
        last = cast.now.year - 1
        export = ask_export(
            hospital, by=by, kind=Export.Kind.RETURN, file_format="xlsx", starts_on=date(last, 1, 1), ends_on=date(last, 12, 31),
            groups=["species", "cause"], begins=False,
        )  # fmt: skip
        run(ask("make-export", hospital, subject=export.key, by=by, begins=False).key)


def _take_in(hospital: Hospital, by: Person) -> None:
    of = actions.upload(hospital, by=by, file=ContentFile(FILE.read_bytes(), FILE.name))
    of = actions.say_columns(of, seen_version=of.version, columns=of.columns, **of.reading)
    words: dict[str, dict[str, str]] = {}
    for word in proposals(table_of(of), of.columns, {}):
        words.setdefault(word.field, {})[word.folded] = word.likely or REFUSE
    actions.say_words(of, seen_version=of.version, words=words)
    for kind in ("check-import", "write-import"):
        run(ask(kind, hospital, subject=of.key, by=by, begins=False).key)
