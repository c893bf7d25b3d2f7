"""Who may do what. Sign-in is required everywhere by middleware; here are roles, and the hospital one works at."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation

from hospital.people.models import STAFF, Role
from hospital.people.sessions import note_seen
from hospital.sites.models import Hospital

CHOSEN = "hospital_id"  # the session's key for the hospital that a person of several works at now


def attend(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: put `hospital` and `roles` on the request and keep the hospital's time."""

    def middleware(request: HttpRequest) -> HttpResponse:
        request.hospital, request.roles, request.works_at_several = None, frozenset(), False
        if request.user.is_authenticated:
            request.hospital, request.roles, request.works_at_several = _place_and_roles(request)
            note_seen(request)
        if request.hospital is None:
            return get_response(request)
        request.LANGUAGE_CODE = language_of(request)
        with timezone.override(ZoneInfo(request.hospital.zone)), translation.override(request.LANGUAGE_CODE):
            response = get_response(request)
        response.headers.setdefault("Content-Language", request.LANGUAGE_CODE)
        return response

    return middleware


def language_of(request: HttpRequest) -> str:
    """Carers read in the language they chose, else as their browser asks; pages of staff are in English and never half in another."""
    if request.roles & STAFF:
        return settings.LANGUAGE_CODE
    return request.user.language or translation.get_language() or settings.LANGUAGE_CODE


def _place_and_roles(request: HttpRequest) -> tuple[Hospital | None, frozenset[Role], bool]:
    held = list(request.user.memberships.select_related("hospital").order_by("hospital__id"))
    if not held:
        return None, frozenset(), False
    chosen = request.session.get(CHOSEN)
    hospital = next((m.hospital for m in held if m.hospital_id == chosen), held[0].hospital)
    roles = frozenset(Role(m.role) for m in held if m.hospital_id == hospital.pk)
    return hospital, roles, len({m.hospital_id for m in held}) > 1


def for_roles(*roles: Role) -> Callable:
    """Only for people who hold one of the roles at the hospital they work at now; others get 403."""

    def decorate(view: Callable) -> Callable:
        @wraps(view)
        def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
            if not request.roles & set(roles):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        guarded.allowed_roles = frozenset(roles)
        return guarded

    return decorate


def for_anyone(view: Callable) -> Callable:
    """For everybody who is signed in, with or without a role. Says so for the test that walks all addresses."""
    view.allowed_roles = frozenset(Role)
    return view
