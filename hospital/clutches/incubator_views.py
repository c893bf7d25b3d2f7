"""Pages about a hospital's incubators and their logs."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.clutches import actions, forms
from hospital.clutches.models import Incubator
from hospital.clutches.queries import humidity_out_of_range, incubating, newest_readings, out_of_range
from hospital.clutches.wording import FAULTS, clutch_line, reading_line
from hospital.pages import both_versions, done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import CLINICAL, STAFF
from hospital.rules.logfile import read_log

READERS, WRITERS = for_roles(*STAFF), for_roles(*CLINICAL)
LAST_READINGS = 48
FIRST_REFUSED = 50


def _incubators(request: HttpRequest):
    """Those of the hospital one works at now: roles are held there."""
    return Incubator.objects.visible_to(request.user).at(request.hospital).select_related("hospital")


def _incubator(request: HttpRequest, incubator_id: int) -> Incubator:
    return get_object_or_404(_incubators(request), pk=incubator_id)


@require_GET
@READERS
def incubators(request: HttpRequest) -> HttpResponse:
    """Every incubator, its newest reading and the eggs in it."""
    found = list(_incubators(request))
    newest = newest_readings(found)
    eggs: dict[int, list] = {}
    for clutch in incubating(Patient.objects.visible_to(request.user).at(request.hospital)):
        if stays := list(clutch.stays.all()):
            eggs.setdefault(stays[-1].incubator_id, []).append((clutch, clutch_line(clutch)))
    rows = [_row(each, newest.get(each.pk), eggs.get(each.pk, [])) for each in found]
    context = {"rows": rows, "may_write": bool(request.roles & set(CLINICAL))}
    return show(request, "clutches/incubators.html", context)


def _row(incubator: Incubator, reading, clutches: list) -> dict[str, Any]:
    return {
        "incubator": incubator,
        "reading": reading_line(reading, incubator.hospital.zone) if reading else "",
        "is_out_of_range": bool(reading and (out_of_range(incubator, reading) or humidity_out_of_range(incubator, reading))),
        "clutches": clutches,
    }


@require_GET
@READERS
def incubator(request: HttpRequest, incubator_id: int) -> HttpResponse:
    """One incubator and its last readings, the newest first."""
    found = _incubator(request, incubator_id)
    readings = list(found.readings.select_related("entered_by", "set_aside").order_by("-read_at")[:LAST_READINGS])
    context = {
        "incubator": found,
        "readings": [
            (each, getattr(each, "set_aside", None), out_of_range(found, each), humidity_out_of_range(found, each)) for each in readings
        ],
        "count": found.readings.count(),
        "may_write": bool(request.roles & set(CLINICAL)),
    }
    return show(request, "clutches/incubator.html", context)


def _page(request: HttpRequest, form, action, *, heading: str, save: str, said: str, incubator: Incubator | None = None) -> HttpResponse:
    if done(form, action):
        messages.success(request, said)
        return redirect("incubators:incubator", (incubator or form.result).pk)
    versions = both_versions(form) if hasattr(form, "collision") else None
    context = {"form": form, "incubator": incubator, "heading": heading, "save": save, "versions": versions}
    return show(request, "clutches/incubator_write.html", context, part="clutches/_incubator_form.html", status=status_of(form))


@WRITERS
def add(request: HttpRequest) -> HttpResponse:
    action = partial(actions.add_incubator, request.hospital, by=request.user)
    words = dict(heading=_("Add an incubator"), save=_("Add this incubator"), said=_("Added."))
    return _page(request, forms.IncubatorForm(request.POST or None), action, **words)


@WRITERS
def edit(request: HttpRequest, incubator_id: int) -> HttpResponse:
    found = _incubator(request, incubator_id)
    form = forms.EditIncubatorForm(request.POST or None, initial=forms.as_stored(found, forms.EditIncubatorForm))
    words = dict(heading=_("Change an incubator"), save=_("Save changes"), said=_("Changed."))
    return _page(request, form, partial(actions.edit_incubator, found), incubator=found, **words)


@WRITERS
def read(request: HttpRequest, incubator_id: int) -> HttpResponse:
    found = _incubator(request, incubator_id)
    words = dict(heading=_("Add a reading"), save=_("Save reading"), said=_("Saved. A reading is never changed."))
    action = partial(actions.add_reading, found, by=request.user)
    return _page(request, forms.ReadingForm(request.POST or None), action, incubator=found, **words)


@WRITERS
def set_aside(request: HttpRequest, incubator_id: int, reading_id: int) -> HttpResponse:
    """A reading that does not count; it stays in the log with the reason."""
    found = _incubator(request, incubator_id)
    reading = get_object_or_404(found.readings, pk=reading_id, set_aside=None)
    heading = _("Set a reading aside: %(reading)s") % {"reading": reading_line(reading, found.hospital.zone)}
    words = dict(heading=heading, save=_("Set it aside"), said=_("Set aside. The log still shows it, with the reason."))
    action = partial(actions.set_aside, reading, by=request.user)
    return _page(request, forms.SetAsideForm(request.POST or None), action, incubator=found, **words)


@WRITERS
def take_file(request: HttpRequest, incubator_id: int) -> HttpResponse:
    """A logger's file: first what of it can be read, then, once confirmed, the rows are kept."""
    found = _incubator(request, incubator_id)
    form = forms.LogFileForm(request.POST or None, request.FILES or None)
    context = {"incubator": found, "form": form, "zone": found.hospital.zone}
    if not (form.is_bound and form.is_valid()):
        return show(request, "clutches/file.html", context, part="clutches/_file_form.html", status=status_of(form))
    log = read_log(form.text, found.hospital.zone, now())
    if "confirm" in request.POST and log.rows:
        kept = actions.add_readings(found, by=request.user, rows=log.rows)
        messages.success(request, ngettext("%(n)d reading added.", "%(n)d readings added.", kept) % {"n": kept})
        return redirect("incubators:incubator", found.pk)
    known = set(found.readings.values_list("read_at", flat=True))
    doubles = sum(row.at in known for row in log.rows)
    context |= {
        "text": form.text,
        "ends": [log.rows[0], log.rows[-1]] if log.rows else [],
        "log": log,
        "fresh": len(log.rows) - doubles,
        "doubles": doubles,
        "refused": [(line, FAULTS[fault], text) for line, fault, text in log.refused[:FIRST_REFUSED]],
        "more_refused": max(0, len(log.refused) - FIRST_REFUSED),
    }
    return show(request, "clutches/file_read.html", context)
