"""Outcomes in figures: what became of the cases, how long it took, and where they came from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.outcomes.models import Outcome
from hospital.pages import show
from hospital.people.access import for_roles
from hospital.people.models import STAFF
from hospital.rules.statistics import median_days
from hospital.statistics import queries, tables
from hospital.statistics.charts import curves
from hospital.statistics.forms import BY, CELLS, FilterForm, OutcomesForm, PlacesForm
from hospital.statistics.hotspots import Cluster, Square, close_together, showable, squares

SQUARES_LISTED = 30


@for_roles(*STAFF)
def outcomes(request: HttpRequest) -> HttpResponse:
    """The table of outcomes and the curves of time in care, of the cases asked for."""
    form, asked = _asked(request, OutcomesForm)
    by = asked.get("by") or "species"
    patients = queries.patients_asked_for(request.user, request.hospital, asked)
    cases = queries.cases(patients, request.hospital.zone, today())
    found = tables.rows(cases, by)
    if asked.get("without_few"):
        found = tables.without_few(found, _("Fewer than %(few)s each, together") % {"few": tables.FEW})
    steps = tables.over_time(cases)
    context = {
        "form": form,
        "is_filtered": any(asked.values()),
        "by": dict(BY)[by],
        "rows": found,
        "total": tables.total(found, _("All together")) if found else None,
        "kinds": Outcome.Kind.labels,
        "curves": curves(steps),
        "marks": tables.marks(steps, cases),
        "median": median_days(steps),
        "fates": FATES,
    }
    return show(request, "statistics/outcomes.html", context, part="statistics/_outcomes.html", status=422 if form.errors else 200)


FATES = {
    tables.RELEASED: gettext_lazy("Released"),
    tables.DIED: gettext_lazy("Died or euthanased"),
    tables.AWAY: gettext_lazy("Transferred, held or escaped"),
}


@for_roles(*STAFF)
def places(request: HttpRequest) -> HttpResponse:
    """Squares and clusters of the places where animals were found, on a map that needs no network."""
    form, asked = _asked(request, PlacesForm)
    side = float(asked.get("cell") or CELLS[0][0])
    patients = queries.patients_asked_for(request.user, request.hospital, asked)
    found = list(queries.found_places(patients))
    is_for_others = asked.get("who") == "others"
    shown, held_back = showable(found, side) if is_for_others else (found, 0)
    as_points = showable(found, None)[0] if is_for_others else found
    grid, groups = squares(shown, side, tables.FEW if asked.get("without_few") else 1), close_together(as_points)
    context = {
        "form": form,
        "is_filtered": any(asked.values()),
        "hospital": request.hospital,
        "squares": grid[:SQUARES_LISTED],
        "more_squares": len(grid) - SQUARES_LISTED,
        "clusters": groups,
        "areas": _areas(grid, groups),
        "shown": len(shown),
        "held_back": held_back,
        "is_for_others": is_for_others,
        "without_place": patients.filter(found_latitude=None).count(),
    }
    return show(request, "statistics/places.html", context, status=422 if form.errors else 200)


def _asked(request: HttpRequest, form_class: type[FilterForm]) -> tuple[FilterForm, dict[str, Any]]:
    """The form of the address, and what it asks for: with a mistake nothing, so that no figure is of other cases than it says."""
    theirs = Patient.objects.visible_to(request.user).at(request.hospital)
    form = form_class(request.GET, groups=queries.groups_with_patients(theirs))
    return form, form.cleaned_data if form.is_valid() else {}


def _areas(grid: Sequence[Square], groups: Sequence[Cluster]) -> dict[str, list[dict[str, Any]]]:
    """What the map draws."""
    return {
        "squares": [{"corners": each.corners, "level": each.level, "words": _words(each)} for each in grid],
        "circles": [
            {"at": [each.latitude, each.longitude], "metres": each.reach_m, "words": str(number)} for number, each in enumerate(groups, 1)
        ],
    }


def _words(square: Square) -> str:
    count = ngettext("%(n)s animal", "%(n)s animals", square.count) % {"n": square.count}
    return f"{count}: " + ", ".join(f"{cause} {n}" for cause, n in square.first)
