"""The hospital's own page: whom to phone, when the clinic is open."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from hospital.clock import today
from hospital.sites import actions
from hospital.sites.models import ClosedDay, closed_dates
from hospital.sites.queries import outline_file
from tests import make


def of(name: str, *more) -> str:
    return reverse(f"sites:{name}", args=more)


def words_of(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def coming(weekday: int):
    """The first such day after today; Monday is 0."""
    ahead = (weekday - today().weekday() - 1) % 7 + 1
    return today() + timedelta(days=ahead)


MONDAY, SUNDAY = 0, 6


def details(hospital, **fields) -> dict:
    wanted = {
        "name": hospital.name,
        "phone": hospital.phone,
        "out_of_hours_phone": hospital.out_of_hours_phone,
        "latitude": "54.500000",
        "longitude": "3.200000",
        "zone": "Europe/London",
        "closed_weekdays": ["5", "6"],
        "late_after_minutes": "60",
        "missed_after_minutes": "360",
        "seen_version": hospital.version,
    }
    return wanted | fields


# --- who meets which page -----------------------------------------------------------------------------------------


def test_staff_read_the_page_and_coordinators_change_it(client, vet, nurse, coordinator, carer):
    for person, reads, changes in [(vet, 200, 403), (nurse, 200, 403), (coordinator, 200, 200), (carer.person, 403, 403)]:
        client.force_login(person)

        assert client.get(of("hospital")).status_code == reads
        assert client.get(of("edit")).status_code == changes
        assert client.get(of("close-day")).status_code == changes


def test_only_coordinators_are_offered_changes(client, vet, coordinator):
    client.force_login(vet)
    assert "Change the details" not in words_of(client.get(of("hospital")))

    client.force_login(coordinator)
    assert "Change the details" in words_of(client.get(of("hospital")))


def test_a_stranger_reads_of_their_own_hospital(client, stranger, hospital):
    client.force_login(stranger)

    assert "Elsewhere" in words_of(client.get(of("hospital")))
    assert "Test Hospital" not in words_of(client.get(of("hospital")))


# --- details ------------------------------------------------------------------------------------------------------


def test_phones_zone_and_week_are_shown(client, vet):
    client.force_login(vet)

    page = words_of(client.get(of("hospital")))

    assert "01632 960001" in page
    assert "01632 960002" in page
    assert "Europe/London" in page
    assert "Saturday closed" in page
    assert "Monday open" in page


def test_a_hospital_without_a_night_number_shows_the_day_number(client, vet, hospital):
    hospital.out_of_hours_phone = ""
    hospital.save()
    client.force_login(vet)

    assert words_of(client.get(of("hospital"))).count("01632 960001") >= 2


def test_details_are_changed(client, coordinator, hospital):
    client.force_login(coordinator)

    response = client.post(of("edit"), details(hospital, phone="01632 960555", closed_weekdays=["6"], zone="Australia/Hobart"))

    hospital.refresh_from_db()
    assert response.url == of("hospital")
    assert (hospital.phone, hospital.closed_weekdays, hospital.zone) == ("01632 960555", [6], "Australia/Hobart")


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"name": ""}, "name", "Write the hospital's name."),
        ({"phone": ""}, "phone", "Write the phone number."),
        ({"zone": "Middle/Earth"}, "zone", "Choose a time zone."),
        ({"latitude": "north"}, "latitude", "Give decimal degrees, for example 54.508333."),
        ({"latitude": "90.5"}, "latitude", "Ensure this value is less than or equal to 90."),
        ({"longitude": "3.20000001"}, "longitude", "Give at most six digits behind the point: that is a hand's breadth."),
        ({"closed_weekdays": list("0123456")}, "closed_weekdays", "Leave at least one day on which the clinic is open."),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(client, coordinator, hospital, typed, field, sentence):
    client.force_login(coordinator)

    response = client.post(of("edit"), details(hospital, address="Kept words") | typed)

    assert response.status_code == 422
    assert response.context["form"].errors[field] == [sentence]
    assert 'value="Kept words"' in response.content.decode()


def test_a_name_that_is_taken_is_refused_and_the_letterhead_stays(client, coordinator, hospital):
    make.hospital(name="Upland Branch", slug="upland")
    client.force_login(coordinator)

    response = client.post(of("edit"), details(hospital, name="Upland Branch"))

    assert response.context["form"].errors["name"] == ["Hospital with this Name already exists."]
    assert "– Test Hospital</title>" in response.content.decode()


def test_two_coordinators_see_both_versions(client, coordinator, hospital):
    client.force_login(coordinator)
    client.post(of("edit"), details(hospital, address="Theirs"))

    collided = client.post(of("edit"), details(hospital, address="Mine"))
    seen = collided.context["form"]["seen_version"].value()
    again = client.post(of("edit"), details(hospital, address="Mine", seen_version=seen))

    assert collided.status_code == 409
    assert "Theirs" in words_of(collided)
    assert "Saturday, Sunday" in words_of(collided)
    assert again.status_code == 302
    hospital.refresh_from_db()
    assert hospital.address == "Mine"


# --- closed days --------------------------------------------------------------------------------------------------


def test_a_day_is_closed_and_opened_again(client, coordinator, hospital):
    client.force_login(coordinator)

    client.post(of("close-day"), {"on": str(coming(MONDAY)), "reason": "Training"})
    assert closed_dates(hospital, today()) == [coming(MONDAY)]
    assert "Training" in words_of(client.get(of("hospital")))

    client.post(of("open-day", ClosedDay.objects.get().pk))
    assert closed_dates(hospital, today()) == []


def test_days_that_need_not_be_closed_are_refused(hospital):
    actions.close_day(hospital, today=today(), on=coming(MONDAY))

    for on, sentence in [
        (today() - timedelta(1), "This day is over"),
        (coming(SUNDAY), "closed on this weekday anyway"),
        (coming(MONDAY), "in the list already"),
    ]:
        with pytest.raises(ValidationError, match=sentence):
            actions.close_day(hospital, today=today(), on=on)


@pytest.mark.parametrize(
    ("typed", "sentence"), [("", "Give the day."), ("Easter", "Give the day as year-month-day, for example 2027-01-05.")]
)
def test_a_day_must_be_a_day(client, coordinator, typed, sentence):
    client.force_login(coordinator)

    response = client.post(of("close-day"), {"on": typed, "reason": "Kept words"})

    assert response.context["form"].errors["on"] == [sentence]
    assert 'value="Kept words"' in response.content.decode()


def test_another_hospitals_day_stays_closed(client, coordinator, stranger):
    theirs = ClosedDay.objects.create(hospital=stranger.memberships.get().hospital, on=coming(MONDAY))
    client.force_login(coordinator)

    assert client.post(of("open-day", theirs.pk)).status_code == 404
    assert ClosedDay.objects.exists()


def test_a_day_is_not_opened_by_following_a_link(client, coordinator, hospital):
    day = ClosedDay.objects.create(hospital=hospital, on=coming(MONDAY))
    client.force_login(coordinator)

    assert client.get(of("open-day", day.pk)).status_code == 405


# --- the outline of the map ---------------------------------------------------------------------------------------


def test_the_map_shows_where_the_hospital_is_or_its_own_outline(client, vet, hospital, settings, tmp_path):
    settings.DATA_DIR = tmp_path
    client.force_login(vet)
    [only] = json.loads(client.get(of("outline")).content)["features"]
    assert only["properties"]["name"] == hospital.name
    assert only["geometry"] == {"type": "Point", "coordinates": [float(hospital.longitude), float(hospital.latitude)]}

    outline_file(hospital).parent.mkdir()
    outline_file(hospital).write_text('{"type": "FeatureCollection", "features": [], "name": "ours"}')
    answer = client.get(of("outline"))

    assert json.loads(answer.content)["name"] == "ours"
    assert answer["Content-Type"] == "application/geo+json"
