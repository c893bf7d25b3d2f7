"""Who could take an animal, where it lives, and what a carer offers."""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from hospital.admissions.models import Placement
from hospital.clock import now, today
from hospital.edits import EditCollision
from hospital.people.models import FACILITIES, Carer, CarerAway, Membership
from hospital.placements import actions, queries
from hospital.placements.suitability import Against, Animal, Offer, distance_km, facilities_needed, judged, ranked
from hospital.placements.words import AGAINST, reasons_against, reasons_for
from tests import make

TODAY = date(2027, 3, 10)
TURTLE = Animal(("turtle-freshwater", "chelonian", "reptile", "animal"), frozenset({"pool", "heated"}))


def of(name: str, *more) -> str:
    return reverse(f"placements:{name}", args=more)


def words_of(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())).replace("&nbsp;", " ")


def offer(name: str = "Ann", **fields) -> Offer:
    """A carer who could take the turtle without a doubt."""
    wanted = {
        "carer_id": 1,
        "name": name,
        "taxon_groups": frozenset({"reptile"}),
        "facilities": frozenset({"pool", "heated"}),
        "room_for": 2,
        "distance_km": 10.0,
    }
    return Offer(**wanted | fields)


def against(**fields) -> tuple[Against, ...]:
    return judged(offer(**fields), TURTLE, TODAY).against


# --- the ranking, a value -----------------------------------------------------------------------------------------


def test_nothing_speaks_against_a_carer_who_has_it_all():
    assert against() == ()


@pytest.mark.parametrize("groups", [{"turtle-freshwater"}, {"chelonian"}, {"reptile"}, {"animal"}, {"bird", "reptile"}])
def test_authority_for_a_wide_group_covers_the_groups_in_it(groups):
    assert against(taxon_groups=frozenset(groups)) == ()


@pytest.mark.parametrize("groups", [set(), {"bird"}, {"tortoise"}])
def test_without_authority_a_carer_is_refused(groups):
    found = judged(offer(taxon_groups=frozenset(groups)), TURTLE, TODAY)

    assert found.against == (Against.NO_AUTHORITY,)
    assert found.is_refused


@pytest.mark.parametrize(
    ("ends_in", "reason"),
    [
        (-1, (Against.AUTHORITY_ENDED,)),
        (0, (Against.AUTHORITY_ENDS_SOON,)),
        (30, (Against.AUTHORITY_ENDS_SOON,)),
        (31, ()),
    ],
)
def test_authority_holds_through_its_last_day(ends_in, reason):
    assert against(authority_ends_on=TODAY + timedelta(days=ends_in)) == reason


@pytest.mark.parametrize(("there", "reason"), [(0, ()), (1, ()), (2, (Against.NO_ROOM,)), (3, (Against.NO_ROOM,))])
def test_room_is_what_is_left(there, reason):
    assert against(animals_there=there) == reason


@pytest.mark.parametrize(
    ("starts_in", "ends_in", "reason"),
    [
        (-5, -1, ()), (-5, 0, (Against.AWAY,)), (0, 0, (Against.AWAY,)), (1, 3, (Against.AWAY_SOON,)),
        (7, 9, (Against.AWAY_SOON,)), (8, 9, ()),
    ],
)  # fmt: skip
def test_days_away_count_with_both_ends(starts_in, ends_in, reason):
    span = (TODAY + timedelta(days=starts_in), TODAY + timedelta(days=ends_in))

    assert against(away=[span]) == reason


def test_what_is_lacking_is_named():
    found = judged(offer(facilities=frozenset({"heated"})), TURTLE, TODAY)

    assert found.against == (Against.NO_FACILITY,)
    assert reasons_against(found) == ["Lacks what it is usually kept in: pool."]


def test_the_best_suited_comes_first():
    offers = [
        offer("Refused", taxon_groups=frozenset()),
        offer("Full", room_for=0),
        offer("No pool", facilities=frozenset({"heated"})),
        offer("Far", distance_km=60.0),
        offer("Near", distance_km=2.0),
        offer("Nearest", distance_km=1.0),
        offer("Experienced", distance_km=30.0, cared_for=4),
    ]

    assert [each.offer.name for each in ranked(offers, TURTLE, TODAY)] == [
        "Experienced", "Nearest", "Near", "Far", "No pool", "Full", "Refused",
    ]  # fmt: skip


