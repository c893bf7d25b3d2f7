"""Where a person is signed in: begun the same way whatever they signed in by, listed, ended from elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import wraps
from importlib import import_module
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth import login
from django.contrib.sessions.models import Session
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from hospital.clock import now
from hospital.people.actions import tell_of_change
from hospital.people.models import STAFF, Person, SignedIn

CARER_SESSION_S = 30 * 24 * 3600  # a phone on the river bank must not ask for a password before it sends a log
FRESH_FOR = timedelta(minutes=10)
AT, SEEN_ON = "signed_in_at", "seen_on"
BACKEND = "django.contrib.auth.backends.ModelBackend"
# A browser by what stands in its User-Agent header, the most telling first; systems likewise. Only for reading.
BROWSERS = [("Firefox", "Firefox"), ("Edg", "Edge"), ("OPR", "Opera"), ("Chrom", "Chrome"), ("CriOS", "Chrome"), ("Safari", "Safari")]
SYSTEMS = [("Android", "Android"), ("iPhone", "iPhone"), ("iPad", "iPad"), ("Windows", "Windows"), ("Mac", "Mac"), ("Linux", "Linux")]


def begin(request: HttpRequest, person: Person, by: SignedIn.By) -> None:
    """Sign the person in here; who is a carer only, on a phone of their own, stays signed in for a month."""
    login(request, person, backend=BACKEND)
    if not person.memberships.filter(role__in=STAFF).exists():
        request.session.set_expiry(CARER_SESSION_S)
    at, device = now(), device_of(request)
    if person.signed_in.exists() and not person.signed_in.filter(device=device).exists():
        tell_of_change(person, _("Somebody signed in on another device (%(device)s)") % {"device": device})
    request.session[AT], request.session[SEEN_ON] = at.isoformat(), at.date().isoformat()
    request.session.save()  # a key of its own from here on
    SignedIn.objects.update_or_create(
        session_key=request.session.session_key,
        defaults={
            "person": person, "by": by, "device": device, "signed_in_at": at, "seen_on": at.date(), "ended_at": None,
        },
    )  # fmt: skip


def device_of(request: HttpRequest) -> str:
    """The browser and what it runs on, as far as it tells: Firefox on Android."""
    told = request.headers.get("User-Agent", "")
    browser = next((name for part, name in BROWSERS if part in told), "")
    system = next((name for part, name in SYSTEMS if part in told), "")
    if browser and system:
        return _("%(browser)s on %(system)s") % {"browser": browser, "system": system}
    return browser or system or _("Unknown browser")


def note_seen(request: HttpRequest) -> None:
    """Write down once a day that the session is in use."""
    on = now().date().isoformat()
    if request.session.get(AT) and request.session.get(SEEN_ON) != on:
        request.session[SEEN_ON] = on
        SignedIn.objects.filter(session_key=request.session.session_key).update(seen_on=on)


def open_sessions(person: Person) -> list[SignedIn]:
    """Where the person is signed in now, the newest first."""
    rows = list(person.signed_in.filter(ended_at=None))
    alive = Session.objects.filter(session_key__in=[row.session_key for row in rows], expire_date__gt=now())
    keys = set(alive.values_list("session_key", flat=True))
    return [row for row in rows if row.session_key in keys]


def end(sessions: list[SignedIn]) -> None:
    """Sign out there, from this moment on."""
    store = import_module(settings.SESSION_ENGINE).SessionStore
    for each in sessions:
        store(each.session_key).delete()
        SignedIn.objects.filter(pk=each.pk).update(ended_at=now())


def end_others(request: HttpRequest) -> int:
    """Sign the person out everywhere but here; how many that were."""
    others = [each for each in open_sessions(request.user) if each.session_key != request.session.session_key]
    end(others)
    return len(others)


def is_fresh(request: HttpRequest) -> bool:
    began = request.session.get(AT)
    return bool(began) and now() - datetime.fromisoformat(began) < FRESH_FOR


def freshly_signed_in(view: Callable) -> Callable:
    """For pages that change how one signs in: who signed in longer than ten minutes ago does so once more."""

    @wraps(view)
    def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if is_fresh(request):
            return view(request, *args, **kwargs)
        to = request.path if request.method == "GET" else reverse("people:account")
        return redirect(f"{reverse('people:sign-in')}?{urlencode({'again': 1, 'next': to})}")

    return guarded
