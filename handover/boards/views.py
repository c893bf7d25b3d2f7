"""The boards of a hospital: what cannot wait, who comes when, who has gone quiet, whose plan needs a person."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from handover.boards.clutches import due_clutches
from handover.boards.custody import custody
from handover.boards.overnight import FILTERS, FIRST_SHOWN, MOST_SHOWN, filters, overnight
from handover.boards.queries import overdue, unsettled, worries
from handover.boards.rhythm import by_carer, quiet
from handover.boards.visits import FORTNIGHT_DAYS, days_ahead
from handover.boards.ward import in_the_ward
from handover.plans.outlook import outlooks
from handover.questions.queries import waiting_questions
from handover.releases.lists import chosen
from handover.releases.queries import readiness_of
from hospital.admissions.models import PatientQuerySet
from hospital.clock import now, today
from hospital.mail.queries import undelivered
from hospital.medications.queries import waiting_orders
from hospital.pages import show
from hospital.people.access import for_roles
from hospital.people.models import STAFF, Role
from hospital.register.queries import to_settle
from hospital.register.wording import title

TABS = [
    (_("Today"), "boards:today"),
    (_("Next 14 days"), "boards:fortnight"),
    (_("Late"), "boards:late"),
    (_("Quiet carers"), "boards:quiet"),
    (_("Clutches due"), "boards:clutches"),
    (_("Plans to settle"), "boards:conflicts"),
    (_("Checked overnight"), "boards:proposals"),
]


def _board(request: HttpRequest, name: str, patients: PatientQuerySet, form: Any, **found: Any) -> HttpResponse:
    """The whole page, or its part to a refresh or a filter."""
    context = {
        "form": form,
        "tabs": [{"label": label, "url": reverse(url), "is_current": url == f"boards:{name}"} for label, url in TABS],
        "here": reverse(f"boards:{name}"),
        "as_of": now(),
        "today": today(),
        "count": len(patients),
        "is_filtered": any(request.GET.get(each) for each in ("words", "where")),
    }
    return show(request, f"boards/{name}.html", context | found, part=f"boards/_{name}.html")


@require_GET
@for_roles(*STAFF)
def today_board(request: HttpRequest) -> HttpResponse:
    """What cannot wait, then today's visits, then the animals in the hospital."""
    form, patients = chosen(request)
    known = outlooks(patients, today())
    late = overdue(known, today())
    ward = in_the_ward(known, now(), today())
    busy = sum(each.has_something for each in ward)
    return _board(
        request,
        "today",
        patients,
        form,
        worries=worries(patients, request.user, request.hospital, today()),
        late=[each for each in late if each.kind != "promised"],
        late_count=len(late),
        missed=[each for each in late if each.kind == "promised"],
        unsettled=unsettled(known, today(), with_reasons=False),
        quiet=by_carer(quiet(patients, today())),
        day=days_ahead(known, request.hospital, today(), 1)[0],
        ward=ward,
        ward_busy=busy,
        ward_calm=len(ward) - busy,
        ready=[each for each in readiness_of(known, today()).values() if each.is_ready],
        overnight=overnight(patients, request.hospital, today(), {pk: outlook.case for pk, outlook in known.items()}),
        first_shown=FIRST_SHOWN,
        clutches=[each for each in due_clutches(request.user, request.hospital, now()) if each.is_urgent],
        unsigned=waiting_orders([request.hospital.pk]),
        custody=custody(request.user, request.hospital, now(), today()),
        **_register(request),
        questions=waiting_questions(request.hospital, request.user),
        undelivered=undelivered(request.hospital) if Role.COORDINATOR in request.roles else 0,
        worrying_url=_url("logs:worrying"),
    )


def _register(request: HttpRequest) -> dict:
    """Pages of the register on which a count differs or a witness is missing, and how many are to be counted."""
    found = to_settle(request.hospital, now())
    open_ = [(each, title(each.page)) for each in found if each.discrepancies or each.not_witnessed]
    return {"register": open_, "to_count": sum(each.is_count_due for each in found)}


def _url(name: str) -> str:
    """An address that may not be there yet."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""


@require_GET
@for_roles(*STAFF)
def fortnight(request: HttpRequest) -> HttpResponse:
    """Visits of the next fourteen days: who brings what, and how long it takes."""
    form, patients = chosen(request)
    days = days_ahead(outlooks(patients, today()), request.hospital, today(), FORTNIGHT_DAYS)
    return _board(request, "fortnight", patients, form, days=days, has_visits=any(day.visits for day in days))


@require_GET
@for_roles(*STAFF)
def late(request: HttpRequest) -> HttpResponse:
    """Everything whose last day, or whose promised day, has gone by."""
    form, patients = chosen(request)
    return _board(request, "late", patients, form, late=overdue(outlooks(patients, today()), today()))


@require_GET
@for_roles(*STAFF)
def quiet_carers(request: HttpRequest) -> HttpResponse:
    """Carers from whom nothing came for longer than they usually let pass."""
    form, patients = chosen(request)
    patients = patients.prefetch_related("placements__carer__away")
    return _board(request, "quiet", patients, form, quiet=quiet(patients, today()))


@require_GET
@for_roles(*STAFF)
def clutches_due(request: HttpRequest) -> HttpResponse:
    """Eggs that may hatch soon, are to be candled, or whose incubator is silent or out of its range."""
    form, patients = chosen(request)
    return _board(request, "clutches", patients, form, due=due_clutches(request.user, request.hospital, now()))


@require_GET
@for_roles(*STAFF)
def conflicts(request: HttpRequest) -> HttpResponse:
    """Plans whose dates collide, and plans that somebody must publish."""
    form, patients = chosen(request)
    return _board(request, "conflicts", patients, form, unsettled=unsettled(outlooks(patients, today()), today()))


@require_GET
@for_roles(*STAFF)
def proposals(request: HttpRequest) -> HttpResponse:
    """What the night's check found for each animal, as long as it is still true."""
    form, patients = chosen(request)
    kind = request.GET.get("kind", "")
    kind = kind if kind in FILTERS else ""
    found = overnight(patients, request.hospital, today())
    shown = [each for each in found.noticed if each.is_of(kind)]
    kept = request.GET.copy()
    kept.pop("kind", None)
    return _board(
        request,
        "proposals",
        patients,
        form,
        overnight=found,
        shown=shown[:MOST_SHOWN],
        left_out=max(len(shown) - MOST_SHOWN, 0),
        kind=kind,
        kinds=filters(found, kind),
        kept=kept.urlencode(),
    )
