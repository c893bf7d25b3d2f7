"""A calendar as text by RFC 5545, with the name and refresh interval of RFC 7986. It says little: it may lie on a phone
that others pick up, so no species, no medicine, no finder, no carer, and no place but the hospital."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event, Timezone

from handover.feeds.clockwork import clock_of
from handover.feeds.models import Feed
from handover.feeds.queries import DOSE, Dated
from handover.labels.events import name_of
from hospital.admissions.models import Patient
from hospital.sites.models import Hospital

REFRESH = timedelta(hours=4)
EVENING_BEFORE = timedelta(hours=-6)  # of a day that begins at midnight: 18:00
DOSE_LASTS = timedelta(minutes=15)


def calendar_of(title: str, dates: Iterable[Dated], hospital: Hospital, kind: str) -> bytes:
    """The calendar, the same to the byte as long as nothing changes."""
    made = Calendar()
    made.add("prodid", "-//Wildlife handover//Calendar//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    for name in ("name", "x-wr-calname"):
        made.add(name, title)
    made.add("refresh-interval", REFRESH, parameters={"value": "DURATION"})
    made.add("x-published-ttl", "PT4H")
    events = [_event(each, hospital, kind) for each in dates]
    if timed := [each["dtstart"].dt for each in events if isinstance(each["dtstart"].dt, datetime)]:
        made.add_component(_zone(hospital.zone, min(timed).date(), max(timed).date()))
    for each in events:
        made.add_component(each)
    return made.to_ical()


def title_of(feed: Feed) -> str:
    words = _("My animals, %(hospital)s") if feed.kind == Feed.Kind.MINE else _("Visits, %(hospital)s")
    return words % {"hospital": feed.hospital}


def last_change(dates: Iterable[Dated], day_began_at: datetime) -> datetime:
    """When the calendar last changed: with each new day other doses come into sight, and old things drop out of it."""
    return max((day_began_at, *(each.entry.changed_at for each in dates)))


def _zone(zone: str, first: date, last: date) -> Timezone:
    """The hospital's own clock, with both changes of a year on either side."""
    return clock_of(zone, date(first.year - 1, 1, 1), date(last.year + 2, 1, 1))


def _event(dated: Dated, hospital: Hospital, kind: str) -> Event:
    entry, patient = dated.entry, dated.patient
    event = Event()
    event.add("uid", str(entry.uid))
    event.add("dtstamp", entry.changed_at.astimezone(UTC))
    event.add("created", entry.made_at.astimezone(UTC))
    event.add("last-modified", entry.changed_at.astimezone(UTC))
    event.add("sequence", entry.revision)
    event.add("status", "CANCELLED" if entry.is_cancelled else "CONFIRMED")
    event.add("class", "PRIVATE")
    _add_time(event, entry.state.starts, hospital.zone)
    event.add("summary", f"{_what(dated)} · {' '.join((patient.case_number, patient.name)).strip()}")
    event.add("description", _description(dated, hospital, kind))
    event.add("url", settings.SITE_URL + _page(patient, kind))
    if entry.state.at_clinic:
        event.add("location", ", ".join(filter(None, (hospital.name, hospital.address))))
    if not entry.is_cancelled:
        event.add_component(_alarm(event))
    return event


def _add_time(event: Event, starts: date | datetime, zone: str) -> None:
    """A promise is about a day, which is nobody's busy time; a dose has a quarter of an hour of the hospital's clock."""
    if isinstance(starts, datetime):
        local = starts.astimezone(ZoneInfo(zone))
        event.add("dtstart", local)
        event.add("duration", DOSE_LASTS)
    else:
        event.add("dtstart", starts)
        event.add("dtend", starts + timedelta(days=1))
        event.add("transp", "TRANSPARENT")


def _what(dated: Dated) -> str:
    state = dated.entry.state
    return _("Medicine") if state.event == DOSE else name_of(state.event).label


def _description(dated: Dated, hospital: Hospital, kind: str) -> str:
    state, lines = dated.entry.state, []
    if state.event == DOSE:
        lines.append(_("What and how much: see today’s page, never this calendar."))
    elif state.at_clinic:
        bring = name_of(state.event).bring
        lines += [_("Bring: %(what)s") % {"what": bring}] if bring and kind == Feed.Kind.MINE else []
    lines.append(_("Your calendar may lag behind by some hours. What the hospital’s page says counts."))
    lines.append(_("Phone: %(number)s") % {"number": hospital.phone})
    return "\n".join(lines)


def _page(patient: Patient, kind: str) -> str:
    return reverse("logs:day" if kind == Feed.Kind.MINE else "plans:plan", args=[patient.case_number])


def _alarm(event: Event) -> Alarm:
    """The evening before a visit; at the moment of a dose."""
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", event["summary"])
    alarm.add("trigger", timedelta() if isinstance(event["dtstart"].dt, datetime) else EVENING_BEFORE)
    return alarm
