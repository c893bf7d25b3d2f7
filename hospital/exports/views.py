"""Records in and records out: the page of both, and the files that were asked for."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_GET

from hospital.clock import now, today
from hospital.exports import actions
from hospital.exports.forms import AskForm
from hospital.exports.models import Export
from hospital.imports.queries import imports_of
from hospital.jobs.models import Job
from hospital.jobs.progress import progress_of
from hospital.jobs.queries import is_going, latest
from hospital.pages import done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import Role

READERS = for_roles(Role.VET, Role.COORDINATOR)
SHOWN = 20
TYPES = {"csv": "text/csv; charset=utf-8", "zip": "application/zip", "geojson": "application/geo+json",
         "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}  # fmt: skip


def _exports(request: HttpRequest):
    """Those of this hospital; with exact places of sensitive species only for whoever may know them."""
    seen = Export.objects.visible_to(request.user).filter(hospital=request.hospital).select_related("asked_by", "hospital")
    return seen if actions.may_know_places(request.user, request.hospital) else seen.filter(has_exact_places=False)


@require_GET
@READERS
def records(request: HttpRequest) -> HttpResponse:
    """What was taken in and what went out, the newest first."""
    may_import = Role.COORDINATOR in request.roles
    context = {
        "exports": _exports(request)[:SHOWN], "imports": imports_of(request.hospital)[:SHOWN] if may_import else [],
        "may_import": may_import, "now": now(),
    }  # fmt: skip
    return show(request, "exports/records.html", context)


@READERS
def ask(request: HttpRequest) -> HttpResponse:
    form = AskForm(
        request.POST or None, may_know_places=actions.may_know_places(request.user, request.hospital), today=today(request.hospital.zone)
    )
    if done(form, actions.ask_export, request.hospital, by=request.user):
        return redirect("exports:export", form.result.key)
    return show(request, "exports/ask.html", {"form": form}, part="exports/_ask_form.html", status=status_of(form))


@require_GET
@READERS
def show_export(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """How far it is; then the file, until when it is kept, and who took it."""
    export = get_object_or_404(_exports(request), key=key)
    job = latest(export.key)
    context = {
        "export": export, "is_going": is_going(job, now()), "is_kept": _is_kept(export), **_progress(export, job),
        "downloads": export.downloads.select_related("by")[:SHOWN],
    }  # fmt: skip
    return show(request, "exports/export.html", context)


def _is_kept(export: Export) -> bool:
    return bool(export.file) and export.kept_until is not None and export.kept_until > now()


def _progress(export: Export, job: Job | None) -> dict[str, Any]:
    if job is None:
        return {"job": None}
    urls = {"watch_url": reverse("exports:progress", args=[export.key]), "here_url": reverse("exports:export", args=[export.key])}
    return {"job": job, "progress": progress_of(job.key), **urls}


@require_GET
@READERS
def progress(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    export = get_object_or_404(_exports(request), key=key)
    job = latest(export.key)
    if is_going(job, now()):
        return show(request, "jobs/_progress.html", _progress(export, job))
    return HttpResponse(headers={"HX-Refresh": "true"}) if request.htmx else redirect("exports:export", export.key)


@require_GET
@READERS
def download(request: HttpRequest, key: uuid.UUID) -> FileResponse:
    """The file, as long as it is kept. Who takes it is written down."""
    export = get_object_or_404(_exports(request), key=key)
    if not _is_kept(export):
        raise Http404
    actions.fetch(export, by=request.user)
    name = f"{export.kind.replace('_', '-')}-{export.starts_on}-{export.ends_on}.{export.file_format}"
    answer = FileResponse(export.file.open("rb"), as_attachment=True, filename=name, content_type=TYPES[export.file_format])
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
