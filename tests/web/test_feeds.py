"""Calendars: who gets which address, that it stays secret, and that independent readers of RFC 5545 read what was promised."""

import io
import logging
import re
from datetime import UTC, date, datetime, timedelta

import ics
import pytest
import time_machine
from dateutil.tz import tzical
from django.core.cache import cache
from django.urls import reverse
from icalendar import Calendar

from handover.feeds import limits
from handover.feeds.actions import end, renew
from handover.feeds.masking import HideAddresses
from handover.feeds.models import Feed
from handover.plans.actions import fix_day, publish
from handover.plans.models import PlannedDate
from hospital.admissions.models import Finder
from hospital.clock import now
from hospital.medications.models import DoseGiven
from hospital.placements.actions import bring_back
from tests import make

MINE, HOSPITAL = Feed.Kind.MINE, Feed.Kind.HOSPITAL


@pytest.fixture(autouse=True)
def _on_that_day(db):
    cache.clear()
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet, carer):
    """A pond turtle with sutures, at the carer's, its plan published."""
    finder = Finder.objects.create(hospital=carer.hospital, name="Fay Finder", phone="01632 960999")
    about = dict(name="Bramblé ☂", found_place="Secret Mere", finder=finder)
    patient = make.patient(vet, admitted_at=make.at("2027-02-25 10:00"), **about)
    on, who = date(2027, 2, 26), {"surgeon": vet, "recorded_by": vet}
    operation = patient.procedures.create(kind="limb-fixation", done_on=on, site="left hind limb", **who)
    patient.closures.create(procedure=operation, closed_on=on, site="left hind limb", material="nylon", count=6)
    make.placement(patient, carer, days_ago=1)
    publish(patient, by=vet)
    return patient


def address(person, hospital, kind=MINE):
    return reverse("feeds:feed", args=[renew(hospital, by=person, kind=kind, at=now())])


def text_of(client, url, **headers):
    answer = client.get(url, headers=headers)
    assert answer.status_code == 200
    return answer.content.decode()


def events(text):
    """By UID, as `icalendar` reads them."""
    return {str(each["uid"]): each for each in Calendar.from_ical(text).walk("VEVENT")}


def the(text, what):
    """The only event of that name."""
    (found,) = [each for each in events(text).values() if str(each["summary"]).startswith(what)]
    return found


def planned(patient):
    return {row.event_id: row.on for row in PlannedDate.objects.filter(plan=patient.plans.order_by("-version").first())}


SUTURES = "Sutures or staples out"


# --- two independent readers ----------------------------------------------------------------------------------------


def test_two_readers_find_every_promised_day(client, turtle, carer, hospital):
    text = text_of(client, address(carer.person, hospital))

    promised = sorted(on for on in planned(turtle).values())
    assert sorted(each["dtstart"].dt for each in events(text).values()) == promised
    assert sorted(each.begin.date() for each in ics.Calendar(text).events) == promised
    assert all(each.all_day for each in ics.Calendar(text).events)


def test_names_in_any_script_come_back_whole_from_lines_of_75_octets(client, turtle, carer, hospital):
    """RFC 5545, section 3.1: lines of at most 75 octets without the break, ended by CR LF, in UTF-8."""
    body = client.get(address(carer.person, hospital)).content

    lines = body.split(b"\r\n")
    assert body.endswith(b"\r\n")
    assert b"\n" not in body.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    assert str(the(body.decode(), SUTURES)["summary"]) == f"{SUTURES} · {turtle.case_number} Bramblé ☂"
    assert f"{SUTURES} · {turtle.case_number} Bramblé ☂" in {each.name for each in ics.Calendar(body.decode()).events}


def test_the_calendar_has_what_the_standard_asks_for(client, turtle, carer, hospital):
    """RFC 5545: 3.6 (PRODID, VERSION), 3.6.1 (UID, DTSTAMP in UTC), 3.8.2.2 (DTEND is the day after), 3.6.6 (alarm);
    RFC 7986: 5.1 (NAME) and 5.7 (REFRESH-INTERVAL as a duration)."""
    text = text_of(client, address(carer.person, hospital))

    calendar, visit = Calendar.from_ical(text), the(text, SUTURES)
    assert (calendar["version"], bool(calendar["prodid"]), str(calendar["name"])) == ("2.0", True, "My animals, Test Hospital")
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT4H" in text
    assert visit["dtend"].dt - visit["dtstart"].dt == timedelta(days=1)
    assert (visit["dtstamp"].dt, visit["sequence"], visit["status"]) == (make.at("2027-03-01 09:00"), 0, "CONFIRMED")
    (alarm,) = visit.walk("VALARM")
    assert (alarm["action"], alarm["trigger"].dt, bool(alarm["description"])) == ("DISPLAY", timedelta(hours=-6), True)
    assert not calendar.errors


