"""What every page shows around its content: the hospital, who is signed in, and the menu of their roles."""

from __future__ import annotations

from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from hospital.people.models import CLINICAL, STAFF, Role

# label, URL name, roles
ENTRIES = [
    (_("Today"), "boards:today", STAFF),
    (_("My animals"), "logs:mine", {Role.CARER}),
    (_("My days away"), "placements:my-away", {Role.CARER}),
    (_("Calendar"), "feeds:calendar", {Role.CARER, Role.COORDINATOR}),
    (_("In care"), "admissions:in-care", STAFF),
    (_("Treatment sheet"), "ward:sheet", STAFF),
    (_("Admit"), "admissions:admit", STAFF),
    (_("Carers"), "placements:carers", STAFF),
    (_("Incubators"), "incubators:incubators", STAFF),
    (_("Register"), "register:register", STAFF),
    (_("Theatre"), "theatre:day", CLINICAL),
    (_("Release"), "releases:candidates", STAFF),
    (_("Closed cases"), "admissions:closed", STAFF),
    (_("Outcomes in figures"), "statistics:outcomes", STAFF),
    (_("Records"), "exports:records", {Role.VET, Role.COORDINATOR}),
    (_("Protocols"), "protocols:library", CLINICAL | {Role.COORDINATOR}),
    (_("Formulary"), "formulary:groups", CLINICAL | {Role.COORDINATOR}),
    (_("Post"), "mail:post", {Role.COORDINATOR}),
    (_("Hospital"), "sites:hospital", STAFF),
]


def surroundings(request: HttpRequest) -> dict:
    """Context for base.html. An error page before sign-in gets nothing of it."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    roles = getattr(request, "roles", frozenset())
    return {
        "person": user,
        "hospital": getattr(request, "hospital", None),
        "roles": roles,
        "person_links": _person_links(request),
        "find_url": reverse("commands:find") if roles & set(STAFF) else "",
        "menu": [entry(request, label, name) for label, name, allowed in ENTRIES if roles & set(allowed)],
    }


def _person_links(request: HttpRequest) -> list[dict]:
    """My account, and how I read; for people of several hospitals also where to choose the one they work at now."""
    links = [
        {"label": _("My account"), "url": reverse("people:account")},
        {"label": _("Language and print"), "url": reverse("people:reading")},
        {"label": _("My letters"), "url": reverse("mail:choose")},
    ]
    if getattr(request, "works_at_several", False):
        links.append({"label": _("Work at another hospital"), "url": reverse("people:work-at")})
    return links


def entry(request: HttpRequest, label: str, name: str) -> dict:
    url = reverse(name)
    return {"label": label, "url": url, "is_current": request.path == url}
