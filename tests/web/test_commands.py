"""The box of every page: an animal, what to do with it, or a page."""

import re

import pytest
from django.urls import resolve, reverse

from hospital.commands.listing import COMMANDS, commands_for
from hospital.people.models import Role
from hospital.rules.casenumbers import case_number
from tests import make
from tests.web.test_house_rules import views

pytestmark = pytest.mark.django_db


@pytest.fixture
def bramble(vet):
    return make.patient(vet, name="Bramble")


def asked(client, words, **headers):
    return client.get(reverse("commands:find"), {"words": words}, headers=headers)


def suggested(client, words):
    found = asked(client, words, **{"HX-Request": "true"}).context["suggestions"]
    return [(each.words, each.about) for each in found]


def test_an_animal_and_a_task_typed_together_lead_to_the_task(client, vet, bramble):
    client.force_login(vet)

    weigh = asked(client, "weigh bramble")
    reversed_and_short = asked(client, "bram wei")

    assert (weigh.status_code, weigh.url) == (302, reverse("admissions:weigh", args=[bramble.case_number]))
    assert reversed_and_short.url == weigh.url


def test_while_one_types_the_animal_comes_first_then_what_is_done_most(client, vet, bramble):
    client.force_login(vet)

    found = suggested(client, bramble.case_number)

    assert found[0] == ("Chart", str(bramble))
    assert found[1:] == [(str(each.words), str(bramble)) for each in COMMANDS if each.is_first]


def test_several_meanings_are_shown_to_choose_from_and_each_leads_somewhere(client, vet, bramble):
    other = make.patient(vet, name="Brambling")
    client.force_login(vet)

    page = asked(client, "order bram")

    assert page.status_code == 200
    html = page.content.decode()
    for animal in (bramble, other):
        assert f'href="{reverse("medications:order", args=[animal.case_number])}"' in html
        assert str(animal) in html


def test_the_name_of_a_page_leads_to_the_page(client, coordinator):
    client.force_login(coordinator)

    assert asked(client, "formul").url == reverse("formulary:groups")
    assert asked(client, "closed ca").url == reverse("admissions:closed")


def test_words_that_mean_nothing_lead_to_the_empty_list_and_say_how_to_ask(client, vet, bramble):
    client.force_login(vet)

    assert asked(client, "weigh").url == reverse("admissions:in-care") + "?words=weigh"
    part = asked(client, "weigh xyzzy", **{"HX-Request": "true"}).content.decode()
    assert "A task needs its animal" in part
    assert "<html" not in part


def test_only_tasks_of_ones_roles_are_offered(client, nurse, coordinator, carer, bramble):
    for person in (nurse, coordinator):
        client.force_login(person)
        assert suggested(client, "order bramble") == []
        assert ("Weigh", str(bramble)) in suggested(client, "weigh bramble")

    client.force_login(carer.person)
    assert asked(client, "bramble").status_code == 403


def test_nothing_of_another_hospital_is_suggested(client, vet, stranger):
    make.patient(stranger, name="Secret")
    client.force_login(vet)

    assert suggested(client, "secret") == suggested(client, "weigh secret") == []


def test_a_closed_case_is_named_so_and_nothing_is_recorded_on_it(client, vet, bramble):
    bramble.closed_on = bramble.admitted_at.date()
    bramble.save()
    client.force_login(vet)

    assert suggested(client, "bramble") == [("Chart", f"{bramble}, case closed")]
    assert suggested(client, "weigh bramble") == []


@pytest.mark.parametrize("command", COMMANDS, ids=lambda each: each.url_name)
def test_who_is_offered_a_task_may_open_its_page(command):
    view = resolve(reverse(command.url_name, args=[case_number(1)])).func

    assert set(command.roles) <= view.allowed_roles


@pytest.mark.parametrize("role", Role)
def test_the_chart_and_the_box_offer_the_same(role):
    assert [each for each in COMMANDS if role in each.roles] == commands_for({role})


# What takes a form and is not in the box, and where it is started instead.
STARTED_ELSEWHERE = {
    "logs:day": "a carer's page; the staff reads the reports",
    "outcomes:reopen": "for a closed case only: from its chart",
    "packs:make": "from the pack", "plans:publish": "from the plan", "plans:replan": "from the plan",
    "plans:pin": "from a date of the plan", "plans:hold": "from a date of the plan", "plans:choose": "from the plan",
    "releases:assess": "from the criteria", "releases:go-ahead": "from the criteria", "releases:day": "from the criteria",
    "logs:water-step": "from the water time", "logs:water-clear": "from the water time",
}  # fmt: skip


def test_whatever_can_be_started_with_an_animal_is_offered_in_the_box(client, vet, reference):
    """Every address that needs nothing but a case number and shows a form: whoever adds one must offer it."""
    animal = make.patient(vet, name="Bramble")
    alone = [
        (address, name) for address, name, view in views() if getattr(view, "takes_patient", False) and address.count("<") == 1
    ]
    client.force_login(vet)

    with_a_form = set()
    for address, name in alone:
        answer = client.get("/" + address.replace("<case:case_number>", animal.case_number))
        if answer.status_code == 200 and re.search(rb'<form[^>]*method="post"[^>]*novalidate', answer.content):
            with_a_form.add(name)

    assert len(with_a_form) > 15
    assert with_a_form - {each.url_name for each in COMMANDS} - set(STARTED_ELSEWHERE) == set()
