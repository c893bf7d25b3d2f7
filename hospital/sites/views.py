"""The hospital's own page: whom to phone, when the clinic is open."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.clock import today
from hospital.pages import both_versions, done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import STAFF, Role
from hospital.sites import actions, queries
from hospital.sites.forms import ClosedDayForm, HospitalForm
from hospital.sites.models import WEEKDAYS

CORRECTED = (
    "name", "phone", "out_of_hours_phone", "address", "clinic_hours", "closed_weekdays", "late_after_minutes",
    "missed_after_minutes", "latitude", "longitude", "zone",
)


@require_GET
@for_roles(*STAFF)
def hospital(request: HttpRequest) -> HttpResponse:
    """For every member of staff to read."""
    return show(request, "sites/hospital.html", _context(request))


def _context(request: HttpRequest) -> dict:
    week = [(name, number in request.hospital.closed_weekdays) for number, name in enumerate(WEEKDAYS)]
    return {
        "week": week,
        "closed_days": request.hospital.closed_days.filter(on__gte=today()),
        "may_edit": Role.COORDINATOR in request.roles,
    }


@for_roles(Role.COORDINATOR)
def edit(request: HttpRequest) -> HttpResponse:
    site = request.hospital
    known = {name: getattr(site, name) for name in CORRECTED} | {"seen_version": site.version}
    form = HospitalForm(request.POST or None, initial=known)
    if done(form, actions.correct_hospital, site):
        messages.success(request, _("The hospital's details were saved. Plans follow them from now on."))
        return redirect("sites:hospital")
    site.refresh_from_db()  # the letterhead must not show what was refused
    context = {"form": form} | ({"rows": both_versions(form)} if hasattr(form, "collision") else {})
    return show(request, "sites/edit.html", context, part="sites/_edit_form.html", status=status_of(form))


@for_roles(Role.COORDINATOR)
def close_day(request: HttpRequest) -> HttpResponse:
    form = ClosedDayForm(request.POST or None, initial={"on": request.GET.get("on")})
    if done(form, actions.close_day, request.hospital, today=today()):
        on = date_format(form.result.on, "D d-M-Y")
        messages.success(request, _("Closed on %(day)s. Look at the visits that were planned for it.") % {"day": on})
        return redirect("sites:hospital")
    return show(
        request, "sites/close_day.html", {"form": form}, part="sites/_close_day_form.html", status=status_of(form)
    )


@require_POST
@for_roles(Role.COORDINATOR)
def open_day(request: HttpRequest, day_id: int) -> HttpResponse:
    day = get_object_or_404(request.hospital.closed_days, pk=day_id)
    actions.open_day(day)
    messages.success(request, _("Open again on %(day)s.") % {"day": date_format(day.on, "D d-M-Y")})
    return redirect("sites:hospital")


@require_GET
@for_roles(*STAFF)
def outline(request: HttpRequest) -> HttpResponse:
    """The outline of the land around the hospital, for the map."""
    return HttpResponse(queries.outline(request.hospital), content_type="application/geo+json")
