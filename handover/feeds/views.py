"""The page on which a person gets the address of a calendar, and the calendars themselves."""

from __future__ import annotations

import hashlib
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import http_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST, require_safe

from handover.feeds import actions, limits
from handover.feeds.ical import calendar_of, last_change, title_of
from handover.feeds.models import Feed
from handover.feeds.queries import KEPT_DAYS, dates_of, dates_on, feed_with, hash_of, may_have, open_feed
from handover.packs.charts import code_for
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.pages import done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import EVERYONE, STAFF

TYPE = "text/calendar; charset=utf-8"


class KindForm(forms.Form):
    """Which calendar a button is about."""

    kind = forms.ChoiceField(choices=Feed.Kind.choices, widget=forms.HiddenInput)


@for_roles(*EVERYONE)
def calendar(request: HttpRequest) -> HttpResponse:
    """The person's calendars; a new address is shown on the answer to its button and never again."""
    form = KindForm(request.POST if request.method == "POST" else None)
    made = done(form, actions.renew, request.hospital, by=request.user, at=now())
    kinds = [kind for kind in Feed.Kind if may_have(request.user, request.hospital, kind)]
    context = {
        "base": "base.html" if request.roles & STAFF else "base_carer.html",
        "form": form,
        "kept_days": KEPT_DAYS,
        "feeds": [_card(request, kind, form.result if made and form.cleaned_data["kind"] == kind else "") for kind in kinds],
    }
    return show(request, "feeds/calendar.html", context, status=200 if made else status_of(form))


def _card(request: HttpRequest, kind: Feed.Kind, token: str) -> dict[str, Any]:
    url = settings.SITE_URL + reverse("feeds:feed", args=[token]) if token else ""
    return {
        "kind": kind,
        "open": open_feed(request.user, request.hospital, kind),
        "url": url,
        "subscribe_url": f"webcal://{url.partition('://')[2]}" if url else "",
        "code": code_for(url) if url else None,
    }


@require_POST
@for_roles(*EVERYONE)
def end(request: HttpRequest) -> HttpResponse:
    """The address stops working."""
    if done(KindForm(request.POST), actions.end, request.hospital, by=request.user, at=now()):
        messages.success(request, _("The address no longer works. Take the calendar off your phone as well."))
    return redirect("feeds:calendar")


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """A calendar for whoever knows its address. One that was ended, or never was, is a 404 like any other."""
    found = feed_with(token)
    if found is None:
        asker = hashlib.sha256(request.META.get("REMOTE_ADDR", "").encode()).hexdigest()
        return _later() if limits.must_wait(f"unknown:{asker}") else HttpResponse(_("Not found."), status=404, content_type="text/plain")
    if limits.must_wait(hash_of(token)):
        return _later()
    on, zone = today(found.hospital.zone), ZoneInfo(found.hospital.zone)
    with timezone.override(zone):
        dates = dates_of(found, on)
        body = calendar_of(title_of(found), dates, found.hospital, found.kind)
    changed_at = last_change(dates, datetime.combine(on, time(), zone))
    return _conditional(request, body, int(changed_at.timestamp()))


def _later() -> HttpResponse:
    headers = {"Retry-After": str(limits.WINDOW_S)}
    return HttpResponse(_("Too often. Ask again later."), status=429, content_type="text/plain", headers=headers)


def _conditional(request: HttpRequest, body: bytes, changed_at_s: int) -> HttpResponse:
    """The calendar, or 304 to a program that has this very one (RFC 9110, section 13)."""
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    response = HttpResponse(body, content_type=TYPE, headers={"ETag": tag, "Last-Modified": http_date(changed_at_s)})
    found = get_conditional_response(request, etag=tag, last_modified=changed_at_s, response=response)
    found.headers["Cache-Control"] = "private, no-cache"
    found.headers["Referrer-Policy"] = "no-referrer"
    return found


@require_GET
@for_patient(*EVERYONE)
def visit(request: HttpRequest, patient: Patient, on: date) -> HttpResponse:
    """What is promised for one animal on one day, to put into a calendar once."""
    is_staff = request.user.memberships.filter(hospital=patient.hospital_id, role__in=STAFF).exists()
    kind = Feed.Kind.HOSPITAL if is_staff else Feed.Kind.MINE
    dates = dates_on(patient, on, kind, request.user)
    if not dates:
        raise Http404
    body = calendar_of(str(patient.hospital), dates, patient.hospital, kind)
    name = f"{patient.case_number}-{on.isoformat()}.ics"
    return HttpResponse(body, content_type=TYPE, headers={"Content-Disposition": f'attachment; filename="{name}"'})
