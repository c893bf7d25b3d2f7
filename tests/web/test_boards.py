"""The boards: what cannot wait, who comes when, who has gone quiet, whose plan needs a person."""

import uuid
from datetime import date, timedelta

import pytest
import time_machine
from django.urls import reverse

from handover.boards.rhythm import usual_gap_days
from handover.logs.models import LogEntry, LogSeen
from handover.plans.actions import fix_day, publish
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.people.models import CarerAway
from hospital.sites.models import ClosedDay
from tests import make

TODAY = date(2027, 3, 1)  # a Monday
OPERATED = date(2027, 2, 26)
BOARDS = ["today", "fortnight", "late", "quiet", "clutches", "conflicts", "proposals"]


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet):
    """A pond turtle whose left hind limb was fixed and sutured on Friday 26 February 2027, in the ward."""
    return operated(vet, name="Bramble")


def operated(vet, **fields):
    patient = make.patient(vet, admitted_at=make.at("2027-02-25 10:00"), **fields)
    who = {"surgeon": vet, "recorded_by": vet}
    operation = patient.procedures.create(kind="limb-fixation", done_on=OPERATED, site="left hind limb", **who)
    about = {"procedure": operation, "site": "left hind limb"}
    patient.closures.create(closed_on=OPERATED, material="nylon", count=6, **about)
    patient.bandages.create(kind="limb-fixation", applied_on=OPERATED, **about)
    make.placement(patient, None, days_ago=90, ward="Warm room, tub 3")
    return patient


def report(patient, on=TODAY, answer="fine", **fields):
    placement = patient.placements.get(ended_at=None)
    author = placement.carer.person if placement.carer else placement.placed_by
    at = now() - (today() - on)
    fields = {"is_worrying": answer == "phone_now" or bool(fields.get("worries"))} | fields
    return LogEntry.objects.create(
        key=uuid.uuid4(), payload_hash="0", patient=patient, placement=placement, author=author, on=on,
        made_at=at, received_at=at, answer=answer, **fields,
    )  # fmt: skip


def board(client, name, **query):
    return client.get(reverse(f"boards:{name}", query=query or None))


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


def later(days):
    return time_machine.travel(now() + timedelta(days=days), tick=False)


# --- who sees them --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", BOARDS)
def test_boards_are_for_staff_and_a_stranger_sees_nothing_of_ours(client, turtle, vet, nurse, coordinator, carer, stranger, name):
    publish(turtle, by=vet)
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        statuses.append(board(client, name).status_code)
    client.force_login(stranger)
    theirs = text(board(client, name))

    assert statuses == [200, 200, 200, 403, 200]
    assert turtle.case_number not in theirs
    assert "Bramble" not in theirs


def test_somebody_of_two_hospitals_sees_the_one_they_work_at(client, turtle, vet, stranger):
    elsewhere = stranger.memberships.get().hospital
    theirs = make.patient(stranger, at=elsewhere, name="Faraway")
    vet.memberships.create(hospital=elsewhere, role="vet")
    for patient in (turtle, theirs):
        order_medicine(patient, vet)
    client.force_login(vet)

    here = text(board(client, "today"))
    client.post(reverse("people:work-at"), {"hospital": elsewhere.pk})
    there = text(board(client, "today"))

    assert ("Bramble" in here, theirs.name in here) == (True, False)
    assert ("Bramble" in there, theirs.name in there) == (False, True)


@pytest.mark.parametrize("name", BOARDS)
def test_a_refresh_gets_the_part_alone_and_asks_again_in_a_minute(client, turtle, vet, name):
    client.force_login(vet)

    answer = client.get(reverse(f"boards:{name}"), {"where": "ward"}, headers={"HX-Request": "true"})

    part = answer.content.decode().strip()
    assert part.startswith(f'<section id="{name}"')
    assert part.endswith("</section>")
    assert f'hx-get="{reverse(f"boards:{name}")}?where=ward" hx-trigger="every 60s"' in part
    assert "As of 09:00" in part


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        (
            "today",
            "Nothing is waiting: no report to read, nothing late, no plan in conflict, no quiet carer, nothing to sign, "
            "no question, no incubator in alarm, nothing to settle in the register.",
        ),
        ("fortnight", "No published plan has a visit in the next 14 days."),
        ("late", "Nothing is late: every promised day lies ahead."),
        ("quiet", "No carer has gone quiet: everybody reports as they usually do."),
        ("clutches", "No clutch is due: none may hatch within 14 days"),
        ("conflicts", "Nothing to settle: no dates collide"),
    ],
)
def test_an_empty_board_says_why(client, vet, name, sentence):
    client.force_login(vet)

    assert sentence in text(board(client, name))


