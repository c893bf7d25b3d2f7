"""An empty installation: its first hospital, its first person, and what comes next."""

from __future__ import annotations

from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.urls import reverse

from hospital.audit.models import AuditEntry
from hospital.people.models import Membership, Person, Role
from hospital.setup.address import LASTS_S, new_token
from hospital.sites.models import Hospital
from tests import make

pytestmark = pytest.mark.django_db

FILLED = {
    "name": "Reed Bay Wildlife Hospital",
    "phone": "01000 555010",
    "out_of_hours_phone": "",
    "address": "",
    "zone": "Europe/Dublin",
    "latitude": "53.2",
    "longitude": "-6.1",
    "clinic_hours": "",
    "closed_weekdays": ["5", "6"],
    "person_name": "Orla Quill",
    "email": "Orla@Reedbay.example",
    "roles": ["vet"],
    "password": "herons-stand-on-9-legs",
    "again": "herons-stand-on-9-legs",
}


def first():
    return reverse("setup:first", args=[new_token()])


def test_the_first_page_makes_a_hospital_and_a_coordinator_who_is_signed_in(client):
    answer = client.post(first(), FILLED, follow=True)

    person = Person.objects.get()
    assert (person.email, person.check_password(FILLED["password"])) == ("orla@reedbay.example", True)
    assert set(Membership.objects.values_list("role", flat=True)) == {Role.VET, Role.COORDINATOR}
    assert (Hospital.objects.get().slug, Hospital.objects.get().closed_weekdays) == ("reed-bay-wildlife-hospital", [5, 6])
    assert answer.redirect_chain[-1][0] == reverse("setup:next")
    assert "One vet works here." in answer.content.decode()
    assert AuditEntry.objects.filter(table="hospital_hospital").exists()


def test_the_first_animal_can_be_admitted_straight_after(client, reference):
    client.post(first(), FILLED)

    page = client.get(reverse("admissions:admit"))

    assert page.status_code == 200


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"name": ""}, "Write the hospital’s name."),
        ({"latitude": "north"}, "Give decimal degrees, for example 54.508333."),
        ({"email": "orla"}, "Write an e-mail address such as name@example.org."),
        ({"password": "short", "again": "short"}, "at least 12 characters"),
        ({"again": "herons-stand-on-8-legs"}, "The two passwords differ."),
        ({"closed_weekdays": list("0123456")}, "Leave at least one day"),
    ],
)
def test_a_mistake_is_said_at_its_field_and_nothing_is_lost_or_written(client, wrong, sentence):
    answer = client.post(first(), FILLED | wrong)

    page = answer.content.decode().replace("&#x27;", "’").replace("'", "’")
    assert answer.status_code == 422
    assert sentence in page
    assert 'value="Orla Quill"' in answer.content.decode()
    assert FILLED["password"] not in page
    assert not Hospital.objects.exists()


def test_once_there_is_anybody_the_page_is_gone(client, hospital):
    address = first()
    make.person("Ann", hospital, "nurse")

    assert client.get(address).status_code == 404
    assert client.post(address, FILLED).status_code == 404
    assert Hospital.objects.count() == 1


def test_a_made_up_address_opens_nothing(client):
    assert client.get(reverse("setup:first", args=["guess"])).status_code == 404


def test_the_address_ends_after_an_hour(client):
    with time_machine.travel("2027-03-01 10:00Z", tick=False) as clock:
        address = first()
        clock.shift(LASTS_S - 1)
        before = client.get(address).status_code
        clock.shift(2)

        assert (before, client.get(address).status_code) == (200, 404)


def test_the_command_prints_an_address_that_opens_and_refuses_when_there_are_people(client, hospital):
    said = StringIO()
    call_command("firstrun", stdout=said)
    address = said.getvalue().split()[-1]

    assert client.get(address[address.index("/set-up/") :]).status_code == 200

    make.person("Ann", hospital, "nurse")
    with pytest.raises(CommandError, match="There are people already"):
        call_command("firstrun", stdout=said)


def test_what_comes_next_is_for_coordinators_and_vets(client, vet, coordinator, nurse, carer):
    for person, expected in [(vet, 200), (coordinator, 200), (nurse, 403), (carer.person, 403)]:
        client.force_login(person)

        assert client.get(reverse("setup:next")).status_code == expected, person


def test_the_sign_in_page_of_an_empty_installation_says_how_to_begin(client):
    assert "python3 manage.py firstrun" in client.get(reverse("people:sign-in")).content.decode()
