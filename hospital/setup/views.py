"""The first pages of an empty installation."""

from __future__ import annotations

from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.cache import add_never_cache_headers

from hospital.admissions.models import Patient, Species
from hospital.pages import done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import Membership, Role
from hospital.setup import actions, address
from hospital.setup.forms import FirstForm

WEEKEND = [5, 6]


def first(request: HttpRequest, token: str) -> HttpResponse:
    """The first hospital and the first person; there only as long as there is nobody, for whoever started the server."""
    if not actions.is_empty() or not address.is_good(token):
        raise Http404
    form = FirstForm(request.POST or None, initial={"closed_weekdays": WEEKEND})
    if done(form, actions.begin):
        login(request, form.result)
        return redirect("setup:next")
    response = show(request, "setup/first.html", {"form": form}, part="setup/_form.html", status=status_of(form))
    add_never_cache_headers(response)
    response.headers["Referrer-Policy"] = "no-referrer"
    return response


@for_roles(Role.COORDINATOR, Role.VET)
def next_steps(request: HttpRequest) -> HttpResponse:
    """What a hospital needs next, and how far it has come."""
    members = Membership.objects.filter(hospital=request.hospital, person__is_active=True)
    context = {
        "has_species": Species.objects.exists(),
        "may_invite": Role.COORDINATOR in request.roles,
        "vets": members.filter(role=Role.VET).count(),
        "people": members.values("person").distinct().count(),
        "patients": Patient.objects.visible_to(request.user).at(request.hospital).count(),
    }
    return show(request, "setup/next.html", context)