@pytest.mark.parametrize("name", BOARDS)
def test_the_number_of_queries_does_not_grow_with_the_animals(client, turtle, vet, carer, name):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.force_login(vet)
    full_board(turtle, vet, carer)
    with CaptureQueriesContext(connection) as few:
        board(client, name)
    for number in range(5):
        full_board(operated(vet, name=f"Other{number}"), vet, carer)
    with CaptureQueriesContext(connection) as many:
        board(client, name)

    assert len(many) == len(few)
    assert len(many) <= 46


def full_board(patient, vet, carer):
    """Something of everything."""
    publish(patient, by=vet)
    order_medicine(patient, vet)
    make.placement(patient, carer, days_ago=5)
    report(patient, TODAY - timedelta(days=4), answer="stay", worries="Sleepy")


# --- visits ---------------------------------------------------------------------------------------------------------


def test_the_fortnight_groups_what_one_carer_brings_on_one_day(client, turtle, vet, carer):
    second = operated(vet, name="Thorn")
    for patient in (turtle, second):
        make.placement(patient, carer, days_ago=1)
        publish(patient, by=vet)
    client.force_login(vet)

    days = board(client, "fortnight").context["days"]

    visits = [visit for day in days for visit in day.visits]
    assert len(days) == 14
    assert {visit.placement.carer for visit in visits} == {carer}
    both = next(visit for visit in visits if len(visit.stops) == 2)
    assert both.minutes == sum(due.minutes for stop in both.stops for due in stop.due) > 0
    assert all("The animal in its carrier" in stop.bring for stop in both.stops)


def test_the_fortnight_shows_the_promised_days_and_no_visit_twice(client, turtle, vet):
    published = publish(turtle, by=vet)
    client.force_login(vet)

    shown = {
        (due.event_id, day.on) for day in board(client, "fortnight").context["days"] for visit in day.visits
        for stop in visit.stops for due in stop.due
    }  # fmt: skip

    rows = published.dates.filter(place="clinic", done_on=None, on__lte=TODAY + timedelta(days=13))
    assert shown == set(rows.values_list("event_id", "on"))
    assert shown


def test_what_was_done_since_is_no_visit_any_more(client, turtle, vet):
    published = publish(turtle, by=vet)
    on = published.dates.filter(event="recheck", done_on=None).first().on
    with time_machine.travel(make.at(f"{on} 09:00"), tick=False):
        client.force_login(vet)
        before = [visit.stops[0].due for visit in board(client, "today").context["day"].visits]
        turtle.examinations.create(kind="recheck", examined_on=on, examined_by=vet)
        after = [visit.stops[0].due for visit in board(client, "today").context["day"].visits]

    def names(found):
        return {due.event for stops in found for due in stops}

    assert "recheck" in names(before)
    assert "recheck" not in names(after)


def test_a_visit_on_a_closed_day_is_pointed_out(client, turtle, vet, hospital):
    published = publish(turtle, by=vet)
    visit = published.dates.filter(place="clinic", done_on=None, on__gt=TODAY).first()
    ClosedDay.objects.create(hospital=hospital, on=visit.on)
    client.force_login(vet)

    assert "The clinic is closed on this day: move these visits" in text(board(client, "fortnight"))


def test_boards_are_chosen_in_the_address(client, turtle, vet, carer):
    second = operated(vet, name="Thorn")
    make.placement(second, carer, days_ago=1)
    for patient in (turtle, second):
        publish(patient, by=vet)
    client.force_login(vet)

    ward, by_name = text(board(client, "fortnight", where="ward")), text(board(client, "fortnight", words="thorn"))

    assert ("Bramble" in ward, "Thorn" in ward) == (True, False)
    assert ("Bramble" in by_name, "Thorn" in by_name) == (False, True)


# --- the stories ----------------------------------------------------------------------------------------------------


