"""Release: who could go and when, criteria judged one by one, going on all the same, and the sheet for the day."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.urls import reverse

from handover.labels.release import STATES, evidence_in_words
from handover.plans.actions import hold_back, publish
from handover.releases.actions import assess_criterion, find_all_met
from handover.releases.models import CriterionFinding, GoAhead, ReleaseDay
from handover.releases.queries import readiness, readiness_of_one
from handover.schedule.release import Assessed, Criterion, Needs
from hospital.admissions.models import Finder, Patient, Weight
from hospital.clock import now
from hospital.edits import EditCollision
from tests import make

TODAY = date(2027, 6, 14)  # a Monday in the turtles' season
RECOVERED = "animal.recovered"


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-06-14 09:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet):
    """Nothing is on it or in it, and it keeps its weight; nobody has judged it yet."""
    patient = make.patient(vet, days_ago=30, found_place="Reed bank at Withy Lock")
    make.placement(patient, None, ward="Warm room, tub 3")
    for days_ago in (20, 10, 1):
        weigh(patient, days_ago, 800)
    return patient


def weigh(patient, days_ago, weight_g):
    at = now() - timedelta(days=days_ago)
    Weight.objects.create(patient=patient, weighed_at=at, weight_g=Decimal(weight_g))


def assessed_on(patient, vet, on=TODAY):
    patient.examinations.create(kind="release_assessment", examined_on=on, examined_by=vet)


def ready(patient):
    return readiness_of_one(patient, TODAY)


def state_of(patient, criterion):
    return next((each for each in ready(patient).assessed if each.criterion.id == criterion), None)


def page(client, name, patient=None, data=None, **query):
    url = reverse(f"releases:{name}", args=[patient.case_number] if patient else [], query=query or None)
    return client.get(url) if data is None else client.post(url, data)


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


def statuses(client, people, *args, **query):
    found = []
    for person in people:
        client.force_login(person)
        found.append(page(client, *args, **query).status_code)
    return found


# --- who may see and do what ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["criteria", "day-sheet"])
def test_staff_read_how_an_animal_stands_and_nobody_else(client, turtle, vet, nurse, coordinator, carer, stranger, name):
    make.placement(turtle, carer)

    assert statuses(client, (vet, nurse, coordinator, carer.person, stranger), name, turtle) == [200, 200, 200, 403, 404]


@pytest.mark.parametrize("name", ["assess", "go-ahead", "day"])
def test_vets_and_coordinators_judge(client, turtle, vet, nurse, coordinator, carer, stranger, name):
    make.placement(turtle, carer)

    assert statuses(client, (vet, nurse, coordinator, carer.person, stranger), name, turtle) == [200, 403, 200, 403, 404]


def test_the_list_is_for_staff_and_a_stranger_sees_nothing_of_it(client, turtle, vet, nurse, coordinator, carer, stranger):
    assert statuses(client, (vet, nurse, coordinator, carer.person, stranger), "candidates") == [200, 200, 200, 403, 200]

    assert turtle.case_number not in text(page(client, "candidates"))


# --- evidence -------------------------------------------------------------------------------------------------------


def test_nothing_is_met_for_want_of_evidence(turtle):
    judged = [each for each in ready(turtle).assessed if each.criterion.needs is Needs.JUDGEMENT]

    assert judged
    assert all(each.is_met is None for each in judged)
    assert not ready(turtle).is_ready


def test_all_met_by_record_and_people_makes_an_animal_ready(turtle, vet):
    assessed_on(turtle, vet)
    find_all_met(turtle, by=vet)

    assert [each.criterion.id for each in ready(turtle).unmet] == []
    assert ready(turtle).is_ready
    assert ready(turtle).earliest == TODAY


def test_an_event_concerns_only_animals_whose_plan_has_it(turtle):
    assert state_of(turtle, "animal.sutures-out") is None
    assert state_of(turtle, "animal.assessed").is_met is False


def test_sutures_still_in_keep_an_animal_even_if_no_rule_asks_for_them(turtle, vet, hospital):
    hospital.adoptions.filter(kind="rule").update(ended_at=now())
    operation = turtle.procedures.create(kind="other", done_on=TODAY - timedelta(20), surgeon=vet, recorded_by=vet)
    closure = turtle.closures.create(procedure=operation, closed_on=TODAY - timedelta(20), material="nylon", site="leg")

    before = state_of(turtle, "animal.sutures-out").is_met
    closure.removed_on = TODAY
    closure.save()

    assert (before, state_of(turtle, "animal.sutures-out").is_met) == (False, True)


@pytest.mark.parametrize(
    ("weights", "is_met"),
    [([(20, 800), (10, 810), (1, 820)], True), ([(20, 820), (10, 810), (1, 800)], False), ([(1, 800)], None)],
)
def test_a_trend_is_read_from_the_weighings(adopted, vet, weights, is_met):
    patient = make.patient(vet, days_ago=30)
    for days_ago, weight_g in weights:
        weigh(patient, days_ago, weight_g)

    assert state_of(patient, "animal.not-losing").is_met is is_met


def test_an_old_weight_is_no_evidence(adopted, vet):
    patient = make.patient(vet, days_ago=60)
    weigh(patient, 25, 800)
    weigh(patient, 20, 800)

    assert state_of(patient, "animal.not-losing").is_met is None


def test_a_shut_season_says_when_it_opens(turtle, vet):
    with time_machine.travel(make.at("2027-02-01 09:00"), tick=False):
        winter = readiness_of_one(make.patient(vet, days_ago=5), date(2027, 2, 1))

    assert winter.waits_until == date(2027, 5, 15)
    assert ready(turtle).waits_until is None


def test_a_vets_not_yet_keeps_an_animal_that_meets_everything_else(turtle, vet, client):
    publish(turtle, by=vet)
    until = TODAY + timedelta(days=20)
    hold_back(turtle, by=vet, event_id="release_assessment", not_before=until, reason="Let it feed up", seen_latest=0)
    find_all_met(turtle, by=vet)
    client.force_login(vet)

    assert not ready(turtle).is_ready
    assert ready(turtle).waits_until == until
    assert "A vet said: not before Sun 04-Jul-2027 (Let it feed up)" in text(page(client, "candidates"))


def test_the_earliest_day_is_the_promised_assessment(turtle, vet):
    publish(turtle, by=vet)
    planned = turtle.current_plan.plan.answer["days"]["release_assessment"]

    assert ready(turtle).earliest == date.fromisoformat(planned)


def test_a_promised_day_that_has_gone_by_is_no_promise(turtle, vet, client):
    publish(turtle, by=vet)
    with time_machine.travel(make.at("2027-08-20 09:00"), tick=False):
        weigh(turtle, 20, 800)
        weigh(turtle, 1, 800)
        later = readiness_of_one(turtle, date(2027, 8, 20))
        client.force_login(vet)
        words = text(page(client, "criteria", turtle))

    assert later.earliest is None
    assert "which has gone by" in words


def test_only_a_falling_weight_leaves_a_day_with_an_if(turtle, vet, client):
    publish(turtle, by=vet)
    weigh(turtle, 0, 700)
    weigh(turtle, 0, 690)
    client.force_login(vet)

    assert ready(turtle).is_if_weight_holds
    assert "if it keeps its weight" in text(page(client, "candidates"))


def test_without_criteria_in_force_nothing_is_said(patient, vet, client):
    client.force_login(vet)

    words = text(page(client, "criteria", patient))

    assert not readiness_of_one(patient, TODAY).is_ready
    assert "No release criteria are in force for this animal’s group" in words


# --- the list -------------------------------------------------------------------------------------------------------


def test_the_list_begins_with_what_can_go(turtle, vet, client):
    fit = make.patient(vet, days_ago=40, name="Fern")
    weigh(fit, 10, 500)
    weigh(fit, 1, 500)
    assessed_on(fit, vet)
    find_all_met(fit, by=vet)
    client.force_login(vet)

    words = text(page(client, "candidates"))

    assert words.index("Can go now") < words.index("Fern") < words.index(turtle.case_number)
    assert "2 animals in care, 1 can go now" in words


def test_what_lacks_a_day_comes_before_what_only_waits_and_says_what_it_lacks(turtle, vet, client):
    publish(turtle, by=vet)
    until = TODAY + timedelta(days=20)
    hold_back(turtle, by=vet, event_id="release_assessment", not_before=until, reason="Let it feed up", seen_latest=0)
    weigh(turtle, 1, 700)
    forgotten = make.patient(vet, days_ago=40, name="Fern")
    weigh(forgotten, 1, 500)
    client.force_login(vet)

    answer = page(client, "candidates")

    assert [part.slug for part in answer.context["parts"]] == ["unknown", "later"]
    assert f'<details id="candidate-{forgotten.case_number}-missing" open>' in text(answer)
    assert f'<details id="candidate-{turtle.case_number}-missing">' in text(answer)


def test_the_list_is_chosen_in_the_address(turtle, vet, carer, client):
    away = make.patient(vet, days_ago=5)
    make.placement(away, carer)
    client.force_login(vet)

    words = text(page(client, "candidates", where=f"carer-{carer.pk}"))

    assert away.case_number in words
    assert turtle.case_number not in words


def test_an_empty_list_says_why(adopted, vet, client):
    client.force_login(vet)

    assert "No animal is in care, so none can be released." in text(page(client, "candidates"))
    assert "No animal in care fits this search." in text(page(client, "candidates", words="zzz"))


def test_a_refresh_gets_the_part_alone(turtle, vet, client):
    client.force_login(vet)

    answer = client.get(reverse("releases:candidates"), headers={"HX-Request": "true"})

    assert answer.content.strip().startswith(b'<section id="candidates"')
    assert b"<html" not in answer.content


def test_the_number_of_queries_does_not_grow_with_the_animals(turtle, vet, client, django_assert_max_num_queries):
    client.force_login(vet)
    for number in range(6):
        more = make.patient(vet, days_ago=10 + number)
        weigh(more, 2, 700)
        assess_criterion(more, by=vet, criterion=RECOVERED, is_met=True, evidence="Looked at")

    with django_assert_max_num_queries(33):
        page(client, "candidates")


# --- judging --------------------------------------------------------------------------------------------------------


def judge(client, patient, answer="met", evidence="Wound sealed", seen=0, **more):
    data = {"seen_latest": seen, "answer_animal_recovered": answer, "evidence_animal_recovered": evidence}
    return page(client, "assess", patient, data | more)


def test_a_finding_says_who_when_and_on_what(turtle, vet, client):
    client.force_login(vet)

    answer = judge(client, turtle)

    assert answer.status_code == 302
    finding = turtle.criterion_findings.get()
    assert (finding.criterion, finding.is_met, finding.found_by, finding.found_on) == (RECOVERED, True, vet, TODAY)
    assert "Vera Vet, Mon 14-Jun-2027: Wound sealed." in text(page(client, "criteria", turtle))


def test_a_later_finding_counts_and_the_earlier_stays_readable(turtle, vet, coordinator, client):
    assess_criterion(turtle, by=vet, criterion=RECOVERED, is_met=True, evidence="Wound sealed")
    assess_criterion(turtle, by=coordinator, criterion=RECOVERED, is_met=False, evidence="Open again")
    client.force_login(vet)

    words = text(page(client, "criteria", turtle))

    assert state_of(turtle, RECOVERED).is_met is False
    assert "Wound sealed" in words
    assert "Open again" in words


@pytest.mark.parametrize(
    ("answer", "evidence", "sentence"),
    [
        ("met", "", "Say what this rests on."),
        ("", "Wound sealed", "Choose met or not met."),
        ("", "", "Nothing was judged. Choose met or not met for at least one."),
    ],
)
def test_a_judgement_needs_an_answer_and_what_it_rests_on(turtle, vet, client, answer, evidence, sentence):
    client.force_login(vet)

    refused = judge(client, turtle, answer, evidence)

    assert refused.status_code == 422
    assert sentence in text(refused)
    assert not CriterionFinding.objects.exists()


def test_a_finding_of_somebody_else_is_shown_before_it_is_outdone(turtle, vet, coordinator, client):
    theirs = assess_criterion(turtle, by=coordinator, criterion=RECOVERED, is_met=False, evidence="Lame on the left")
    client.force_login(vet)

    refused = judge(client, turtle, seen=theirs.pk - 1)
    seen = refused.context["form"]["seen_latest"].value()
    again = judge(client, turtle, seen=seen)

    assert refused.status_code == 422
    assert "Cora Coordinator has just judged one of these: not met (Lame on the left)" in text(refused)
    assert again.status_code == 302


def test_one_criterion_can_be_judged_by_itself(turtle, vet, client):
    client.force_login(vet)

    form = page(client, "assess", turtle, criterion=RECOVERED).context["form"]

    assert [each.id for each in form.criteria] == [RECOVERED]


def test_what_the_record_says_is_not_judged(turtle, vet):
    with pytest.raises(ValidationError, match="not judged by a person"):
        assess_criterion(turtle, by=vet, criterion="animal.assessed", is_met=True, evidence="I say so")


def test_a_closed_case_is_not_judged(turtle, vet):
    Patient.objects.filter(pk=turtle.pk).update(closed_on=TODAY)

    with pytest.raises(ValidationError, match="closed on"):
        assess_criterion(turtle, by=vet, criterion=RECOVERED, is_met=True, evidence="Late")


# --- going on -------------------------------------------------------------------------------------------------------


def test_an_animal_that_is_ready_goes_straight_on(turtle, coordinator, vet, client):
    assessed_on(turtle, vet)
    find_all_met(turtle, by=vet)
    client.force_login(coordinator)

    answer = page(client, "go-ahead", turtle)

    assert answer.url == reverse("outcomes:record", args=[turtle.case_number]) + "?kind=released"


def test_a_vet_goes_on_with_a_reason_and_what_was_not_met_is_kept(turtle, vet, client):
    client.force_login(vet)

    refused = page(client, "go-ahead", turtle, {"reason": ""})
    answer = page(client, "go-ahead", turtle, {"reason": "The pond dries out this week"})

    assert refused.status_code == 422
    assert "Give the reason why it goes all the same." in text(refused)
    assert answer.url.endswith("?kind=released")
    decision = GoAhead.objects.get()
    assert decision.decided_by == vet
    assert "Recovered from what it came in with; no sign of disease." in decision.unmet


def test_nobody_but_a_vet_goes_on(turtle, coordinator, client):
    client.force_login(coordinator)

    shown = page(client, "go-ahead", turtle)
    refused = page(client, "go-ahead", turtle, {"reason": "I am in a hurry"})

    assert "Only a vet may let an animal go" in text(shown)
    assert refused.status_code == 422
    assert not GoAhead.objects.exists()


# --- the day --------------------------------------------------------------------------------------------------------


DAY = {"on": "2027-06-20", "driver": "Sam", "place": "Withy Lock", "directions": "Second gate", "seen_version": 0}


def test_what_is_agreed_is_printed(turtle, vet, client):
    client.force_login(vet)

    page(client, "day", turtle, DAY)
    words = text(page(client, "day-sheet", turtle, place="exact"))

    assert "Sun 20-Jun-2027" in words
    assert "Second gate" in words
    assert "01632 960001" in words


def test_two_who_agree_on_a_day_do_not_overwrite_each_other(turtle, vet, client):
    client.force_login(vet)
    page(client, "day", turtle, DAY)

    collided = page(client, "day", turtle, DAY | {"driver": "Kim"})
    again = page(client, "day", turtle, DAY | {"driver": "Kim", "seen_version": collided.context["form"]["seen_version"].value()})

    assert collided.status_code == 409
    assert "Both versions" in text(collided)
    assert again.status_code == 302
    assert ReleaseDay.objects.get().driver == "Kim"


def test_a_day_that_has_gone_by_is_refused(turtle, vet, client):
    client.force_login(vet)

    refused = page(client, "day", turtle, DAY | {"on": "2027-06-13"})

    assert refused.status_code == 422
    assert "This day has gone by. Choose today or a later day." in text(refused)


def test_the_sheet_hides_a_private_place_unless_it_is_asked_for(turtle, vet, client):
    turtle.species.sensitivity = 2  # places are shown to a tenth of a degree: GBIF guide, category "high"
    turtle.species.save()
    finder = Finder.objects.create(hospital=turtle.hospital, name="Quentin Finder", phone="07700 900999")
    place = {"found_latitude": Decimal("54.543210"), "found_longitude": Decimal("3.091500"), "finder": finder}
    Patient.objects.filter(pk=turtle.pk).update(**place)
    client.force_login(vet)
    page(client, "day", turtle, DAY)

    rough, exact = text(page(client, "day-sheet", turtle)), text(page(client, "day-sheet", turtle, place="exact"))

    assert "54.5, 3.1" in rough
    assert not any(secret in rough for secret in ("54.54321", "Withy", "Second gate", "Quentin", "07700 900999"))
    assert "54.54321, 3.0915" in exact
    assert "Withy Lock" in exact
    assert "Quentin" not in exact


def test_the_places_of_an_extreme_species_are_not_printed_at_all(turtle, vet, client):
    turtle.species.sensitivity = 1
    turtle.species.save()
    Patient.objects.filter(pk=turtle.pk).update(found_latitude=Decimal("54.543210"), found_longitude=Decimal("3.1"))
    client.force_login(vet)

    assert "The place is not printed" in text(page(client, "day-sheet", turtle))


def test_the_sheet_says_loudly_what_is_not_met(turtle, vet, client):
    client.force_login(vet)

    assert "Do not release it before the hospital has said so." in text(page(client, "day-sheet", turtle))


# --- words ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("needs", list(Needs))
@pytest.mark.parametrize("is_met", list(STATES))
def test_every_kind_of_evidence_has_words(needs, is_met):
    target = {Needs.WEIGHT: "600", Needs.TREND: "0", Needs.SEASON: "05-01/09-01"}.get(needs, "flight_test")
    criterion = Criterion("x.y", "animal", needs, target, "It flies.", "Nowhere, 1st ed.", "memory")
    each = Assessed(criterion, is_met, "Vera Vet", TODAY, Decimal("1.5"), None if is_met else TODAY)

    assert evidence_in_words(each, "seen").endswith(".")


def test_two_readers_of_many_animals_agree_with_one_by_one(turtle, vet):
    other = make.patient(vet, days_ago=12)
    together = readiness(Patient.objects.select_related("hospital", "species__group").order_by("pk"), TODAY)

    assert [together[p.pk].assessed for p in (turtle, other)] == [ready(turtle).assessed, ready(other).assessed]


def test_a_collision_names_the_row(turtle, vet):
    from handover.releases.actions import agree_on_day

    fields = {"on": None, "driver": "", "place": "", "directions": ""}
    agree_on_day(turtle, seen_version=0, **fields)

    with pytest.raises(EditCollision):
        agree_on_day(turtle, seen_version=0, **fields)
