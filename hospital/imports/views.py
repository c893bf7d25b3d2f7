"""Pages of an import: upload, columns, words, dry run, writing, undoing."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.clock import now
from hospital.imports import actions, forms
from hospital.imports.check import doubts
from hospital.imports.columns import FIELDS, LEAVE_OUT
from hospital.imports.files import Table
from hospital.imports.models import Import
from hospital.imports.queries import later_facts, table_of
from hospital.imports.wording import counted, title_of
from hospital.imports.words import Known, Word, proposals
from hospital.jobs.models import Job
from hospital.jobs.progress import progress_of
from hospital.jobs.queries import is_going, latest
from hospital.pages import done, pressed, seen_version, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import Role
from hospital.sheets import csv_lines

KEEPERS = for_roles(Role.COORDINATOR)
SHOWN_ROWS = 4  # of each column, so that its meaning can be judged
MOST_WORDS = 300  # to choose a meaning for on one page; the rarer ones take the likeliest
A_PAGE = 100
SAMPLE = settings.BASE_DIR / "fixtures" / "demo" / "old_spreadsheet.csv"


def _import(request: HttpRequest, key: uuid.UUID) -> Import:
    seen = Import.objects.visible_to(request.user).at(request.hospital).select_related("hospital", "uploaded_by", "written_by", "undone_by")
    return get_object_or_404(seen, key=key)


def for_import(view: Callable) -> Callable:
    """The view gets `of` instead of a key; a file that is no longer kept, or cannot be read, sends back with a sentence."""

    def found(request: HttpRequest, key: uuid.UUID, *args: Any) -> HttpResponse:
        of = _import(request, key)
        try:
            return view(request, of, *args)
        except ValidationError as refusal:
            messages.error(request, " ".join(refusal.messages))
            return redirect("imports:import", of.key)

    return KEEPERS(found)


@KEEPERS
def upload(request: HttpRequest) -> HttpResponse:
    form = forms.UploadForm(request.POST or None, request.FILES or None)
    if done(form, actions.upload, request.hospital, by=request.user):
        return redirect("imports:columns", form.result.key)
    return show(request, "imports/upload.html", {"form": form}, part="imports/_upload_form.html", status=status_of(form))


@require_GET
@KEEPERS
def sample(request: HttpRequest) -> HttpResponse:
    """An invented spreadsheet with the usual traps, to try an import with."""
    return FileResponse(SAMPLE.open("rb"), as_attachment=True, filename="old_spreadsheet.csv", content_type="text/csv")


# --- columns and words --------------------------------------------------------------------------------------------


@for_import
def columns(request: HttpRequest, of: Import) -> HttpResponse:
    """What each column means, with its first cells beside it."""
    actions.refuse_written(of)
    table = table_of(of)
    initial = {f"column-{n}": meant for n, meant in enumerate(of.columns)} | of.reading | {"seen_version": of.version}
    form = forms.ColumnsForm(request.POST or None, initial=initial, table=table)
    if done(form, actions.say_columns, of):
        return redirect("imports:words", of.key)
    context = {
        "of": of, "form": form, "table": table, "rows": [(field, _first_cells(table, place)) for field, place in form.columns()],
        "doubts": doubts(table, of.columns), "anew": forms.ReadAnewForm(table=table, initial=_read_as(of)),
    }  # fmt: skip
    return show(request, "imports/columns.html", context, part="imports/_columns_form.html", status=status_of(form))


def _read_as(of: Import) -> dict[str, Any]:
    return {"encoding": of.encoding, "delimiter": of.delimiter, "sheet": of.sheet, "seen_version": of.version}


def _first_cells(table: Table, place: int) -> list[str]:
    cells = (row[place].strip() for _number, row in table.rows if place < len(row))
    return list(dict.fromkeys(cell[:60] for cell, _n in zip(filter(None, cells), range(40), strict=False)))[:SHOWN_ROWS]


@require_POST
@for_import
def read_anew(request: HttpRequest, of: Import) -> HttpResponse:
    """The same file in another encoding, with another delimiter, or another sheet."""
    form = forms.ReadAnewForm(request.POST, table=table_of(of))
    if not done(form, actions.read_anew, of):
        messages.error(request, " ".join(sentence for each in form.errors.values() for sentence in each))
    return redirect("imports:columns", of.key)


@for_import
def words(request: HttpRequest, of: Import) -> HttpResponse:
    """What the file's words mean here; what is near enough is chosen beforehand."""
    actions.refuse_written(of)
    found = _words(of)
    shown, rest = found[:MOST_WORDS], found[MOST_WORDS:]
    form = forms.WordsForm(request.POST or None, words=shown, initial={"seen_version": of.version})

    def say(*, seen_version: int, words: dict) -> Import:
        return actions.say_words(of, seen_version=seen_version, words=forms.with_the_rest(words, rest))

    if done(form, say):
        pressed(request, actions.ask_check, of, by=request.user, seen_version=form.result.version)
        return redirect("imports:import", of.key)
    context = {"of": of, "form": form, "groups": _by_field(form), "left_off": len(rest)}
    return show(request, "imports/words.html", context, part="imports/_words_form.html", status=status_of(form))


