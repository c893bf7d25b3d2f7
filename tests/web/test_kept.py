"""A form that is sent after the session had ended is there again, for its writer only, and nothing is written by that."""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module
from urllib.parse import quote

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from django.urls import reverse

from hospital.people.kept import KEPT
from tests import make
from tests.web.test_people import NOON, sign_in, words_of

TYPED = {"on": "2027-03-12", "reason": "Boiler is changed"}


def lose_session(client: Client) -> None:
    """The server forgets the session, as after its last day; the browser's other cookies stay."""
    key = client.cookies[settings.SESSION_COOKIE_NAME].value
    import_module(settings.SESSION_ENGINE).SessionStore(key).delete()
    del client.cookies[settings.SESSION_COOKIE_NAME]


@pytest.fixture
def address() -> str:
    return reverse("sites:close-day")


@pytest.fixture
def lost(client, coordinator, address, hospital):
    """A coordinator who has sent a form after the session had ended; now before the sign-in page."""
    with time_machine.travel(NOON, tick=False) as clock:
        sign_in(client, coordinator)
        client.get(address)
        lose_session(client)
        client.sent = client.post(address, TYPED)
        yield clock


def test_what_was_typed_is_there_again_after_signing_in_and_nothing_is_saved(client, lost, coordinator, address, hospital):
    page = client.get(client.sent.url)
    assert "What you wrote is kept" in words_of(page)

    assert sign_in(client, coordinator, next=address).url == address
    again = client.get(address)

    assert again.status_code == 422
    assert "You had been signed out. Nothing is saved yet" in words_of(again)
    assert 'value="Boiler is changed"' in again.content.decode()
    assert 'value="2027-03-12"' in again.content.decode()
    assert not hospital.closed_days.exists()


def test_sent_once_more_it_is_saved_once_and_the_next_form_is_empty(client, lost, coordinator, address, hospital):
    sign_in(client, coordinator)
    client.get(address)

    assert client.post(address, TYPED).status_code == 302

    assert hospital.closed_days.count() == 1
    assert "Boiler" not in client.get(address).content.decode()


def test_the_page_may_be_loaded_again(client, lost, coordinator, address):
    sign_in(client, coordinator)

    assert [client.get(address).status_code for _ in range(2)] == [422, 422]


def test_nobody_else_sees_it_on_the_same_computer(client, lost, coordinator, address, hospital):
    sign_in(client, make.person("Connie Colleague", hospital, "coordinator"))

    assert "Boiler" not in client.get(address).content.decode()
    sign_in(client, coordinator)
    assert KEPT not in client.session


def test_after_an_hour_it_is_gone(client, lost, coordinator, address):
    lost.shift(timedelta(minutes=61))
    sign_in(client, coordinator)

    assert client.get(address).status_code == 200
    assert KEPT not in client.session


def test_of_somebody_who_never_signed_in_here_nothing_is_kept(db, address):
    guest = Client()
    guest.post(address, TYPED)

    assert KEPT not in guest.session


@pytest.mark.parametrize("forged", ["1", "1:1xyz:abc", ""])
def test_a_writer_cannot_be_made_up(db, address, forged):
    guest = Client()
    guest.cookies["writer"] = forged
    guest.post(address, TYPED)

    assert KEPT not in guest.session


def test_a_post_without_its_token_is_refused_before_anything_is_kept(client, lost, address):
    strict = Client(enforce_csrf_checks=True)
    strict.cookies["writer"] = client.cookies["writer"].value

    assert strict.post(address, TYPED).status_code == 403
    assert KEPT not in strict.session


def test_passwords_are_not_kept(client, lost, address):
    client.post(address, TYPED | {"witness_password": "a secret", "csrfmiddlewaretoken": "x"})

    assert "secret" not in client.session[KEPT]["said"]
    assert "csrf" not in client.session[KEPT]["said"]


def test_what_is_too_long_is_said_and_not_kept(client, coordinator, address):
    sign_in(client, coordinator)
    lose_session(client)
    sent = client.post(address, TYPED | {"reason": "x" * 200_001})

    assert "too long to be kept" in words_of(client.get(sent.url))


def test_a_button_is_not_pressed_by_signing_in(client, coordinator, hospital):
    day = hospital.closed_days.create(on=NOON.date() + timedelta(days=30), reason="Holiday")
    sign_in(client, coordinator)
    lose_session(client)
    button = reverse("sites:open-day", args=[day.pk])
    client.post(button)

    sign_in(client, coordinator)
    client.get(button)

    assert hospital.closed_days.filter(pk=day.pk).exists()


def test_a_page_that_would_have_acted_shows_the_words_and_tells_no_good_news(client, vet):
    """Signing an order set, a paper log and the like answer without done(): taken back, and never reported as done."""
    upland = make.hospital(name="Upland Branch", slug="upland")
    vet.memberships.create(hospital=upland, role="vet")
    sign_in(client, vet)
    lose_session(client)
    client.post("/work-at/", {"hospital": upland.pk, "note": "Typed with care"})
    sign_in(client, vet)

    page = client.get("/work-at/")

    assert "Typed with care" in words_of(page)
    assert "Nothing is saved yet" in words_of(page)
    assert client.get("/work-at/").status_code == 200


def test_a_part_that_htmx_asked_for_becomes_a_whole_page_to_sign_in_on(client, coordinator, address):
    sign_in(client, coordinator)
    lose_session(client)

    answer = client.post(address, TYPED, headers={"HX-Request": "true"})

    assert answer.headers["HX-Redirect"].startswith("/sign-in/?next=")


def test_a_part_of_a_page_leads_back_to_the_page(client, coordinator, address):
    found = Client().get("/find/", {"words": "x"}, headers={"HX-Request": "true", "HX-Current-URL": f"http://testserver{address}"})

    assert found.headers["HX-Redirect"] == f"/sign-in/?next={quote(address, safe='')}"


def test_a_device_that_asks_for_json_is_not_answered_with_a_kept_form(client, coordinator, address):
    sign_in(client, coordinator)
    lose_session(client)
    client.post(address, TYPED, headers={"Accept": "application/json"})
    client.post(address, b"part of a photograph", content_type="application/octet-stream")

    assert KEPT not in client.session