def test_the_order_in_which_carers_are_asked_does_not_matter():
    offers = [offer(name, carer_id=number, distance_km=float(number % 3)) for number, name in enumerate("ABCDEF")]

    assert ranked(offers, TURTLE, TODAY) == ranked(reversed(offers), TURTLE, TODAY)


def test_distance_is_that_of_the_ellipsoid():
    # GeographicLib's own worked example (documentation of the C++ library, GeodSolve): JFK to LHR is 5551.759 km.
    assert distance_km((40.6, -73.8), (51.6, -0.5)) == pytest.approx(5551.759, abs=0.001)


@pytest.mark.parametrize(
    ("facts", "needed"),
    [
        (
            {
                "lineage": ("turtle-freshwater", "chelonian", "reptile", "animal"),
                "body_plan": "turtle",
                "is_aquatic": True,
            },
            {"pool", "heated"},
        ),
        ({"lineage": ("raptor", "bird", "animal"), "body_plan": "bird"}, {"aviary"}),
        ({"lineage": ("waterbird", "bird", "animal"), "body_plan": "bird", "is_aquatic": True}, {"pool"}),
        (
            {"lineage": ("medium-mammal", "mammal", "animal"), "body_plan": "mammal", "keeps_apart": True},
            {"quarantine"},
        ),
        ({"lineage": ("hedgehog", "mammal", "animal"), "body_plan": "mammal", "life_stage": "neonate"}, {"heated"}),
        ({"lineage": ("hedgehog", "mammal", "animal"), "body_plan": "mammal"}, set()),
    ],
)
def test_what_an_animal_is_usually_kept_in(facts, needed):
    """Common practice, no source."""
    known = {"body_plan": "", "is_aquatic": False, "keeps_apart": False, "life_stage": "adult"} | facts

    assert facilities_needed(**known) == needed
    assert needed <= FACILITIES.keys()


def test_every_reason_has_words():
    assert set(AGAINST) == set(Against)
    everything = judged(
        offer(
            taxon_groups=frozenset(), authority_ends_on=TODAY - timedelta(1), room_for=0, facilities=frozenset(),
            distance_km=None, away=[(TODAY, TODAY), (TODAY + timedelta(2), TODAY + timedelta(3))],
        ),
        TURTLE, TODAY,
    )  # fmt: skip

    assert all(sentence.endswith(".") and "%(" not in sentence for sentence in reasons_against(everything))
    assert reasons_for(judged(offer(cared_for=2), TURTLE, TODAY), TURTLE.facilities) == [
        "May hold this kind of animal.", "Room for 2 more.", "Has: pool, heated room or vivarium.",
        "Has cared for 2 of this group.", "10 km away.",
    ]  # fmt: skip


# --- from rows to the ranking -------------------------------------------------------------------------------------


@pytest.fixture
def good(hospital) -> Carer:
    """A carer who can take the turtle."""
    return make.carer(
        "Ann Marsh",
        hospital,
        taxon_groups=["chelonian"],
        facilities=["pool", "heated"],
        room_for=2,
        latitude=Decimal("54.52"),
        longitude=Decimal("3.25"),
        town="Canary Parva",
    )


@pytest.fixture
def turtle(vet, good):
    """In the ward."""
    patient = make.patient(vet, species=make.species(is_aquatic=True))
    make.placement(patient, None, ward="Tank 3")
    return patient


def the_only(patient):
    return queries.suitability(queries.carers_of(patient.hospital, today()), patient, today())[0]


def test_rows_become_an_offer(turtle, good, vet):
    make.placement(make.patient(vet), good)
    CarerAway.objects.create(carer=good, starts_on=today() + timedelta(3), ends_on=today() + timedelta(5))
    CarerAway.objects.create(carer=good, starts_on=today() - timedelta(9), ends_on=today() - timedelta(1))

    found = the_only(turtle)

    assert found.offer.animals_there == 1
    assert found.offer.cared_for == 1
    assert found.offer.away == [(today() + timedelta(3), today() + timedelta(5))]
    assert found.offer.distance_km == pytest.approx(3.93, abs=0.02)  # checked below against a sphere
    assert found.against == (Against.AWAY_SOON,)


