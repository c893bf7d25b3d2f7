"""Signing in, being locked out, and choosing where to work."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from hospital.people import attempts
from hospital.people.models import Membership, Person
from hospital.people.sessions import CARER_SESSION_S
from tests import make

SIGN_IN = "/sign-in/"
NOON = datetime(2027, 3, 10, 12, 0, tzinfo=UTC)


def words_of(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def sign_in(client, person: Person, password: str = make.PASSWORD, **more):
    return client.post(SIGN_IN, {"username": person.email, "password": password} | more)


@pytest.fixture(autouse=True)
def _nobody_has_tried(db):
    cache.clear()


# --- signing in ---------------------------------------------------------------------------------------------------


def test_the_right_password_leads_on(client, vet):
    assert sign_in(client, vet).url == "/"
    assert client.get("/").url == reverse("boards:today")


def test_capitals_in_the_address_are_no_matter(client, vet):
    response = client.post(SIGN_IN, {"username": vet.email.upper(), "password": make.PASSWORD})

    assert response.status_code == 302


def test_one_comes_back_to_the_page_one_wanted(client, vet):
    wanted = client.get(reverse("placements:carers")).url

    page = client.get(wanted)

    assert 'name="next" value="/carers/"' in page.content.decode()
    assert sign_in(client, vet, next="/carers/").url == "/carers/"


@pytest.mark.parametrize("elsewhere", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"])
def test_one_is_never_led_to_another_site(client, vet, elsewhere):
    assert sign_in(client, vet, next=elsewhere).url == "/"


def test_a_wrong_password_and_an_unknown_address_get_the_same_sentence(client, vet):
    wrong = sign_in(client, vet, "not the password")
    unknown = client.post(SIGN_IN, {"username": "nobody@example.org", "password": make.PASSWORD})

    for response in (wrong, unknown):
        assert "That e-mail address and password do not go together. Check both and try again." in words_of(response)
        assert "There is a problem" in words_of(response)
    assert f'value="{vet.email}"' in wrong.content.decode()
    assert "not the password" not in wrong.content.decode()


def test_a_closed_account_does_not_open(client, vet):
    vet.is_active = False
    vet.save()

    assert sign_in(client, vet).status_code == 200
    assert client.get("/").url.startswith(SIGN_IN)


def test_who_cannot_sign_in_reads_whom_to_phone(client, hospital):
    make.hospital(name="Upland Branch", slug="upland", phone="01632 960270")

    page = words_of(client.get(SIGN_IN))

    assert "Cannot sign in?" in page
    assert "Test Hospital 01632 960001" in page
    assert "Out of hours: 01632 960002" in page
    assert "Upland Branch 01632 960270" in page


def test_signing_out_needs_a_press_of_a_button(client, vet):
    client.force_login(vet)

    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/").url == SIGN_IN
    assert client.get("/").url.startswith(SIGN_IN)


def test_a_carer_stays_signed_in_for_a_month_and_staff_for_half_a_day(client, vet, carer, settings):
    sign_in(client, carer.person)
    assert client.session.get_expiry_age() == CARER_SESSION_S

    client.post("/sign-out/")
    sign_in(client, vet)
    assert client.session.get_expiry_age() == settings.SESSION_COOKIE_AGE


def test_somebody_who_is_carer_and_staff_counts_as_staff(client, carer, hospital, settings):
    Membership.objects.create(person=carer.person, hospital=hospital, role="nurse")

    sign_in(client, carer.person)

    assert client.session.get_expiry_age() == settings.SESSION_COOKIE_AGE


# --- too many tries -----------------------------------------------------------------------------------------------


def test_ten_wrong_tries_make_even_the_right_password_wait(client, vet):
    for _ in range(attempts.MOST):
        assert "do not go together" in words_of(sign_in(client, vet, "wrong"))

    refused = sign_in(client, vet)

    assert "Too many tries. Wait fifteen minutes, then try again, or phone the hospital." in words_of(refused)
    assert client.get("/").url.startswith(SIGN_IN)


def test_the_wait_ends_after_fifteen_minutes(client, vet):
    with time_machine.travel(NOON, tick=False) as clock:
        for _ in range(attempts.MOST):
            sign_in(client, vet, "wrong")
        clock.shift(timedelta(minutes=14))
        assert sign_in(client, vet).status_code == 200

        clock.shift(timedelta(minutes=2))
        assert sign_in(client, vet).status_code == 302


def test_nine_wrong_tries_and_a_right_one_begin_anew(client, vet):
    for _ in range(2):
        for _ in range(attempts.MOST - 1):
            sign_in(client, vet, "wrong")
        assert sign_in(client, vet).status_code == 302
        client.post("/sign-out/")


def test_one_person_who_waits_keeps_nobody_else_waiting(client, vet, nurse):
    for _ in range(attempts.MOST):
        sign_in(client, vet, "wrong")

    assert sign_in(client, nurse).status_code == 302


def test_writing_the_address_in_another_way_gives_no_more_tries(client, vet):
    for address in [vet.email, vet.email.upper(), f" {vet.email} "] * 4:
        client.post(SIGN_IN, {"username": address, "password": "wrong"})

    assert "Too many tries" in words_of(sign_in(client, vet))


def test_the_cache_never_holds_an_address(client, vet):
    assert vet.email not in attempts._key(vet.email)


# --- where to begin, where to work --------------------------------------------------------------------------------


def test_each_role_begins_at_its_own_page(client, vet, nurse, coordinator, carer):
    for person, page in [
        (vet, "boards:today"),
        (nurse, "boards:today"),
        (coordinator, "boards:today"),
        (carer.person, "logs:mine"),
    ]:
        client.force_login(person)

        assert client.get("/").url == reverse(page)


def test_somebody_without_a_role_is_told_whom_to_ask(client, hospital):
    client.force_login(make.person("Nora Norole", hospital))

    page = client.get("/")

    assert page.status_code == 200
    assert "no hospital has said what you do there" in words_of(page)


@pytest.fixture
def of_two(vet):
    """A vet of the Test Hospital who is a coordinator of the Upland Branch."""
    upland = make.hospital(name="Upland Branch", slug="upland", zone="Australia/Hobart")
    Membership.objects.create(person=vet, hospital=upland, role="coordinator")
    return upland


def test_one_chooses_the_hospital_that_every_page_is_of(client, vet, of_two):
    client.force_login(vet)
    assert "– Test Hospital</title>" in client.get("/patients/").content.decode()

    assert client.post("/work-at/", {"hospital": of_two.pk}).url == "/"

    assert "– Upland Branch</title>" in client.get("/patients/").content.decode()


def test_a_role_counts_at_its_own_hospital_only(client, vet, of_two):
    client.force_login(vet)
    assert client.get(reverse("sites:edit")).status_code == 403  # a vet here

    client.post("/work-at/", {"hospital": of_two.pk})

    assert client.get(reverse("sites:edit")).status_code == 200  # a coordinator there


def test_the_way_to_another_hospital_is_shown_to_those_who_have_one(client, vet, nurse, of_two):
    client.force_login(vet)
    assert "Work at another hospital" in words_of(client.get("/patients/"))

    client.force_login(nurse)
    assert "Work at another hospital" not in words_of(client.get("/patients/"))


@pytest.mark.parametrize("typed", ["", "x", "0", "9" * 30, "²"])
def test_a_hospital_that_is_not_ones_own_cannot_be_chosen(client, vet, typed):
    client.force_login(vet)

    response = client.post("/work-at/", {"hospital": typed})

    assert response.status_code == 422
    assert "Choose one of your hospitals." in words_of(response)


def test_a_strangers_hospital_cannot_be_chosen(client, vet, stranger):
    client.force_login(vet)

    assert client.post("/work-at/", {"hospital": stranger.memberships.get().hospital_id}).status_code == 422


def test_somebody_of_no_hospital_has_nothing_to_choose(client, db):
    client.force_login(Person.objects.create_user("nora@example.org", "Nora", make.PASSWORD))

    assert "You belong to no hospital yet." in words_of(client.get("/work-at/"))


# --- the menu -----------------------------------------------------------------------------------------------------


def test_the_menu_holds_what_the_role_may_open(client, vet, carer):
    client.force_login(vet)
    staff = words_of(client.get("/patients/"))
    client.force_login(carer.person)
    carers = words_of(client.get("/my-animals/"))

    assert all(label in staff for label in ("In care", "Admit", "Carers", "Closed cases", "Hospital"))
    assert "My days away" in carers
    assert "Closed cases" not in carers


def test_every_link_of_the_menu_opens(client, vet, coordinator, carer):
    for person in (vet, coordinator, carer.person):
        client.force_login(person)
        page = client.get("/", follow=True)

        assert page.context["menu"]
        assert [entry["url"] for entry in page.context["menu"] if client.get(entry["url"]).status_code != 200] == []


def test_a_page_that_was_open_for_too_long_says_so(db):
    answer = Client(enforce_csrf_checks=True).post(reverse("people:sign-in"), {"username": "vera@example.org"})

    assert answer.status_code == 403
    assert "This page was open for too long" in answer.content.decode()
