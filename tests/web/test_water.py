"""Graded water time from rows: which protocol, from which day, by which reports; and what vets decide about it."""

import random
from datetime import date, timedelta
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse

from handover.logs.actions import receive
from handover.logs.queries import last_minutes
from handover.logs.water import allowance_today, ladder, water_of, waters_of
from handover.plans.actions import publish
from handover.plans.models import WaterDecision
from handover.schedule.watertime import Reason
from hospital.admissions.models import Patient
from hospital.clock import now
from tests import make

CLOSED = date(2027, 3, 1)


def day(number: int) -> date:
    """So many days after the wound was closed."""
    return CLOSED + timedelta(number)


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-04-10 18:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet, carer):
    """A pond turtle with a sutured skin wound: 14 dry days by the general row, then 15, 30, 60, 120, 360, 720 minutes."""
    patient = make.patient(vet, admitted_at=make.at("2027-02-28 10:00"))
    sutured(patient, vet, CLOSED)
    make.placement(patient, carer, days_ago=38)
    return patient


def sutured(patient, vet, on, kind="wound-repair", site="neck"):
    operation = patient.procedures.create(kind=kind, done_on=on, site=site, surgeon=vet, recorded_by=vet)
    return patient.closures.create(procedure=operation, closed_on=on, material="nylon", count=3, site=site)


def report(patient, by, on, minutes=None, signs=(), **more):
    told = {"key": uuid4(), "made_at": now(), "water_minutes": minutes, "signs": list(signs)}
    return receive(patient, by=by, on=on, **told | more).entry


def decide(patient, vet, kind, on, step, at=None):
    who = {"decided_by": vet, "decided_at": at or now()}
    return WaterDecision.objects.create(patient=patient, kind=kind, on=on, step=step, reason="x", **who)


def minutes(patient, first, last):
    return [each.minutes for each in water_of(patient).known(first, last)]


# --- which protocol, from when -----------------------------------------------------------------------------------------


def test_an_animal_without_a_protocol_has_no_water_time(adopted, vet):
    unhurt = make.patient(vet)
    group = make.group("hedgehog", ("mammal", "animal"))
    hedgehog = make.patient(vet, species=make.species("Erinaceus europaeus", "hedgehog", group=group))
    sutured(hedgehog, vet, CLOSED)

    assert allowance_today(unhurt, day(20)) is None
    assert ladder(hedgehog, day(0), day(9), day(5)) == ()


def test_a_protocol_that_nobody_adopted_holds_for_nobody(reference, vet, hospital):
    patient = make.patient(vet)
    sutured(patient, vet, CLOSED)

    assert water_of(patient) is None


@pytest.mark.parametrize(
    ("kind", "tagged", "dry_days"),
    [("shell-repair", "shell_repair", 14), ("coeliotomy", "coelomic", 14), ("wound-repair", "", 14)],
)
def test_the_operation_chooses_the_protocol(adopted, vet, kind, tagged, dry_days):
    patient = make.patient(vet, admitted_at=make.at("2027-02-28 10:00"))
    sutured(patient, vet, CLOSED, kind=kind)

    protocol = water_of(patient).protocol

    assert (protocol.applies_to, protocol.dry_days) == (tagged, dry_days)