def test_the_distance_agrees_with_plain_trigonometry(turtle):
    # On a sphere of 6371 km: 0.02° north is 2.224 km, 0.05° east at 54.51° is 3.227 km; by Pythagoras 3.92 km.
    assert the_only(turtle).offer.distance_km == pytest.approx(3.92, rel=0.01)


def test_animals_that_left_take_no_room(turtle, good, vet):
    gone = make.patient(vet)
    make.placement(gone, good)
    gone.placements.update(ended_at=now())

    found = the_only(turtle)

    assert (found.offer.animals_there, found.offer.cared_for) == (0, 1)


def test_many_carers_cost_no_more_questions_than_one(turtle, hospital, vet, django_assert_max_num_queries):
    for number in range(8):
        carer = make.carer(f"Carer {number}", hospital)
        make.placement(make.patient(vet), carer)

    with django_assert_max_num_queries(8):
        queries.suitability(queries.carers_of(hospital, today()), turtle, today())


# --- placing ------------------------------------------------------------------------------------------------------


def placing(patient, carer, **fields) -> dict:
    return {"carer": carer.pk, "seen_placement": patient.open_placement().pk, "note": ""} | fields


def test_an_animal_moves_from_the_ward_to_a_carer_in_one_moment(client, vet, turtle, good):
    client.force_login(vet)

    response = client.post(of("place", turtle.case_number), placing(turtle, good, note="With its basking lamp"))

    ward, home = turtle.placements.order_by("pk")
    assert response.url == reverse("plans:plan", args=[turtle.case_number])  # the next thing to see to
    assert ward.ended_at == home.started_at
    assert (home.carer, home.placed_by, home.note, home.accepted_at) == (good, vet, "With its basking lamp", None)


def test_the_page_shows_who_suits_why_and_who_may_not(client, vet, turtle, good, hospital):
    make.carer("Bert Dune", hospital, taxon_groups=["bird"])
    client.force_login(vet)

    page = words_of(client.get(of("place", turtle.case_number)))

    assert page.index("Ann Marsh") < page.index("Bert Dune")
    assert "Has: pool, heated room or vivarium." in page
    assert "No authority to hold this kind of animal is written down." in page
    assert "3.9 km away." in page
    assert page.index("One carer cannot take it") < page.index("Bert Dune")


def test_if_nobody_can_take_it_the_page_shows_what_each_lacks(client, vet, turtle, good):
    good.taxon_groups = ["bird"]
    good.save()
    client.force_login(vet)

    answer = client.get(of("place", turtle.case_number))

    assert "No carer can take it as things stand." in words_of(answer)
    assert b'<details id="refused" open>' in answer.content
    assert "Place it with this carer" not in words_of(answer)


def test_a_carer_without_authority_is_refused_whoever_asks(turtle, vet, hospital):
    birds_only = make.carer("Bert Dune", hospital, taxon_groups=["bird"])

    with pytest.raises(ValidationError, match="No authority to hold this kind of animal"):
        actions.place(turtle, carer=birds_only, by=vet, at=now(), on=today(), note="It is urgent")
    assert turtle.open_placement().carer is None


def test_a_carer_whose_authority_ended_is_refused(turtle, vet, good):
    good.authority_ends_on = today() - timedelta(1)
    good.save()

    with pytest.raises(ValidationError, match=r"The authority ended on \w{3} \d\d-\w{3}-\d{4}\."):
        actions.place(turtle, carer=good, by=vet, at=now(), on=today())


def test_a_full_house_takes_one_more_only_with_a_reason(client, vet, turtle, good):
    for _ in range(2):
        make.placement(make.patient(vet), good)
    client.force_login(vet)

    refused = client.post(of("place", turtle.case_number), placing(turtle, good))
    with_reason = client.post(of("place", turtle.case_number), placing(turtle, good, note="Shares the pool"))

    assert refused.status_code == 422
    assert refused.context["form"].errors["note"] == [
        "No room: 2 of 2 places are taken. Write why it goes there all the same."
    ]
    assert re.search(rf'value="{good.pk}"[^>]*checked', refused.content.decode())
    assert with_reason.status_code == 302