def test_a_dose_stands_at_its_minute_on_both_sides_of_the_change_to_summer_time(client, turtle, carer, vet, hospital):
    """In 2027 British Summer Time begins on Sunday 28 March at 01:00 UTC and ends on 31 October (Summer Time Order 2002)."""
    make.order(turtle, every_hours=12, doses=14, first_dose_at=make.at("2027-03-25 08:00"))
    make.order(turtle, every_hours=24, doses=4, first_dose_at=make.at("2027-10-29 19:30"))
    url = address(carer.person, hospital)
    with time_machine.travel(make.at("2027-03-25 07:00"), tick=False):
        spring = text_of(client, url)
    with time_machine.travel(make.at("2027-10-29 07:00"), tick=False):
        autumn = text_of(client, url)

    for text, local in ((spring, {"08:00", "20:00"}), (autumn, {"20:30"})):
        doses = [each for each in events(text).values() if str(each["summary"]).startswith("Medicine")]
        clock = tzical(io.StringIO(text)).get("Europe/London")
        offsets = set()
        for each in doses:
            written = each["dtstart"].to_ical().decode()
            moment = datetime.strptime(written, "%Y%m%dT%H%M%S").replace(tzinfo=clock)  # by the zone that the file brings
            assert moment.astimezone(UTC) == each["dtstart"].dt.astimezone(UTC)
            assert each["dtstart"].params["tzid"] == "Europe/London"
            offsets.add(moment.utcoffset())
        assert {f"{each['dtstart'].dt:%H:%M}" for each in doses} == local
        assert offsets == {timedelta(0), timedelta(hours=1)}
    assert sorted(each.begin.format("HH:mm") for each in ics.Calendar(autumn).events if each.name.startswith("Medicine")) == ["20:30"] * 4


# --- what moves, goes and comes back ----------------------------------------------------------------------------------


def test_a_visit_that_moves_keeps_its_name_and_raises_its_sequence(client, turtle, vet, carer, hospital):
    url = address(carer.person, hospital)
    before = the(text_of(client, url), SUTURES)
    (event_id,) = [name for name in planned(turtle) if name.startswith("suture_removal")]
    with time_machine.travel(make.at("2027-03-02 10:00"), tick=False):
        row = PlannedDate.objects.get(plan__patient=turtle, event_id=event_id)
        window = [row.opens_on + timedelta(days=n) for n in range((row.closes_on - row.opens_on).days + 1)]
        other = next(day for day in window if day != row.on and day.weekday() < 5)
        fix_day(turtle, by=vet, event_id=event_id, on=other, reason="Clinic full")
        publish(turtle, by=vet)
        after = the(text_of(client, url), SUTURES)

    assert (after["uid"], after["dtstart"].dt) == (before["uid"], other)
    assert (before["sequence"], after["sequence"]) == (0, 1)
    assert (after["dtstamp"].dt, after["created"].dt) == (make.at("2027-03-02 10:00"), make.at("2027-03-01 09:00"))


def test_what_is_off_stays_as_cancelled_for_thirty_days_and_rings_no_more(client, turtle, vet, coordinator, carer, hospital):
    url = address(carer.person, hospital)
    before = the(text_of(client, url), SUTURES)
    with time_machine.travel(make.at("2027-03-03 10:00"), tick=False):
        bring_back(turtle, by=coordinator, at=now())
        cancelled = the(text_of(client, url), SUTURES)
    with time_machine.travel(make.at("2027-04-02 10:00"), tick=False):
        last_day = events(text_of(client, url))
    with time_machine.travel(make.at("2027-04-04 10:00"), tick=False):
        gone = events(text_of(client, url))

    assert (cancelled["uid"], str(cancelled["status"]), cancelled["sequence"]) == (before["uid"], "CANCELLED", 1)
    assert cancelled["dtstamp"].dt == make.at("2027-03-03 10:00")
    assert cancelled.walk("VALARM") == []
    assert (str(before["uid"]) in last_day, str(before["uid"]) in gone) == (True, False)