def test_the_reference_ladder_is_climbed_by_clean_days(turtle, carer):
    """Rows 56 and 59 to 64 of the shipped library: 14 dry days, 15 to 720 minutes, 3 clean days a step."""
    steps = [15, 30, 60]
    for number in range(14, 23):
        report(turtle, carer.person, day(number), steps[(number - 14) // 3])

    climbed = minutes(turtle, day(12), day(23))

    assert climbed == [0, 0, 15, 15, 15, 30, 30, 30, 60, 60, 60, 120]


def test_the_order_in_which_reports_arrive_does_not_matter(turtle, carer, adopted, vet):
    reports = [(day(14), 15, []), (day(15), 15, []), (day(16), 15, ["wound_red"]), (day(17), 15, []), (day(19), 12, [])]
    report_all(turtle, carer, reports)
    wanted = water_of(turtle).known(day(10), day(25))
    for seed in range(3):
        twin = make.patient(vet, admitted_at=make.at("2027-02-28 10:00"))
        sutured(twin, vet, CLOSED)
        make.placement(twin, carer, days_ago=38)
        report_all(twin, carer, random.Random(seed).sample(reports, len(reports)))

        assert water_of(twin).known(day(10), day(25)) == wanted


def report_all(patient, carer, reports):
    for on, used, signs in reports:
        report(patient, carer.person, on, used, signs)


# The day of a report is the day where the hospital is (IANA time zone database): half past midnight in summer is still the
# day before in Greenwich, and both changes of the clock have one day each, of 23 and of 25 hours.
@pytest.mark.parametrize(
    ("zone", "moment", "wanted"),
    [
        ("Europe/London", "2027-06-14 23:30", "2027-06-15"),  # 00:30, summer time
        ("Europe/London", "2027-06-14 22:59", "2027-06-14"),  # 23:59
        ("Europe/London", "2027-03-28 00:30", "2027-03-28"),  # 00:30, half an hour before the clock goes forward
        ("Europe/London", "2027-03-28 22:59", "2027-03-28"),  # 23:59 of a day of 23 hours
        ("Europe/London", "2027-03-28 23:00", "2027-03-29"),
        ("Europe/London", "2027-10-30 23:00", "2027-10-31"),  # 00:00, still summer time
        ("Europe/London", "2027-10-31 00:30", "2027-10-31"),  # 01:30, the first time
        ("Europe/London", "2027-10-31 01:30", "2027-10-31"),  # 01:30, the second time
        ("Europe/London", "2027-10-31 23:59", "2027-10-31"),  # of a day of 25 hours
        ("Australia/Sydney", "2027-04-03 13:30", "2027-04-04"),  # 00:30, the day on which summer time ends
        ("Australia/Sydney", "2027-10-02 14:30", "2027-10-03"),  # 00:30, the day on which it begins
        ("America/St_Johns", "2027-07-01 02:29", "2027-06-30"),  # 23:59 at UTC-2:30
    ],
)
def test_a_report_made_at_night_belongs_to_the_day_where_the_hospital_is(client, vet, carer, hospital, zone, moment, wanted):
    hospital.zone = zone
    hospital.save()
    patient = make.patient(vet, admitted_at=make.at("2027-03-01 10:00"))
    make.placement(patient, carer, days_ago=38)

    with time_machine.travel(make.at(moment), tick=False):
        client.force_login(carer.person)
        form = page(client, patient, "day").context["form"]
        hidden = {name: form[name].value() for name in ("key", "made_at", "on")}
        sent = post(client, patient, "send", **hidden, eaten="all")

    assert hidden["on"] == wanted
    assert sent.status_code == 302
    assert str(patient.logs.get().on) == wanted


def test_a_page_opened_before_midnight_and_sent_after_it_is_about_the_day_it_was_opened_on(client, turtle, carer):
    client.force_login(carer.person)
    with time_machine.travel(make.at("2027-04-10 22:50"), tick=False):
        form = page(client, turtle, "day").context["form"]
    with time_machine.travel(make.at("2027-04-10 23:10"), tick=False):  # 00:10 of the eleventh, in summer time
        post(client, turtle, "send", **{name: form[name].value() for name in ("key", "made_at", "on")}, water_minutes="15")

    assert turtle.logs.get().on == date(2027, 4, 10)
    assert water_of(turtle).on(date(2027, 4, 11)).clean_days == 1


@pytest.mark.parametrize(
    ("zone", "moment", "allowed"),
    [
        ("Europe/London", "2027-04-10 22:59", 0),  # 23:59 of the last dry day
        ("Europe/London", "2027-04-10 23:00", 15),  # midnight, summer time
        ("Australia/Sydney", "2027-04-10 13:59", 0),
        ("Australia/Sydney", "2027-04-10 14:00", 15),
    ],
)
def test_dry_days_are_whole_local_days_over_a_change_of_the_clock(client, adopted, vet, carer, hospital, zone, moment, allowed):
    """Closed on Sunday 28 March 2027, fourteen dry days: 28 March to 10 April. Clocks change on 28 March and on 4 April."""
    hospital.zone = zone
    hospital.save()
    patient = make.patient(vet, admitted_at=make.at("2027-03-27 10:00"))
    sutured(patient, vet, date(2027, 3, 28))
    make.placement(patient, carer, days_ago=9)
    client.force_login(carer.person)

    with time_machine.travel(make.at(moment), tick=False):
        shown = page(client, patient, "day")

    assert shown.context["day"].allowance.minutes == allowed


def test_a_correction_moves_the_ladder(turtle, carer):
    first = report(turtle, carer.person, day(14), 2)
    for number in (15, 16):
        report(turtle, carer.person, day(number), 15)
    before = water_of(turtle).on(day(17)).minutes

    report(turtle, carer.person, day(14), 15, corrects=first.key)

    assert (before, water_of(turtle).on(day(17)).minutes) == (15, 30)
    assert last_minutes(turtle, day(15)) == 15


def test_sutures_out_open_the_water(turtle):
    turtle.closures.update(removed_on=day(28))

    assert minutes(turtle, day(27), day(29)) == [15, None, None]
    assert water_of(turtle).opened_on == day(28)


def test_of_two_wounds_the_one_still_closed_holds_the_animal_back(turtle, vet):
    turtle.closures.update(removed_on=day(28))
    sutured(turtle, vet, day(30), site="tail")

    allowed = water_of(turtle).on(day(31))

    assert (allowed.minutes, allowed.why, allowed.until) == (0, Reason.DRY_DAYS, day(44))


def test_a_second_wound_begins_the_dry_days_again_and_the_slower_protocol_holds(turtle, vet):
    operation = sutured(turtle, vet, day(16), kind="limb-fixation", site="left hind limb").procedure
    turtle.bandages.create(procedure=operation, kind="limb-fixation", applied_on=day(16), site="left hind limb")

    water = water_of(turtle)

    assert water.protocol.id == "turtle-freshwater.water"
    assert [each.why for each in water.known(day(16), day(30))] == [Reason.DRY_AGAIN] * 14 + [Reason.FIRST_WATER]


def test_a_shell_repair_waits_for_the_vets_word(adopted, vet):
    patient = make.patient(vet, admitted_at=make.at("2027-02-28 10:00"))
    sutured(patient, vet, CLOSED, kind="shell-repair")
    patient.closures.update(removed_on=day(21))
    before = water_of(patient).on(day(22)).minutes

    patient.milestones.create(event="full_water", happened_on=day(30), recorded_by=vet)

    assert before == 15
    assert minutes(patient, day(29), day(30)) == [15, None]


def test_the_forecast_takes_coming_days_as_clean_and_opens_on_the_planned_day(turtle, vet):
    publish(turtle, by=vet)
    water = water_of(turtle)

    hoped = ladder(turtle, day(14), day(20), day(14))
    coming = ladder(turtle, day(40), day(60), day(40))

    assert [each.minutes for each in hoped] == [15, 15, 15, 30, 30, 30, 60]
    opens = next(each.on for each in coming if each.minutes is None)
    assert opens == water.expected_on
    assert water.on(day(60)).minutes == 15


def test_many_animals_cost_no_more_queries_than_one(turtle, vet, django_assert_max_num_queries):
    def fresh():
        return list(Patient.objects.select_related("hospital", "species"))

    with django_assert_max_num_queries(40) as one:
        waters_of(fresh())
    needed = len(one)
    for number in range(3):
        sutured(make.patient(vet, name=f"Twin {number}"), vet, now().date())

    with django_assert_max_num_queries(needed):
        assert all(waters_of(fresh()).values())


# --- stops and decisions -----------------------------------------------------------------------------------------------


def test_a_severe_sign_stops_the_water_until_a_vet_clears_it(turtle, carer, vet):
    report(turtle, carer.person, day(38), 15, ["wound_open"])
    stopped = minutes(turtle, day(38), day(41))

    decide(turtle, vet, "cleared", day(41), 2)

    assert stopped == [0, 0, 0, 0]
    assert minutes(turtle, day(38), day(42)) == [0, 0, 0, 30, 30]


def test_a_lost_bandage_is_a_severe_sign_too(turtle, carer):
    report(turtle, carer.person, day(38), 15, bandage="lost")

    assert water_of(turtle).on(day(39)).phone_now


def test_a_report_that_a_vet_had_read_is_answered_by_a_clearance_of_its_day_and_a_later_one_is_not(turtle, carer, vet):
    report(turtle, carer.person, day(40), 15, ["bleeding"])
    decide(turtle, vet, "cleared", day(40), 1, at=now() + timedelta(minutes=5))
    read = water_of(turtle).on(day(41)).minutes
    with time_machine.travel(make.at("2027-04-10 20:00"), tick=False):
        report(turtle, carer.person, day(40), None, ["bleeding"])

    assert read == 15
    assert water_of(turtle).on(day(41)).phone_now


def page(client, patient, name="water"):
    return client.get(reverse(f"logs:{name}", args=[patient.case_number]))


def post(client, patient, name, **data):
    return client.post(reverse(f"logs:{name}", args=[patient.case_number]), data)


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


def test_the_ladder_says_where_it_stands_and_why_each_day(client, turtle, carer, vet):
    for number in (38, 39):
        report(turtle, carer.person, day(number), 15)
    client.force_login(vet)

    shown = page(client, turtle)

    assert "Same step: 2 of 3 clean days so far." in text(shown)
    assert "<svg" in shown.content.decode()
    assert shown.context["ladder"].today.allowance.minutes == 15
    assert len(shown.context["ladder"].rungs) == 25


@pytest.mark.parametrize("name", ["water-step", "water-clear"])
def test_only_a_vet_decides_about_water(client, turtle, vet, nurse, coordinator, carer, stranger, name):
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        statuses.append(post(client, turtle, name, on="2027-04-10", step="1").status_code)

    assert statuses == [422, 403, 403, 403, 404]
    assert not WaterDecision.objects.exists()


def test_a_vet_sets_the_step_from_a_day_on(client, turtle, vet):
    client.force_login(vet)

    answer = post(client, turtle, "water-step", on="2027-04-11", step="3", reason="Swims well here")

    assert answer.status_code == 302
    assert minutes(turtle, day(40), day(41)) == [15, 60]
    assert "Swims well here" in text(page(client, turtle))


def test_a_vet_clears_a_stop_with_a_reason(client, turtle, carer, vet):
    report(turtle, carer.person, day(39), 15, ["wound_open"])
    client.force_login(vet)

    refused = post(client, turtle, "water-clear", on="2027-04-10", step="1", reason="")
    done = post(client, turtle, "water-clear", on="2027-04-10", step="1", reason="Closed again, looked at")

    assert "Write why, for the next vet." in text(refused)
    assert done.status_code == 302
    assert minutes(turtle, day(39), day(41)) == [0, 15, 15]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"on": "2027-04-09"}, "This day is over."),
        ({"step": "9"}, "Select a valid choice"),
        ({"step": ""}, "Choose a step."),
        ({"on": "tomorrow"}, "year-month-day"),
    ],
)
def test_decisions_that_cannot_be_are_refused_at_the_field(client, turtle, vet, data, words):
    client.force_login(vet)

    answer = post(client, turtle, "water-step", **{"on": "2027-04-10", "step": "2", "reason": "Kept words"} | data)

    assert answer.status_code == 422
    assert words in text(answer)
    assert "Kept words" in text(answer)