def test_a_late_thing_is_on_the_late_board_and_cannot_wait(client, turtle, vet):
    publish(turtle, by=vet)
    with later(70):  # the shipped rule of this wound lets sutures stay eight weeks at most
        client.force_login(vet)
        late, front = board(client, "late"), board(client, "today")

    found = [each for each in late.context["late"] if each.event_id.startswith("suture_removal")]
    assert [(each.kind, each.patient) for each in found] == [("last", turtle)]
    assert found[0].days_late > 0
    assert front.context["late_count"] == len(late.context["late"])  # the figure is what its list holds
    assert "last day was" in text(front)
    assert "Sutures or staples out" in text(front)


def test_a_missed_promise_is_named_before_its_last_day(client, turtle, vet):
    published = publish(turtle, by=vet)
    due = published.dates.filter(event="recheck", done_on=None).first()
    with time_machine.travel(make.at(f"{due.on + timedelta(days=1)} 09:00"), tick=False):
        client.force_login(vet)
        found = {each.event_id: each for each in board(client, "late").context["late"]}

    assert (found[due.event_id].kind, found[due.event_id].days_late) == ("promised", 1)


def test_a_worrying_report_cannot_wait_until_somebody_has_read_it(client, turtle, vet, carer):
    make.placement(turtle, carer, days_ago=1)
    entry = report(turtle, answer="phone_now", worries="Bleeding from the leg")
    client.force_login(vet)

    before = text(board(client, "today"))
    LogSeen.objects.create(entry=entry, seen_by=vet, seen_at=now())
    after = text(board(client, "today"))

    assert "Bleeding from the leg" in before
    assert "Bleeding from the leg" not in after


def test_the_urgent_come_first_and_calm_old_reports_are_history(client, turtle, vet, carer):
    make.placement(turtle, carer, days_ago=60)
    old_calm = report(turtle, TODAY - timedelta(days=30), worries="A little sleepy")
    calm = report(turtle, TODAY - timedelta(days=2), answer="stay", worries="It slept long")
    told_to_stay = report(turtle, TODAY - timedelta(days=1), answer="stay")
    today = report(turtle, TODAY - timedelta(days=1), answer="stay", is_worrying=True, reasons=[{"why": "water_stopped"}])
    urgent = report(turtle, TODAY - timedelta(days=40), answer="phone_now")
    fine = report(turtle)
    client.force_login(vet)

    shown = board(client, "today")
    found = [each.entry for each in shown.context["worries"]]
    listed = {row["entry"] for row in client.get(reverse("logs:worrying")).context["rows"]}

    assert found == [urgent, today, calm]
    assert not {old_calm, told_to_stay, fine} & set(found)
    assert set(found) <= listed  # whatever the board shows can be answered on the list
    assert "Phone the hospital today" in text(shown)


def test_a_worry_about_an_animal_of_another_hospital_stays_there(client, turtle, vet, stranger):
    theirs = make.patient(stranger)
    make.placement(theirs, make.carer("Else Carer", theirs.hospital), days_ago=1)
    report(theirs, answer="phone_now", worries="Not ours")
    client.force_login(vet)

    assert "Not ours" not in text(board(client, "today"))


def test_a_plan_whose_dates_collide_says_between_what(client, turtle, vet):
    publish(turtle, by=vet)
    sutures = f"suture_removal:closure-{turtle.closures.get().pk}"
    fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 2), reason="Asked for")  # far before its first day
    client.force_login(vet)

    found = board(client, "conflicts")

    assert [each.patient for each in found.context["unsettled"].colliding] == [turtle]
    assert "is fixed for Tue 02-Mar-2027" in text(found)
    assert "The plan’s dates collide" in text(board(client, "today"))


def test_a_plan_that_facts_have_overtaken_is_named(client, turtle, vet):
    publish(turtle, by=vet)
    client.force_login(vet)
    before = board(client, "conflicts").context["unsettled"].overtaken
    operation = turtle.procedures.create(kind="wound-closure", done_on=TODAY, site="tail", surgeon=vet, recorded_by=vet)
    turtle.closures.create(procedure=operation, closed_on=TODAY, material="nylon", site="tail")

    after = board(client, "conflicts")

    assert before == []
    assert [each.patient for each in after.context["unsettled"].overtaken] == [turtle]
    assert "Sutures or staples out · tail" in text(after)