def test_a_late_dose_that_moves_the_others_moves_them_on_the_calendar(client, turtle, vet, carer, hospital):
    order = make.order(turtle, every_hours=12, doses=4, first_dose_at=make.at("2027-03-01 10:00"), late_dose="shift")
    url = address(carer.person, hospital)
    before = {uid: each for uid, each in events(text_of(client, url)).items() if str(each["summary"]).startswith("Medicine")}
    with time_machine.travel(make.at("2027-03-01 13:00"), tick=False):
        DoseGiven.objects.create(patient=turtle, order=order, given_at=make.at("2027-03-01 12:00"), given_by=vet)
        after = events(text_of(client, url))

    moved = {uid: after[uid]["dtstart"].dt - each["dtstart"].dt for uid, each in before.items()}
    assert sorted(moved.values()) == [timedelta(0)] + [timedelta(hours=2)] * 3
    assert all(after[uid]["sequence"] == (1 if by else 0) for uid, by in moved.items())


def test_a_course_that_is_stopped_is_cancelled_from_the_next_day_on(client, turtle, vet, carer, hospital):
    order = make.order(turtle, every_hours=24, doses=5, first_dose_at=make.at("2027-03-01 20:00"))
    with time_machine.travel(make.at("2027-03-03 10:00"), tick=False):
        order.stopped_on = date(2027, 3, 3)
        order.save()
        doses = [e for e in events(text_of(client, address(carer.person, hospital))).values() if str(e["summary"]).startswith("Medicine")]

    assert sorted((e["dtstart"].dt.day, str(e["status"])) for e in doses) == [
        (1, "CONFIRMED"), (2, "CONFIRMED"), (3, "CONFIRMED"), (4, "CANCELLED"), (5, "CANCELLED"),
    ]  # fmt: skip


# --- who reads what -----------------------------------------------------------------------------------------------


def test_a_calendar_tells_nothing_but_what_and_when(client, turtle, vet, carer, coordinator, hospital):
    make.order(turtle, drug="Meloxicam")
    for url in (address(carer.person, hospital), address(coordinator, hospital, HOSPITAL)):
        text = text_of(client, url).replace("\r\n ", "")

        assert turtle.case_number in text
        for secret in ("Fay", "960999", "Secret Mere", "Meloxicam", "pond turtle", "Emys", "hind limb", "Carl", "Reedham"):
            assert secret not in text


def test_the_hospital_sees_visits_of_all_and_a_carer_only_their_own(client, turtle, vet, carer, coordinator, hospital):
    other = make.carer("Olga Other", hospital)
    home = sum(row.place == "home" for row in PlannedDate.objects.filter(patient=turtle))

    mine, hers, all_visits = (
        events(text_of(client, address(person, hospital, kind)))
        for person, kind in ((carer.person, MINE), (other.person, MINE), (coordinator, HOSPITAL))
    )

    assert len(hers) == 0
    assert len(mine) - len(all_visits) == home
    assert all("location" in each for each in all_visits.values())


def test_an_address_needs_no_session_and_works_until_it_is_ended_or_replaced(client, turtle, carer, hospital):
    first = address(carer.person, hospital)
    text_of(client, first)
    second = address(carer.person, hospital)
    statuses = [client.get(first).status_code, client.get(second).status_code]
    end(hospital, by=carer.person, kind=MINE, at=now())

    assert statuses == [404, 200]
    assert client.get(second).status_code == 404


@pytest.mark.parametrize("loses", ["role", "account"])
def test_an_address_ends_with_the_role_and_with_the_account(client, turtle, carer, hospital, loses):
    url = address(carer.person, hospital)
    if loses == "role":
        carer.person.memberships.all().delete()
    else:
        carer.person.is_active = False
        carer.person.save()

    assert client.get(url).status_code == 404


def test_the_secret_is_kept_as_a_hash_and_stays_out_of_the_log(client, turtle, carer, hospital, caplog):
    url = address(carer.person, hospital)
    secret = re.fullmatch(r"/calendar/(.+)\.ics", url)[1]
    end(hospital, by=carer.person, kind=MINE, at=now())
    record = logging.LogRecord("django.request", logging.WARNING, "", 0, "%s: %s", ("Not Found", url), None)
    HideAddresses().filter(record)

    assert len(secret) >= 43  # 256 bits in base 64
    assert secret not in str(Feed.objects.values())
    assert record.getMessage() == "Not Found: /calendar/….ics"