def test_nothing_is_cleared_that_is_not_stopped(client, turtle, vet):
    client.force_login(vet)

    answer = post(client, turtle, "water-clear", on="2027-04-10", step="1", reason="x")

    assert answer.status_code == 422
    assert not WaterDecision.objects.exists()


def test_an_animal_without_water_time_says_why(client, adopted, vet):
    patient = make.patient(vet)
    client.force_login(vet)

    assert "No water protocol in force" in text(page(client, patient))
    assert post(client, patient, "water-step", on="2027-04-10", step="1", reason="x").status_code == 302


def test_the_plans_page_shows_the_ladder_for_those_who_have_one(client, turtle, adopted, vet, carer, stranger):
    dry = make.patient(vet, species=make.species("Natrix natrix", "Grass snake", group=make.group("snake", ("reptile", "animal"))))
    client.force_login(vet)

    climbing, none = (client.get(reverse("logs:water-card", args=[each.case_number])) for each in (turtle, dry))

    assert "Water time" in text(climbing)
    assert "<rect" in climbing.content.decode()
    assert "hidden" in none.content.decode()
    assert "Water time" not in text(none)
    client.force_login(carer.person)
    assert client.get(reverse("logs:water-card", args=[turtle.case_number])).status_code == 403
    client.force_login(stranger)
    assert client.get(reverse("logs:water-card", args=[turtle.case_number])).status_code == 404
