"""From hand to hand: offered, taken over or declined, moved on; what is lent; what the law limits."""

from datetime import date, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.urls import reverse

from hospital.admissions.models import TaxonGroup
from hospital.clock import now, today
from hospital.placements import actions, queries
from hospital.placements.models import HoldingLimit, Loan
from hospital.placements.suitability import Against, Animal, Limit, Neighbour, Offer, distance_km, judged
from tests import make
from tests.web.test_placements import of, words_of

DAY = date(2027, 3, 10)


@pytest.fixture
def turtle(vet):
    """In the ward."""
    patient = make.patient(vet, name="Reed")
    make.placement(patient, None, ward="Tank 3")
    return patient


def offered(turtle, carer, by):
    return actions.place(turtle, carer=carer, by=by, at=now(), on=today(), note="Her cousin is there")


# --- accept or decline ----------------------------------------------------------------------------------------------


def test_a_carer_sees_what_is_offered_and_can_say_no(client, turtle, carer, vet):
    offered(turtle, carer, vet)
    client.force_login(carer.person)
    page = words_of(client.get(reverse("logs:mine")))
    said = client.post(of("decline", turtle.case_number), {"why": "My pool leaks"})

    here = turtle.open_placement()
    assert "Offered to you" in page
    assert said.url == reverse("logs:mine")
    assert (here.carer, here.ward) == (None, "Tank 3")
    assert turtle.case_number not in words_of(client.get(reverse("logs:mine")))
    assert client.get(of("decline", turtle.case_number)).status_code == 404


def test_saying_no_asks_why_and_loses_nothing(client, turtle, carer, vet):
    offered(turtle, carer, vet)
    client.force_login(carer.person)
    refused = client.post(of("decline", turtle.case_number), {"why": " "})

    assert refused.status_code == 422
    assert refused.context["form"].errors["why"] == ["Write why, in a few words."]
    assert turtle.open_placement().carer == carer


def test_the_hospital_sees_the_no_in_the_chain_on_the_timeline_and_on_todays_board(client, turtle, carer, coordinator):
    offered(turtle, carer, coordinator)
    actions.decline(turtle, by=carer.person, at=now(), why="My pool leaks")
    client.force_login(coordinator)
    chain, chart, board = (
        words_of(client.get(url))
        for url in (of("chain", turtle.case_number), reverse("chart:patient", args=[turtle.case_number]), reverse("boards:today"))
    )

    assert "My pool leaks" in chain
    assert "Declined by Carl Carer" in chart
    assert "Carl Carer cannot take it: My pool leaks" in board


def test_an_animal_moves_from_carer_to_carer_and_back_to_the_first_if_the_second_says_no(turtle, carer, vet, hospital):
    other = make.carer("Olga Other", hospital)
    offered(turtle, carer, vet)
    actions.accept(turtle, by=carer.person, at=now())
    offered(turtle, other, vet)
    between = turtle.open_placement().carer
    actions.decline(turtle, by=other.person, at=now(), why="Ill")

    here = turtle.open_placement()
    assert (between, here.carer, bool(here.accepted_at)) == (other, carer, True)


def test_what_was_taken_over_cannot_be_declined_and_nobody_declines_for_another(turtle, carer, vet):
    offered(turtle, carer, vet)
    with pytest.raises(ValidationError, match="not placed with you"):
        actions.decline(turtle, by=vet, at=now(), why="x")
    actions.accept(turtle, by=carer.person, at=now())
    with pytest.raises(ValidationError, match="taken this animal over"):
        actions.decline(turtle, by=carer.person, at=now(), why="x")


def test_an_offer_without_an_answer_is_on_todays_board_after_a_day(client, turtle, carer, coordinator):
    make.placement(turtle, carer, days_ago=2)
    client.force_login(coordinator)
    waiting = words_of(client.get(reverse("boards:today")))
    actions.accept(turtle, by=carer.person, at=now())
    answered = words_of(client.get(reverse("boards:today")))

    assert "has not answered since" in waiting
    assert "has not answered since" not in answered


# --- what is lent ---------------------------------------------------------------------------------------------------


def test_a_lamp_is_lent_with_an_animal_and_comes_back(client, turtle, carer, nurse):
    offered(turtle, carer, nurse)
    client.force_login(nurse)
    client.post(of("lend", carer.pk), {"what": "Heat lamp 3", "patient": turtle.pk, "due_on": str(today() + timedelta(days=9))})
    loan = Loan.objects.get()
    page = words_of(client.get(of("carer", carer.pk)))
    chart = words_of(client.get(reverse("chart:patient", args=[turtle.case_number])))
    client.post(of("loan-end", carer.pk, loan.pk), {"ending": "back", "note": "", "seen_version": loan.version})

    loan.refresh_from_db()
    assert "Heat lamp 3" in page
    assert "Lent to Carl Carer: Heat lamp 3" in chart
    assert (loan.ending, loan.ended_by, loan.ended_at is not None) == ("back", nurse, True)