def test_a_carer_who_is_away_takes_one_only_with_a_reason(turtle, vet, good):
    CarerAway.objects.create(carer=good, starts_on=today(), ends_on=today())

    with pytest.raises(ValidationError, match="Away until"):
        actions.place(turtle, carer=good, by=vet, at=now(), on=today())
    assert actions.place(turtle, carer=good, by=vet, at=now(), on=today(), note="Her sister is there").carer == good


@pytest.mark.parametrize("typed", [{"carer": ""}, {"carer": "999999"}, {"carer": "x"}])
def test_a_carer_must_be_chosen(client, vet, turtle, good, typed):
    client.force_login(vet)

    response = client.post(of("place", turtle.case_number), placing(turtle, good, note="Kept words") | typed)

    assert response.context["form"].errors["carer"][0].startswith("Choose ")
    assert 'value="Kept words"' in response.content.decode()


def test_another_hospitals_carer_cannot_be_chosen(client, vet, turtle, stranger):
    theirs = make.carer("Far Away", stranger.memberships.get().hospital)
    client.force_login(vet)

    response = client.post(of("place", turtle.case_number), placing(turtle, theirs))

    assert response.context["form"].errors["carer"] == ["Choose one of the carers of this hospital."]
    with pytest.raises(ValidationError, match="takes no animals of this hospital"):
        actions.place(turtle, carer=theirs, by=vet, at=now(), on=today())


def test_two_people_placing_one_animal_do_not_overwrite_each_other(client, vet, turtle, good, hospital):
    other = make.carer("Bert Dune", hospital)
    seen = placing(turtle, good)
    actions.place(turtle, carer=other, by=vet, at=now(), on=today())
    client.force_login(vet)

    collided = client.post(of("place", turtle.case_number), seen)

    assert collided.status_code == 409
    assert turtle.open_placement().carer == other
    assert "With Bert Dune, carer" in words_of(collided)
    again = client.post(
        of("place", turtle.case_number), seen | {"seen_placement": collided.context["form"]["seen_placement"].value()}
    )
    assert again.status_code == 302
    assert turtle.open_placement().carer == good


def test_an_animal_is_not_placed_where_it_is(turtle, vet, good):
    actions.place(turtle, carer=good, by=vet, at=now(), on=today())

    with pytest.raises(ValidationError, match="with this carer already"):
        actions.place(turtle, carer=good, by=vet, at=now(), on=today())


def test_a_closed_case_is_placed_nowhere(turtle, vet, good):
    turtle.closed_on = today()
    turtle.save()

    with pytest.raises(ValidationError, match="Reopen it"):
        actions.place(turtle, carer=good, by=vet, at=now(), on=today())


def test_a_refused_placing_leaves_the_animal_where_it_was(turtle, vet, good):
    good.is_active = False
    good.save()

    with pytest.raises(ValidationError):
        actions.place(turtle, carer=good, by=vet, at=now(), on=today())
    assert (turtle.open_placement().ward, turtle.placements.count()) == ("Tank 3", 1)


def test_an_animal_comes_back(client, vet, turtle, good):
    home = actions.place(turtle, carer=good, by=vet, at=now(), on=today())
    client.force_login(vet)

    client.post(of("bring-back", turtle.case_number), {"ward": "Room 2", "note": "Recheck", "seen_placement": home.pk})

    assert (turtle.open_placement().ward, turtle.open_placement().carer) == ("Room 2", None)
    assert turtle.placements.count() == 3


def test_bringing_back_an_animal_that_moved_meanwhile_is_a_collision(client, vet, turtle, good):
    seen = turtle.open_placement().pk
    actions.place(turtle, carer=good, by=vet, at=now(), on=today())
    client.force_login(vet)

    assert client.post(of("bring-back", turtle.case_number), {"seen_placement": seen}).status_code == 409
    with pytest.raises(EditCollision):
        actions.bring_back(turtle, by=vet, at=now(), seen_placement=seen)


