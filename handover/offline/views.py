"""What a carer's phone keeps for the hours without signal: the worker, which pages, and the page of reports not sent yet.

Pages of the carer's own animals only; they show no finder, no place and nobody's address. The device removes them at
sign-out, when an animal has left the carer, and when the hospital was out of reach for 14 days (offline.js).
"""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from handover.logs.queries import DAYS_AHEAD, mine
from handover.packs.queries import packs_for
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.people.access import for_anyone, for_roles
from hospital.people.models import Person, Role

_FONT = "vendor/atkinson-hyperlegible-next-5.3.0/atkinson-hyperlegible-next-{}-{}-normal.woff2"
FONTS = [_FONT.format(part, weight) for part in ("latin", "latin-ext") for weight in (400, 700)]
OUTBOX = ["vendor/idb-8.0.4/idb.js", "handover/outbox.js"]
ASSETS = [
    *(f"hospital/{name}" for name in ("base.css", "fonts.css", "pack.css", "print.css", "app.js", "emblem.svg", "tide.svg", "reeds.svg")),
    *(f"handover/{name}" for name in ("report.js", "answer.js", "offline.js", "not_sent.js", "ask.js", "watertime.js", "timer.js")),
    *OUTBOX,
    *FONTS,
]
ICONS = [("handover/icon-192.png", "192x192"), ("handover/icon-512.png", "512x512")]


@require_GET
@for_roles(Role.CARER)
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker's script. Asked anew by the browser on every visit, so that a new version is there at once."""
    told = {
        "ASSETS": [staticfiles_storage.url(name) for name in ASSETS],
        "OUTBOX": [staticfiles_storage.url(name) for name in OUTBOX],
        "KEPT_URL": reverse("offline:kept"),
        "NOT_KEPT_URL": reverse("offline:no-signal"),
    }
    script = Path(finders.find("handover/worker.js")).read_text()
    text = "".join(f"self.{name} = {json.dumps(value)};\n" for name, value in told.items()) + script
    return HttpResponse(text, content_type="text/javascript", headers={"Cache-Control": "no-cache"})


@require_GET
@for_roles(Role.CARER)
def manifest(request: HttpRequest) -> JsonResponse:
    """The web application manifest (W3C), by which a phone puts the carer's pages on its home screen."""
    icons = [{"src": staticfiles_storage.url(name), "sizes": size, "type": "image/png"} for name, size in ICONS]
    told = {
        "name": request.hospital.name if request.hospital else _("Wildlife hospital"),
        "short_name": _("My animals"),
        "id": "/my-animals/",
        "start_url": reverse("logs:mine"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#f7f2e7",
        "theme_color": "#f7f2e7",
        "icons": icons,
    }
    return JsonResponse(told, content_type="application/manifest+json")


@require_GET
@for_anyone
def kept(request: HttpRequest) -> JsonResponse:
    """Who is signed in, the token for sending, and which pages to keep: for each of the next days its own page of the day.

    Somebody who is no carer any more still sends what waits, and keeps no page.
    """
    told = {"person": str(request.user.pk), "csrf": get_token(request), "at": now().isoformat()}
    if Role.CARER not in request.roles:
        return JsonResponse(told | {"zone": "UTC", "pages": [], "days": {}})
    patients = [each.patient for each in mine(request.user)]
    pages = [reverse("logs:mine"), reverse("offline:not-sent"), reverse("offline:no-signal")]
    days = {reverse("logs:day", args=[each.case_number]): _days(each) for each in patients}
    for patient in patients:
        pages += _pages(patient, request.user)
    pages += [address for each in days.values() for address in each.values()]
    zone = patients[0].hospital.zone if patients else request.hospital.zone
    return JsonResponse(told | {"zone": zone, "pages": pages, "days": days})


def _days(patient: Patient) -> dict[str, str]:
    """Today's page and those of the next days, each with its own address."""
    day = today(patient.hospital.zone)
    coming = [day + timedelta(n) for n in range(1, DAYS_AHEAD + 1)]
    ahead = {each.isoformat(): reverse("logs:ahead", args=[patient.case_number, each]) for each in coming}
    return {day.isoformat(): reverse("logs:day", args=[patient.case_number]), **ahead}


def _pages(patient: Patient, person: Person) -> list[str]:
    kept = ("logs:coming", "logs:guide", "logs:past", "questions:questions", "packs:pack")
    pages = [reverse(name, args=[patient.case_number]) for name in kept]
    if pack := packs_for(patient, person).first():
        pages += [reverse(name, args=[patient.case_number, pack.version]) for name in ("packs:page", "packs:file")]
    return pages


@require_GET
@for_roles(Role.CARER)
def no_signal(request: HttpRequest) -> HttpResponse:
    """Shown by the worker in place of a page that is not kept."""
    return render(request, "offline/no_signal.html")


@require_GET
@for_roles(Role.CARER)
def install(request: HttpRequest) -> HttpResponse:
    """How to put the carer's pages on the home screen, step by step."""
    return render(request, "offline/install.html")


@require_GET
@for_roles(Role.CARER)
def not_sent(request: HttpRequest) -> HttpResponse:
    """The reports that this phone holds and the hospital does not have yet; filled in by the script, which alone knows them."""
    return render(request, "offline/not_sent.html")