@pytest.mark.parametrize("why", ["the clinic is closed.", "Carl Carer is away."])
def test_a_promised_visit_on_a_day_that_cannot_be_is_to_be_settled(client, turtle, vet, carer, hospital, why):
    make.placement(turtle, carer, days_ago=1)
    visit = publish(turtle, by=vet).dates.filter(place="clinic", done_on=None, on__gt=TODAY).first()
    client.force_login(vet)
    before = board(client, "conflicts").context["unsettled"].hindered
    if "closed" in why:
        ClosedDay.objects.create(hospital=hospital, on=visit.on)
    else:
        CarerAway.objects.create(carer=carer, starts_on=visit.on, ends_on=visit.on)

    after, fortnight = board(client, "conflicts"), text(board(client, "fortnight"))

    assert before == []
    assert [each.patient for each in after.context["unsettled"].hindered] == [turtle]
    assert f"{visit.on:%a %d-%b-%Y}: {why}" in text(after)
    assert after.context["unsettled"].count == 1
    assert ("Away on this day" in fortnight) is ("away" in why)
    replan = text(client.get(reverse("plans:replan", args=[turtle.case_number])))
    assert "Publish this plan" in replan  # the planner has another day for it


def test_a_visit_fixed_on_a_closed_day_on_purpose_is_settled(client, turtle, vet, hospital):
    visit = publish(turtle, by=vet).dates.filter(event="recheck", done_on=None, on__gt=TODAY).first()
    fix_day(turtle, by=vet, event_id=visit.event_id, on=visit.on, reason="The nurse comes in for it")
    ClosedDay.objects.create(hospital=hospital, on=visit.on)
    client.force_login(vet)

    hindered = board(client, "conflicts").context["unsettled"].hindered

    assert not any(sentence.startswith("Recheck") for each in hindered for sentence in each.why)


def test_a_visit_whose_plan_collides_is_marked_where_somebody_would_set_out(client, turtle, vet):
    publish(turtle, by=vet)
    sutures = f"suture_removal:closure-{turtle.closures.get().pk}"
    client.force_login(vet)
    before = text(board(client, "fortnight"))
    fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 2), reason="Asked for")  # far before its first day

    after = text(board(client, "fortnight"))

    assert "ask before anybody sets out" not in before
    assert "ask before anybody sets out" in after


def test_an_animal_at_home_without_a_published_plan_is_named(client, turtle, vet, carer):
    client.force_login(vet)
    in_the_ward = board(client, "conflicts").context["unsettled"].unpublished
    make.placement(turtle, carer, days_ago=1)

    at_home = board(client, "conflicts").context["unsettled"].unpublished

    assert in_the_ward == []
    assert [each.patient for each in at_home] == [turtle]


# --- quiet carers ---------------------------------------------------------------------------------------------------


def quiet_days(client):
    return [(each.patient.name, each.silent_days) for each in board(client, "quiet").context["quiet"]]


@pytest.mark.parametrize(
    ("reported_days_ago", "is_quiet"),
    [
        ([4, 3, 2, 1], False),  # every day, yesterday too
        ([5, 4, 3, 2], True),  # every day, but neither yesterday nor today
        ([14, 11, 8, 5], False),  # every third day: five days are not yet twice three
        ([15, 12, 9, 6], True),
        ([1], False),
        ([2], True),  # too few to know a rhythm: a report a day is expected
        ([], True),  # never, although it came twenty days ago
    ],
)
def test_a_carer_is_quiet_by_their_own_rhythm(client, turtle, vet, carer, reported_days_ago, is_quiet):
    make.placement(turtle, carer, days_ago=20)
    for days_ago in reported_days_ago:
        report(turtle, TODAY - timedelta(days=days_ago))
    client.force_login(vet)

    assert bool(quiet_days(client)) is is_quiet


def test_an_animal_that_came_yesterday_is_not_missed_yet(client, turtle, vet, carer):
    make.placement(turtle, carer, days_ago=1)
    client.force_login(vet)

    assert quiet_days(client) == []