def test_no_animal_is_ever_in_two_places(turtle, vet, good):
    for _ in range(3):
        actions.place(turtle, carer=good, by=vet, at=now(), on=today())
        actions.bring_back(turtle, by=vet, at=now())

    assert turtle.placements.open().count() == 1
    spans = list(turtle.placements.order_by("pk").values_list("started_at", "ended_at"))
    assert all(ended == started for (_, ended), (started, _) in zip(spans, spans[1:], strict=False))


# --- the carer takes over -----------------------------------------------------------------------------------------


def test_a_carer_takes_the_animal_over_once(client, vet, turtle, good):
    actions.place(turtle, carer=good, by=vet, at=now(), on=today())
    client.force_login(good.person)

    page = words_of(client.get(of("accept", turtle.case_number)))
    client.post(of("accept", turtle.case_number))
    first = turtle.open_placement().accepted_at
    client.post(of("accept", turtle.case_number))

    assert "I have the animal" in page
    assert "Help and phone" in page
    assert first is not None
    assert turtle.open_placement().accepted_at == first


def test_only_the_carer_who_has_it_takes_it_over(client, vet, turtle, good, carer):
    actions.place(turtle, carer=good, by=vet, at=now(), on=today())

    for person, status in [(carer.person, 404), (vet, 403)]:
        client.force_login(person)
        assert client.post(of("accept", turtle.case_number)).status_code == status
    with pytest.raises(ValidationError, match="not placed with you"):
        actions.accept(turtle, by=vet, at=now())


def test_what_a_carer_must_beware_of_stands_where_they_take_over(client, vet, good):
    fox = make.species("Testudo mordax", "Biting tortoise", is_dangerous=True, danger_note="Reaches far and bites hard")
    patient = make.patient(vet, species=fox, is_zoonosis_risk=True)
    make.placement(patient, good)
    client.force_login(good.person)

    page = words_of(client.get(of("accept", patient.case_number)))

    assert "May bite or scratch" in page
    assert "Reaches far and bites hard" in page
    assert "Can make people ill" in page


def test_the_chain_of_hands_is_complete(client, vet, turtle, good):
    actions.place(turtle, carer=good, by=vet, at=now(), on=today(), note="Lamp lent")
    actions.accept(turtle, by=good.person, at=now())
    client.force_login(vet)

    page = words_of(client.get(of("chain", turtle.case_number)))

    assert page.index("With Ann Marsh") < page.index("Tank 3")
    assert "taken over" in page
    assert "decided by Vera Vet" in page
    assert "Lamp lent" in page


# --- who meets which page -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "of_patient"), [("carers", False), ("place", True), ("bring-back", True), ("chain", True)]
)
def test_staff_meet_these_pages_and_others_do_not(
    client, vet, nurse, coordinator, carer, stranger, turtle, name, of_patient
):
    address = of(name, turtle.case_number) if of_patient else of(name)
    outside = 404 if of_patient else 403

    for person, status in [(vet, 200), (nurse, 200), (coordinator, 200), (carer.person, outside)]:
        client.force_login(person)
        assert client.get(address).status_code == status
    client.force_login(stranger)
    assert client.get(address).status_code == (404 if of_patient else 200)  # a stranger has carers of their own


@pytest.mark.parametrize("name", ["carer-edit", "away-add", "carer-add"])
def test_only_coordinators_change_what_carers_offer(client, vet, nurse, coordinator, good, stranger, name):
    address = of(name) if name == "carer-add" else of(name, good.pk)

    for person, status in [(vet, 403), (nurse, 403), (good.person, 403), (stranger, 403), (coordinator, 200)]:
        client.force_login(person)
        assert client.get(address).status_code == status


def test_another_hospitals_carer_is_not_found(client, stranger, good):
    client.force_login(stranger)

    assert client.get(of("carer", good.pk)).status_code == 404