def _words(of: Import) -> list[Word]:
    """The words that need a meaning; in a file without a column of species, what every row is."""
    found = proposals(table_of(of), of.columns, of.words)
    if "species" in of.columns:
        return found
    choices, _likely = Known().meanings("species", "")
    every = Word("species", "", _("Every row of this file"), of.counts.get("rows", 0), choices, of.words.get("species", {}).get("", ""))
    return [every, *found]


def _by_field(form: forms.WordsForm) -> list[tuple[str, list]]:
    groups: dict[str, list] = {}
    for row in form.rows():
        groups.setdefault(str(FIELDS[row[0].field]), []).append(row)
    return list(groups.items())


# --- the dry run, writing, undoing ----------------------------------------------------------------------------------


@require_GET
@KEEPERS
def show_import(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """How it stands: at work, what the dry run found, or what was written."""
    of = _import(request, key)
    job = latest(of.key)
    problems = of.problems.filter(is_refusal=request.GET.get("only") != "notes")
    context = {
        "of": of, "title": title_of(of), "counts": counted(of), "is_going": is_going(job, now()), **_progress(of, job),
        "page": Paginator(problems, A_PAGE).get_page(request.GET.get("page")), "only": request.GET.get("only", "refused"),
        "left_out": [h for h, meant in _headings(of) if meant == LEAVE_OUT], "later": later_facts(of) if of.state == "written" else [],
    }  # fmt: skip
    return show(request, "imports/import.html", context)


def _headings(of: Import) -> Iterable[tuple[str, str]]:
    try:
        return zip(table_of(of).headings, of.columns, strict=False)
    except ValidationError:
        return []


def _progress(of: Import, job: Job | None) -> dict[str, Any]:
    if job is None:
        return {"job": None}
    urls = {"watch_url": reverse("imports:progress", args=[of.key]), "here_url": reverse("imports:import", args=[of.key])}
    return {"job": job, "progress": progress_of(job.key), **urls}


@require_GET
@KEEPERS
def progress(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """The bar alone, asked for again and again; when the work is over the whole page is asked for."""
    of = _import(request, key)
    job = latest(of.key)
    if not is_going(job, now()):
        answer = HttpResponse(status=200)
        answer["HX-Refresh"] = "true"
        return answer if request.htmx else redirect("imports:import", of.key)
    return show(request, "jobs/_progress.html", _progress(of, job))


def _asks(request: HttpRequest, of: Import, action: Callable) -> HttpResponse:
    pressed(request, action, of, by=request.user, seen_version=seen_version(request))
    return redirect("imports:import", of.key)


@require_POST
@for_import
def check(request: HttpRequest, of: Import) -> HttpResponse:
    return _asks(request, of, actions.ask_check)


@require_POST
@for_import
def write(request: HttpRequest, of: Import) -> HttpResponse:
    return _asks(request, of, actions.ask_write)


@for_import
def undo(request: HttpRequest, of: Import) -> HttpResponse:
    """Asks first, and says which cases people have added to."""
    if request.method == "POST":
        return _asks(request, of, actions.ask_undo)
    return show(request, "imports/undo.html", {"of": of, "later": later_facts(of), "cases": of.cases.count()})


@require_GET
@for_import
def refused(request: HttpRequest, of: Import) -> HttpResponse:
    """The refused rows as they stand in the file, with the reasons: to be put right and uploaded again."""
    table = table_of(of)
    why: dict[int, list[str]] = {}
    for problem in of.problems.filter(is_refusal=True):
        why.setdefault(problem.row, []).append(problem.sentence)
    lines = csv_lines([*table.headings, _("Row in the file"), _("Why it was refused")], _refused_rows(table, why))
    name = f"refused-{of.key}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "X-Content-Type-Options": "nosniff"}
    return StreamingHttpResponse((line.encode() for line in lines), content_type="text/csv; charset=utf-8", headers=headers)


def _refused_rows(table: Table, why: dict[int, list[str]]) -> Iterator[list[Any]]:
    width = len(table.headings)
    for number, row in table.rows:
        if number in why:
            yield [*(row + [""] * width)[:width], number, " ".join(why[number])]
