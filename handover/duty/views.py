"""The list of those who are told of worrying reports, in order."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from handover.duty import actions
from handover.duty.forms import MinutesForm, TurnForm
from handover.duty.models import DutyTurn
from handover.schedule.duty import on_duty
from hospital.clock import now
from hospital.pages import done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import STAFF, Role
from hospital.sites.models import WEEKDAYS


@require_GET
@for_roles(*STAFF)
def duty(request: HttpRequest) -> HttpResponse:
    """Who is told, in which order, and who it would be now."""
    turns = list(request.hospital.duty_turns.select_related("person"))
    here = on_duty(actions.turns_of(request.hospital), now(), ZoneInfo(request.hospital.zone))
    rows = [{"turn": each, "days": [WEEKDAYS[day] for day in each.weekdays], "is_on": each.person_id in here} for each in turns]
    context = {"rows": rows, "rules": actions.rules_of(request.hospital), "may_edit": Role.COORDINATOR in request.roles}
    return show(request, "duty/duty.html", context)


@for_roles(Role.COORDINATOR)
def add(request: HttpRequest) -> HttpResponse:
    form = TurnForm(request.POST or None, hospital=request.hospital)
    if done(form, actions.add_turn, request.hospital):
        messages.success(request, _("%(name)s is on the list.") % {"name": form.result.person})
        return redirect("duty:duty")
    context = {"form": form, "title": _("Put somebody on the list"), "save": _("Put on the list")}
    return show(request, "duty/edit.html", context, status=status_of(form))


@for_roles(Role.COORDINATOR)
def minutes(request: HttpRequest) -> HttpResponse:
    rules = actions.rules_of(request.hospital)
    known = {name: getattr(rules, name) for name in MinutesForm.Meta.fields}
    form = MinutesForm(request.POST or None, initial=known | {"seen_version": rules.version})
    if done(form, actions.set_minutes, rules):
        messages.success(request, _("The minutes were saved. They count from now on."))
        return redirect("duty:duty")
    context = {"form": form, "title": _("Minutes until the next person is told"), "save": _("Save the minutes")}
    return show(request, "duty/edit.html", context, status=status_of(form))


def _turn(request: HttpRequest, turn_id: int) -> DutyTurn:
    return get_object_or_404(request.hospital.duty_turns, pk=turn_id)


@require_POST
@for_roles(Role.COORDINATOR)
def remove(request: HttpRequest, turn_id: int) -> HttpResponse:
    actions.remove_turn(_turn(request, turn_id))
    return redirect("duty:duty")


@require_POST
@for_roles(Role.COORDINATOR)
def up(request: HttpRequest, turn_id: int) -> HttpResponse:
    actions.move_up(_turn(request, turn_id))
    return redirect("duty:duty")