def test_only_coordinators_read_where_a_carer_lives(client, vet, coordinator, good):
    for person, reads in [(vet, False), (coordinator, True)]:
        client.force_login(person)
        page = words_of(client.get(of("carer", good.pk)))

        assert ("Canary Parva" in page) == reads
        assert "54.52" not in page
        assert "3.9 km" in page
    client.force_login(vet)
    assert "Canary Parva" not in words_of(client.get(of("carers")))


# --- carers -------------------------------------------------------------------------------------------------------


def offered(carer: Carer, **fields) -> dict:
    return {"room_for": 3, "is_active": "on", "seen_version": carer.version, "phone": ""} | fields


def test_the_list_shows_room_authority_days_away_and_animals(client, vet, turtle, good):
    actions.place(turtle, carer=good, by=vet, at=now(), on=today())
    good.authority_ends_on = today() - timedelta(1)
    good.save()
    CarerAway.objects.create(carer=good, starts_on=today(), ends_on=today())
    client.force_login(vet)

    page = words_of(client.get(of("carers")))

    assert "1 of 2 free" in page
    assert "ended" in page
    assert turtle.case_number in page
    assert "pool, heated room or vivarium" in page
    assert "3.9" in page


def test_the_list_costs_the_same_however_many_carers_there_are(client, vet, hospital, django_assert_max_num_queries):
    for number in range(10):
        carer = make.carer(f"Carer {number}", hospital)
        make.placement(make.patient(vet), carer)
    client.force_login(vet)

    with django_assert_max_num_queries(9):
        client.get(of("carers"))


def test_a_coordinator_writes_down_what_a_carer_offers(client, coordinator, good):
    make.group("tortoise", ("chelonian", "reptile", "animal"))
    client.force_login(coordinator)

    response = client.post(
        of("carer-edit", good.pk),
        offered(
            good, phone="07700 900555", authority="Permit 7", authority_ends_on="2031-12-31",
            taxon_groups=["tortoise", "reptile"], facilities=["heated", "quarantine"], town="Reedham End",
            latitude="54.530000", longitude="3.260000",
        ),
    )  # fmt: skip

    good.refresh_from_db()
    assert response.url == of("carer", good.pk)
    assert (good.authority, good.authority_ends_on, good.room_for) == ("Permit 7", date(2031, 12, 31), 3)
    assert (good.taxon_groups, good.facilities) == (["tortoise", "reptile"], ["heated", "quarantine"])
    assert good.person.phone == "07700 900555"


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"room_for": "many"}, "room_for", "Give a whole number, for example 3."),
        ({"room_for": ""}, "room_for", "Give a number, 0 for none."),
        ({"latitude": "54.5"}, "longitude", "A place needs both latitude and longitude."),
        ({"latitude": "north"}, "latitude", "Give decimal degrees, for example 54.508333."),
        (
            {"authority_ends_on": "next year"},
            "authority_ends_on",
            "Give the day as year-month-day, for example 2027-01-05.",
        ),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(client, coordinator, good, typed, field, sentence):
    client.force_login(coordinator)

    response = client.post(of("carer-edit", good.pk), offered(good, experience="Kept words") | typed)

    assert response.status_code == 422
    assert response.context["form"].errors[field] == [sentence]
    assert 'value="Kept words"' in response.content.decode()


def test_a_carer_with_animals_does_not_stop_taking_them(client, coordinator, vet, good):
    make.placement(make.patient(vet), good)
    client.force_login(coordinator)

    response = client.post(of("carer-edit", good.pk), offered(good, is_active=""))

    assert response.context["form"].errors["is_active"] == ["Animals are there now. Bring them back first."]


def test_two_coordinators_see_both_versions(client, coordinator, good):
    client.force_login(coordinator)
    client.post(of("carer-edit", good.pk), offered(good, experience="Theirs"))

    collided = client.post(of("carer-edit", good.pk), offered(good, experience="Mine"))
    seen = collided.context["form"]["seen_version"].value()
    again = client.post(of("carer-edit", good.pk), offered(good, experience="Mine", seen_version=seen))

    assert collided.status_code == 409
    assert "Theirs" in words_of(collided)
    assert again.status_code == 302
    good.refresh_from_db()
    assert good.experience == "Mine"