def test_the_rhythm_counts_reported_days_of_this_placement_only(client, turtle, vet, carer):
    other = make.carer("Olga Other", turtle.hospital)
    make.placement(turtle, other, days_ago=20)
    report(turtle, TODAY - timedelta(days=1))
    make.placement(turtle, carer, days_ago=3)
    client.force_login(vet)

    assert quiet_days(client) == [("Bramble", 3)]
    assert "Never since the animal came, 3 days ago" in text(board(client, "quiet"))


def test_a_quiet_carer_who_is_away_is_shown_so(client, turtle, vet, carer):
    make.placement(turtle, carer, days_ago=9)
    CarerAway.objects.create(carer=carer, starts_on=TODAY, ends_on=date(2027, 3, 6))
    client.force_login(vet)

    assert "Away until Sat 06-Mar" in text(board(client, "quiet"))


def test_one_call_asks_after_all_animals_of_a_quiet_carer(client, turtle, vet, carer):
    carer.person.phone = "07700 900199"
    carer.person.save()
    for patient in (turtle, operated(vet, name="Thorn")):
        make.placement(patient, carer, days_ago=9)
    client.force_login(vet)

    shown = board(client, "today")

    assert [[each.patient.name for each in group] for group in shown.context["quiet"]] == [["Bramble", "Thorn"]]
    assert text(shown).count("has gone quiet") == 1
    assert 'href="tel:07700900199"' in shown.content.decode()


def test_the_usual_gap_is_the_median():
    days = [TODAY + timedelta(days=n) for n in (0, 1, 2, 9, 10)]

    assert usual_gap_days(days) == 1
    assert usual_gap_days(days[:2]) is None


# --- the ward -------------------------------------------------------------------------------------------------------


def order_medicine(patient, vet, **fields):
    wanted = dict(
        drug="meloxicam", dose_per_kg=1, strength_per_ml=5, weight_g=800, dose_amount="0.8", volume_ml="0.16", syringe_ml=1,
        route="mouth", every_hours=24, doses=3, first_dose_at=make.at("2027-02-28 08:00"), ordered_by=vet,
        ordered_at=now(),
    )  # fmt: skip
    return MedicationOrder.objects.create(patient=patient, **wanted | fields)


def doses_in_ward(client):
    return [(d.at.strftime("%d %H:%M"), d.is_late) for each in board(client, "today").context["ward"] for d in each.doses]


def test_the_next_dose_that_nobody_wrote_down_is_due(client, turtle, vet):
    order = order_medicine(turtle, vet)
    client.force_login(vet)
    before = doses_in_ward(client)
    given = dict(patient=turtle, order=order, given_by=vet)
    DoseGiven.objects.create(given_at=make.at("2027-02-28 08:05"), **given)
    one_given = doses_in_ward(client)
    DoseGiven.objects.create(given_at=make.at("2027-03-01 08:05"), **given)

    assert before == [("28 08:00", True)]
    assert one_given == [("01 08:00", True)]
    assert doses_in_ward(client) == []


def test_a_stopped_course_asks_for_nothing(client, turtle, vet):
    order_medicine(turtle, vet, stopped_on=TODAY)
    client.force_login(vet)

    assert doses_in_ward(client) == []


def test_an_animal_at_a_carers_is_not_in_the_ward(client, turtle, vet, carer):
    make.placement(turtle, carer, days_ago=1)
    client.force_login(vet)

    assert board(client, "today").context["ward"] == []


def test_calm_animals_of_the_ward_are_only_counted(client, turtle, vet):
    client.force_login(vet)

    calm = text(board(client, "today"))
    order_medicine(turtle, vet)
    busy = text(board(client, "today"))

    row, counted = f'id="ward-{turtle.case_number}"', "One animal in the hospital has nothing due today."
    assert (row in calm, counted in calm) == (False, True)
    assert (row in busy, counted in busy) == (True, False)


def test_a_closed_case_is_on_no_board(client, turtle, vet):
    publish(turtle, by=vet)
    Patient.objects.filter(pk=turtle.pk).update(closed_on=TODAY)
    client.force_login(vet)

    assert not any("Bramble" in text(board(client, name)) for name in BOARDS)


def test_staff_start_with_the_days_board(client, vet):
    client.force_login(vet)

    assert client.get(reverse("home")).url == reverse("boards:today")
