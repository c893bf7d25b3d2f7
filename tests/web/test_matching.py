"""Several animals at once: the proposal, what each change costs, and accepting it row by row."""

from decimal import Decimal
from urllib.parse import urlencode

import pytest
from django.urls import reverse

from hospital.admissions.models import TaxonGroup
from hospital.clock import today
from hospital.placements import actions, queries
from hospital.placements.matching import proposal
from tests import make
from tests.web.test_placements import of, words_of


@pytest.fixture
def near(hospital):
    """Room for one, close by."""
    return make.carer("Nell Near", hospital, room_for=1, latitude=Decimal("54.51"), longitude=Decimal("3.21"))


@pytest.fixture
def far(hospital):
    """Room for one, eleven kilometres away, birds and reptiles only."""
    return make.carer("Fred Far", hospital, room_for=1, latitude=Decimal("54.6"), longitude=Decimal("3.21"))


def turtle(vet, name):
    patient = make.patient(vet, name=name)
    make.placement(patient, None, ward=f"Tank of {name}")
    return patient


def asked(*patients):
    return f"{of('match')}?{urlencode([('animal', each.case_number) for each in patients])}"


def carers_of(found):
    return [row.proposed and row.proposed.offer.name for row in found.rows]


def test_two_animals_share_two_carers_although_one_suits_both_best(vet, near, far):
    both = [turtle(vet, "Reed"), turtle(vet, "Moss")]

    assert sorted(carers_of(proposal(both, today()))) == ["Fred Far", "Nell Near"]


def test_what_a_change_would_cost_is_told(client, vet, near, far):
    reed, moss = turtle(vet, "Reed"), turtle(vet, "Moss")
    far.room_for = 2
    far.save()
    client.force_login(vet)
    page = words_of(client.get(asked(reed, moss)))

    assert "No other way is better as a whole." in page
    assert page.count("Otherwise: ") == 2
    assert "Moss to Nell Near" in page


def test_hunter_and_prey_are_never_proposed_together(vet, hospital):
    make.carer("Ann Only", hospital, room_for=5, taxon_groups=["animal"])
    fox = make.species("Vulpes vulpes", "Red fox", group=make.group("fox", ("medium-mammal", "mammal", "animal")))
    swan = make.species("Cygnus olor", "Mute swan", group=make.group("waterbird", ("bird", "animal")))
    both = [make.patient(vet, species=each) for each in (fox, swan)]

    assert sorted(carers_of(proposal(both, today())), key=str) == ["Ann Only", None]


def test_what_keeps_the_second_of_two_from_a_place_is_told(client, vet, hospital):
    make.carer("Ann Only", hospital, room_for=5, taxon_groups=["animal"])
    fox = make.species("Vulpes vulpes", "Red fox", group=make.group("fox", ("medium-mammal", "mammal", "animal")), is_aquatic=False)
    hare = make.species("Lepus europaeus", "Brown hare", group=make.group("hare", ("mammal", "animal")), is_aquatic=False)
    both = [make.patient(vet, species=each) for each in (fox, hare)]
    client.force_login(vet)
    page = words_of(client.get(asked(*both)))

    assert "stays in the hospital" in page  # the other way round is as good
    assert page.count("No place as things stand") == 1


def test_the_hospitals_limit_holds_for_the_proposal_as_a_whole(vet, near, hospital, reference):
    near.room_for = 5
    near.save()
    actions.set_limit(hospital, group=TaxonGroup.objects.get(pk="chelonian"), most_animals=1, most_days=None, source="Permit 7")
    both = [turtle(vet, "Reed"), turtle(vet, "Moss")]

    assert carers_of(proposal(both, today())).count("Nell Near") == 1


def test_an_animal_without_a_place_is_told_what_each_carer_lacks(client, vet, near):
    reed, moss = turtle(vet, "Reed"), turtle(vet, "Moss")
    near.taxon_groups = ["bird"]
    near.save()
    client.force_login(vet)
    page = words_of(client.get(asked(reed, moss)))

    assert page.count("No place as things stand") == 2
    assert "No authority to hold this kind of animal is written down." in page


def test_a_proposal_is_accepted_row_by_row(client, vet, near, far):
    reed, moss = turtle(vet, "Reed"), turtle(vet, "Moss")
    client.force_login(vet)
    row = next(each for each in client.get(asked(reed, moss)).context["rows"] if each["patient"] == reed)
    sent = {"animal": [reed.case_number, moss.case_number], "patient": reed.case_number, "note": "",
            "carer": row["proposed"].offer.carer_id, "seen_placement": row["seen_placement"]}  # fmt: skip
    answer = client.post(of("match"), sent)

    assert answer.url == asked(moss)
    assert reed.open_placement().carer.pk == row["proposed"].offer.carer_id
    assert moss.open_placement().carer is None


def test_what_is_no_longer_true_is_refused_in_its_row(client, vet, near, far):
    reed, moss = turtle(vet, "Reed"), turtle(vet, "Moss")
    client.force_login(vet)
    sent = {"animal": [reed.case_number, moss.case_number], "patient": reed.case_number, "note": "Kept words",
            "carer": near.pk, "seen_placement": reed.open_placement().pk}  # fmt: skip
    near.taxon_groups = ["bird"]
    near.save()
    answer = client.post(of("match"), sent)

    assert answer.status_code == 422
    assert "No authority to hold this kind of animal" in words_of(answer)
    assert 'value="Kept words"' in answer.content.decode()
    assert reed.open_placement().carer is None


def test_the_page_is_for_staff_and_shows_only_their_animals(client, vet, nurse, carer, stranger, near):
    reed = turtle(vet, "Reed")
    statuses, seen = [], []
    for person in (vet, nurse, carer.person, stranger):
        client.force_login(person)
        answer = client.get(asked(reed))
        statuses.append(answer.status_code)
        seen.append(reed.case_number in words_of(answer))
    posted = client.post(of("match"), {"patient": reed.case_number, "carer": near.pk, "seen_placement": 0})

    assert (statuses, seen) == ([200, 200, 403, 200], [True, True, False, False])
    assert posted.status_code == 404


def test_more_than_twenty_at_once_are_too_many(client, vet, near):
    many = [turtle(vet, f"T{number}") for number in range(21)]
    client.force_login(vet)

    assert "Choose at most 20 at once." in words_of(client.get(asked(*many)))


def test_many_animals_and_carers_are_asked_about_in_few_questions(vet, hospital, django_assert_max_num_queries):
    animals = [turtle(vet, f"T{number}") for number in range(6)]
    for number in range(8):
        make.placement(make.patient(vet), make.carer(f"Carer {number}", hospital))
    waiting = list(queries.waiting_for_carers(vet, hospital))

    with django_assert_max_num_queries(16):
        found = proposal(waiting, today())
    assert len(found.rows) == len(animals)


def test_nobody_waits_and_the_page_says_so(client, vet, hospital):
    client.force_login(vet)

    assert "No animal in care lives in the hospital now." in words_of(client.get(reverse("placements:match")))