def test_a_new_carer_begins_with_nothing_allowed(client, coordinator, hospital):
    person = make.person("Nell New", hospital, "carer")
    client.force_login(coordinator)

    assert "Nell New" in words_of(client.get(of("carers")))
    client.post(of("carer-add"), {"person": person.pk})

    new = Carer.objects.get(person=person)
    assert new.taxon_groups == []
    assert "Nell New" not in [str(each) for each in queries.carers_without_profile(hospital)]


def test_only_a_carer_of_the_hospital_gets_a_profile(vet, hospital):
    with pytest.raises(ValidationError, match="not a carer of this hospital"):
        actions.add_carer(hospital, person=vet)


# --- days away ----------------------------------------------------------------------------------------------------


def day(ahead: int) -> str:
    return str(today() + timedelta(days=ahead))


def test_a_coordinator_adds_and_takes_out_days_away(client, coordinator, good):
    client.force_login(coordinator)

    client.post(of("away-add", good.pk), {"starts_on": day(3), "ends_on": day(5), "note": "Holiday"})
    assert "Holiday" in words_of(client.get(of("carer", good.pk)))
    client.post(of("away-remove", good.pk, CarerAway.objects.get().pk))

    assert not CarerAway.objects.exists()


def test_a_carer_keeps_their_own_days_away(client, good, carer):
    client.force_login(good.person)
    client.post(of("my-away"), {"starts_on": day(3), "ends_on": day(5)})
    mine = CarerAway.objects.get()

    assert mine.carer == good
    assert f"{mine.starts_on:%A} {mine.starts_on.day} {mine.starts_on:%B %Y}" in words_of(client.get(of("my-away")))
    client.force_login(carer.person)
    assert client.post(of("my-away-remove", mine.pk)).status_code == 404
    client.force_login(good.person)
    client.post(of("my-away-remove", mine.pk))
    assert not CarerAway.objects.exists()


@pytest.mark.parametrize(
    ("first", "last", "field", "sentence"),
    [
        (5, 3, "ends_on", "The last day comes before the first. Change one of them."),
        (-5, -3, "ends_on", "These days are over. Give days to come."),
        (11, 12, "starts_on", "Some of these days are in the list already."),
    ],
)
def test_days_away_that_cannot_be_are_refused(client, coordinator, good, first, last, field, sentence):
    CarerAway.objects.create(carer=good, starts_on=today() + timedelta(10), ends_on=today() + timedelta(11))
    client.force_login(coordinator)

    response = client.post(
        of("away-add", good.pk), {"starts_on": day(first), "ends_on": day(last), "note": "Kept words"}
    )

    assert response.context["form"].errors[field] == [sentence]
    assert 'value="Kept words"' in response.content.decode()


def test_staff_without_a_carers_profile_have_no_days_away_page(client, vet, hospital):
    Membership.objects.create(person=vet, hospital=hospital, role="carer")
    client.force_login(vet)

    assert client.get(of("my-away")).status_code == 404


def test_one_open_placement_is_the_tables_own_truth(turtle, good, vet):
    with pytest.raises(ValidationError, match="one_open_placement_per_patient"):
        Placement(patient=turtle, carer=good, started_at=now(), placed_by=vet).full_clean()


def test_a_carer_sees_their_own_animals_and_which_to_take_over(client, vet, turtle, good, carer):
    make.placement(make.patient(vet, name="Canary"), carer)
    actions.place(turtle, carer=good, by=vet, at=now(), on=today())
    client.force_login(good.person)

    before = words_of(client.get(reverse("logs:mine")))
    client.post(of("accept", turtle.case_number))
    after = words_of(client.get(reverse("logs:mine")))

    assert turtle.case_number in before
    assert "I have taken it over" in before
    assert "I have taken it over" not in after
    assert "Canary" not in after


def test_a_carer_without_animals_is_told_so(client, good, vet):
    client.force_login(good.person)
    assert "No animal is with you now." in words_of(client.get(reverse("logs:mine")))

    client.force_login(vet)
    assert client.get(reverse("logs:mine")).status_code == 403
