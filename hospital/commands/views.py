"""The box of every page: a case number, words that find an animal, or what to do with it."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET

from hospital.admissions.models import Patient
from hospital.admissions.queries import by_case_number, matching
from hospital.commands.queries import suggestions
from hospital.pages import show
from hospital.people.access import for_roles
from hospital.people.models import STAFF


@require_GET
@for_roles(*STAFF)
def find(request: HttpRequest) -> HttpResponse:
    """Where the words lead. Sent with the enter key: straight there if only one place is meant; else the list to choose from."""
    words = request.GET.get("words", "").strip()[:80]
    patients = Patient.objects.visible_to(request.user).at(request.hospital)
    if not request.htmx and (leads_to := _leads_to(request, patients, words)):
        return redirect(leads_to)
    context = {"words": words, "suggestions": suggestions(patients, request.roles, words)}
    return show(request, "commands/find.html", context, part="commands/_suggestions.html")


def _leads_to(request: HttpRequest, patients, words: str) -> str:
    """The one address that is meant; the list of animals when only animals are; else nothing."""
    if patient := by_case_number(request.user, words):
        return reverse("chart:patient", args=[patient.case_number])
    found = matching(patients, words)
    some = list(found[:2]) if words else []
    if len(some) == 1:
        return reverse("chart:patient", args=[some[0].case_number])
    others = [] if some or not words else suggestions(patients, request.roles, words)
    if others:
        return others[0].url if len(others) == 1 else ""
    in_care_or_not = "admissions:closed" if some and not found.in_care().exists() else "admissions:in-care"
    return f"{reverse(in_care_or_not)}?{urlencode({'words': words})}"