def test_a_program_that_asks_too_often_must_wait_and_a_wrong_address_stops_nobody_else(client, turtle, carer, hospital):
    url = address(carer.person, hospital)
    wrong = [client.get(reverse("feeds:feed", args=["x" * 43])).status_code for _ in range(limits.MOST + 1)]
    right = [client.get(url).status_code for _ in range(limits.MOST + 1)]

    assert wrong == [404] * limits.MOST + [429]
    assert right == [200] * limits.MOST + [429]
    assert client.get(url)["Retry-After"] == "900"


def test_what_has_not_changed_is_not_sent_again(client, turtle, vet, carer, hospital):
    """RFC 9110, sections 13.1.2 and 13.1.3."""
    url = address(carer.person, hospital)
    first = client.get(url)
    by_tag = client.get(url, headers={"If-None-Match": first["ETag"]})
    by_date = client.get(url, headers={"If-Modified-Since": first["Last-Modified"]})
    with time_machine.travel(make.at("2027-03-01 11:00"), tick=False):
        bring_back(turtle, by=vet, at=now())
        asked = (("If-None-Match", "ETag"), ("If-Modified-Since", "Last-Modified"))
        changed = [client.get(url, headers={name: first[own]}) for name, own in asked]

    assert (by_tag.status_code, by_date.status_code, by_tag.content) == (304, 304, b"")
    assert [each.status_code for each in changed] == [200, 200]
    assert (first["Referrer-Policy"], first["Cache-Control"]) == ("no-referrer", "private, no-cache")


# --- the page -----------------------------------------------------------------------------------------------------


def test_the_page_shows_an_address_once_with_its_code(client, turtle, carer):
    client.force_login(carer.person)
    url = reverse("feeds:calendar")
    made = client.post(url, {"kind": "mine"}).content.decode()
    shown = re.search(r'value="(https?://[^"]+/calendar/[^"]+\.ics)"', made)[1]
    again = client.get(url).content.decode()

    assert f"webcal://{shown.partition('://')[2]}" in made
    assert "<svg" in made
    assert ".ics" not in again
    assert "You have had an address since" in again
    assert client.get(shown).status_code == 200


def test_each_role_gets_its_own_calendars(client, turtle, carer, coordinator, vet, stranger):
    kinds = []
    for person in (carer.person, coordinator, vet, stranger):
        client.force_login(person)
        kinds.append([str(row["kind"]) for row in client.get(reverse("feeds:calendar")).context["feeds"]])

    assert kinds == [["mine"], ["hospital"], ["hospital"], ["hospital"]]


def test_nobody_gets_a_calendar_that_is_not_theirs(client, turtle, carer):
    client.force_login(carer.person)
    refused = [client.post(reverse("feeds:calendar"), {"kind": kind}).status_code for kind in ("hospital", "nonsense", "")]

    assert refused == [422, 422, 422]
    assert not Feed.objects.exists()


def test_the_address_is_ended_by_its_button(client, turtle, carer, hospital):
    url = address(carer.person, hospital)
    client.force_login(carer.person)
    client.post(reverse("feeds:end"), {"kind": "mine"})

    assert client.get(url).status_code == 404
    assert "Make an address" in client.get(reverse("feeds:calendar")).content.decode()


def test_one_visit_is_put_into_a_calendar_once_under_the_same_name(client, turtle, carer, vet, stranger, hospital):
    feed = events(text_of(client, address(carer.person, hospital)))
    on = the(text_of(client, address(carer.person, hospital)), SUTURES)["dtstart"].dt
    url, nothing = (reverse("feeds:visit", args=[turtle.case_number, day]) for day in (on, on + timedelta(days=300)))
    client.force_login(carer.person)
    answer, none = client.get(url), client.get(nothing)
    statuses = []
    for person in (vet, stranger):
        client.force_login(person)
        statuses.append(client.get(url).status_code)

    assert set(events(answer.content.decode())) <= set(feed)
    assert SUTURES in answer.content.decode()
    assert answer["Content-Disposition"] == f'attachment; filename="{turtle.case_number}-{on}.ics"'
    assert (none.status_code, statuses) == (404, [200, 404])
