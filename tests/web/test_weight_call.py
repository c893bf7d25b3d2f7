"""What a weight says while it is typed, and once it is saved; the percentages are worked by hand."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from hospital.clock import now, today
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def weighed(patient, vet):
    """A pond turtle: 1000 g ten days ago, 960 g five days ago. Chelonians: 3 % in 7 days the same day, 8 % in 30 days at once."""
    for days, grams in ((10, 1000), (5, 960)):
        patient.weights.create(weight_g=grams, weighed_at=now() - timedelta(days=days), weighed_by=vet)
    return patient


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


def said(client, patient, grams, **more):
    return text(client.get(reverse("admissions:weight-call", args=[patient.case_number]), {"weight_g": grams} | more))


@pytest.mark.parametrize(
    ("typed", "sentences"),
    [
        ("950", ["1% less than on", "(960 g)."]),
        ("931", ["3% less than on", "A vet should hear of it today."]),
        ("919,0", ["4.3% less than on", "8.1% below 1,000 g, the weight that it is held against.", "A vet should look at it now."]),
        ("1008 g", ["5% more than on"]),
        ("960", ["As on"]),
        ("96", ["five times as much or a fifth. Is the point in the right place?"]),
    ],
)
def test_a_weight_speaks_while_it_is_typed(client, weighed, nurse, typed, sentences):
    client.force_login(nurse)

    answer = said(client, weighed, typed)

    assert all(sentence in answer for sentence in sentences), answer
    assert ("A vet" in answer) == any("A vet" in sentence for sentence in sentences)


@pytest.mark.parametrize("typed", ["", "9", "abc", "-3", "1 kg"])
def test_what_is_no_weight_yet_says_nothing_or_warns_of_the_point(client, weighed, nurse, typed):
    client.force_login(nurse)

    answer = said(client, weighed, typed)

    assert "A vet" not in answer
    assert ("five times" in answer) == (typed == "9")


def test_it_is_held_against_what_was_known_on_its_own_day(client, weighed, nurse):
    """Six days ago only the 1000 g were known."""
    client.force_login(nurse)

    answer = said(client, weighed, "990", examined_on=(today("Europe/London") - timedelta(days=6)).isoformat())
    unread = said(client, weighed, "950", examined_on="soon")

    assert "1% less than on" in answer
    assert "(1,000 g)" in answer
    assert "(960 g)" in unread


def test_before_the_first_weight_nothing_is_said(client, patient, nurse):
    client.force_login(nurse)

    assert "%" not in said(client, patient, "800")


@pytest.mark.parametrize("page", ["examinations:add", "examinations:recheck"])
def test_the_curve_and_the_call_stand_beside_the_field(client, weighed, vet, page):
    client.force_login(vet)
    address = reverse(page, args=[weighed.case_number])

    fresh = client.get(address).content.decode()
    refused = text(client.post(address, {"weight_g": "919", "examined_on": ""}))

    assert f'hx-get="{reverse("admissions:weight-call", args=[weighed.case_number])}"' in fresh
    assert 'hx-target="#weight-call"' in fresh
    assert fresh.count('<circle class="point"') == 2
    assert "8.1% below 1,000 g" in refused  # without scripts, once the form came back


def test_without_scripts_the_next_page_says_it_once_saved(client, weighed, vet):
    client.force_login(vet)
    day = today("Europe/London").isoformat()

    examined = client.post(
        reverse("examinations:add", args=[weighed.case_number]),
        {"kind": "other", "wound": "none", "examined_on": day, "weight_g": "931"}, follow=True,
    )  # fmt: skip
    by_scale = client.post(
        reverse("admissions:weigh", args=[weighed.case_number]), {"weight_g": "920", "weighed_at": f"{day}T00:00"}, follow=True
    )

    assert weighed.weights.filter(weight_g=Decimal(931)).exists()
    assert "3% less than on" in text(examined)
    assert "A vet should hear of it today." in text(examined)
    assert "1.2% less than on" in text(by_scale)  # than the 931 g of the examination


def test_only_the_staff_of_its_hospital_may_ask(client, weighed, carer, stranger):
    make.placement(weighed, carer)

    answers = []
    for person in (carer.person, stranger):
        client.force_login(person)
        answers.append(client.get(reverse("admissions:weight-call", args=[weighed.case_number])).status_code)

    assert answers == [403, 404]