def test_the_carer_reads_what_is_lent_to_them(client, turtle, carer, vet):
    offered(turtle, carer, vet)
    actions.lend(carer, by=vet, at=now(), today=today(), what="Heat lamp 3", due_on=None)
    client.force_login(carer.person)

    assert "Heat lamp 3" in words_of(client.get(reverse("logs:mine")))


def test_what_is_late_back_is_on_todays_board(client, carer, vet, coordinator):
    actions.lend(carer, by=vet, at=now(), today=today() - timedelta(days=9), what="Heat lamp 3", due_on=today() - timedelta(days=1))
    client.force_login(coordinator)

    assert "Heat lamp 3" in words_of(client.get(reverse("boards:today")))


@pytest.mark.parametrize("ending", ["broken", "lost"])
def test_what_is_broken_or_lost_asks_what_happened(client, carer, vet, ending):
    loan = actions.lend(carer, by=vet, at=now(), today=today(), what="Heat lamp 3", due_on=None)
    client.force_login(vet)
    answers = [
        client.post(of("loan-end", carer.pk, loan.pk), {"ending": ending, "note": note, "seen_version": 1})
        for note in ("", "Fell into the pool", "Again")
    ]

    loan.refresh_from_db()
    assert [each.status_code for each in answers] == [422, 302, 422]
    assert answers[0].context["form"].errors["note"] == ["Write what happened to it."]
    assert (loan.ending, loan.note) == (ending, "Fell into the pool")


def test_lending_refuses_another_carers_animal_and_a_day_gone_by(client, turtle, carer, vet):
    client.force_login(vet)
    wrong = client.post(of("lend", carer.pk), {"what": "", "patient": turtle.pk, "due_on": ""})
    late = client.post(of("lend", carer.pk), {"what": "Lamp", "due_on": str(today() - timedelta(days=1))})

    assert sorted(wrong.context["form"].errors) == ["patient", "what"]
    assert list(late.context["form"].errors) == ["due_on"]
    assert not Loan.objects.exists()


def test_lending_is_for_staff_of_the_hospital(client, carer, vet, nurse, coordinator, stranger):
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        statuses.append(client.get(of("lend", carer.pk)).status_code)

    assert statuses == [200, 200, 200, 403, 404]


# --- the law's limits -----------------------------------------------------------------------------------------------


def test_a_coordinator_sets_a_limit_and_nobody_else(client, reference, coordinator, vet, carer, hospital):
    sent = {"group": "reptile", "most_animals": "2", "most_days": "", "source": "Carer permit 7"}
    statuses = []
    for person in (vet, carer.person, coordinator):
        client.force_login(person)
        statuses.append(client.post(of("limits"), sent).status_code)
    client.post(of("limits"), sent | {"most_animals": "3"})
    page = words_of(client.get(of("limits")))

    assert statuses == [403, 403, 302]
    assert (HoldingLimit.objects.get().most_animals, "Carer permit 7" in page) == (3, True)


def test_a_limit_limits_something_and_says_where_it_is_written(client, reference, coordinator):
    client.force_login(coordinator)
    answer = client.post(of("limits"), {"group": "reptile", "most_animals": "", "most_days": "", "source": "Law"})
    without = client.post(of("limits"), {"group": "", "most_animals": "x", "source": ""})

    assert answer.context["form"].errors["most_animals"] == ["Give a number of animals, of days, or both."]
    assert sorted(without.context["form"].errors) == ["group", "most_animals", "source"]


def test_no_animal_is_placed_beyond_a_limit_whatever_the_reason(turtle, carer, vet, coordinator, hospital):
    group = TaxonGroup.objects.get(pk="chelonian")
    actions.set_limit(hospital, group=group, most_animals=1, most_days=None, source="Permit 7")
    make.placement(make.patient(vet), carer)

    with pytest.raises(ValidationError, match="at most 1 of the group Turtle or tortoise at one carer"):
        offered(turtle, carer, vet)
    actions.remove_limit(HoldingLimit.objects.get())
    assert offered(turtle, carer, vet).carer == carer


def test_days_with_carers_count_from_the_first_and_across_carers(turtle, carer, vet, hospital):
    other = make.carer("Olga Other", hospital)
    group = TaxonGroup.objects.get(pk="chelonian")
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        actions.set_limit(hospital, group=group, most_animals=None, most_days=5, source="Permit 7")
        turtle.placements.update(started_at=make.at("2027-02-20 09:00"))
        offered(turtle, carer, vet)
    with time_machine.travel(make.at("2027-03-04 09:00"), tick=False):
        on_the_fourth = queries.animal_of(turtle, today()).days_with_carers
        offered(turtle, other, vet)
    with time_machine.travel(make.at("2027-03-05 09:00"), tick=False), pytest.raises(ValidationError, match="at most 5 days with carers"):
        offered(turtle, carer, vet)

    assert on_the_fourth == 4  # 1, 2, 3 and 4 March


def test_a_stay_that_nears_its_limit_is_on_todays_board(client, turtle, carer, coordinator, hospital):
    make.placement(turtle, carer, days_ago=3, accepted_at=now())
    actions.set_limit(hospital, group=TaxonGroup.objects.get(pk="chelonian"), most_animals=None, most_days=6, source="Permit 7")
    client.force_login(coordinator)
    soon = words_of(client.get(reverse("boards:today")))
    turtle.placements.update(started_at=now() - timedelta(days=9))
    over = words_of(client.get(reverse("boards:today")))

    assert "2 more days with carers, by the hospital’s limit" in soon  # today and the three days before are used
    assert "No more days with carers, by the hospital’s limit" in over


# --- reasons, as values -----------------------------------------------------------------------------------------------


def offer(**fields):
    wanted = dict(carer_id=1, name="Ann", taxon_groups=frozenset({"animal"}), room_for=5, distance_km=1.0)
    return Offer(**wanted | fields)


HEDGEHOG = Animal(("hedgehog", "mammal", "animal"))
DUE = Animal(("hedgehog", "animal"), visits=(date(2027, 3, 22),))
BADGER = Neighbour("Brock, Badger", ("badger", "mustelid", "medium-mammal", "mammal", "animal"))
ILL = Neighbour("Ill one", ("tortoise", "chelonian", "reptile", "animal"), keeps_apart=True)


@pytest.mark.parametrize(
    ("fields", "animal", "against"),
    [
        ({"neighbours": [BADGER]}, HEDGEHOG, Against.HUNTED),
        ({"neighbours": [ILL]}, HEDGEHOG, Against.NOT_APART),
        ({"neighbours": [ILL], "facilities": frozenset({"quarantine"})}, HEDGEHOG, None),
        ({"neighbours": [BADGER]}, Animal(("tortoise", "chelonian", "reptile", "animal"), keeps_apart=True), Against.NOT_APART),
        ({}, Animal(("hedgehog",), keeps_apart=True), Against.NO_AUTHORITY),
        ({"away": [(date(2027, 3, 20), date(2027, 3, 22))]}, DUE, Against.AWAY_AT_VISIT),
        ({"away": [(date(2027, 3, 20), date(2027, 3, 21))]}, DUE, None),
        ({"neighbours": [ILL]}, Animal(ILL.lineage, limits=(Limit("chelonian", 2),)), Against.NOT_APART),
    ],
)  # fmt: skip
def test_neighbours_and_the_plans_days_speak_against_a_carer(fields, animal, against):
    found = judged(offer(**fields), animal, DAY).against

    assert found == ((against,) if against else ())


def test_the_shortest_way_is_that_of_the_surveyors():
    """Flinders Peak to Buninyong, 54972.271 m: worked example of the Geocentric Datum of Australia Technical Manual (ICSM)."""
    flinders = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
    buninyong = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)

    assert distance_km(flinders, buninyong) * 1000 == pytest.approx(54972.271, abs=0.001)


def test_the_plan_in_force_says_which_days_count(client, adopted, vet, coordinator, hospital):
    from handover.plans.actions import publish
    from handover.plans.models import PlannedDate

    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        turtle = make.patient(vet, admitted_at=make.at("2027-02-25 10:00"))
        make.placement(turtle, None, ward="Tank 3")
        on, who = date(2027, 2, 26), {"surgeon": vet, "recorded_by": vet}
        operation = turtle.procedures.create(kind="limb-fixation", done_on=on, site="left hind limb", **who)
        turtle.closures.create(procedure=operation, closed_on=on, site="left hind limb", material="nylon", count=6)
        publish(turtle, by=vet)
        visit = PlannedDate.objects.filter(place="clinic").last().on
        away = make.carer("Away Then", hospital)
        away.away.create(starts_on=visit, ends_on=visit)
        client.force_login(coordinator)
        page = words_of(client.get(of("place", turtle.case_number)))

    assert f"Away on a promised day at the clinic: {visit:%a %d-%b-%Y}." in page
