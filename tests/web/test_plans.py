"""The care plan on its pages: what is due and why, decisions, publishing, versions."""

from datetime import date, timedelta

import pytest
import time_machine
from django.urls import reverse

from handover.plans.actions import fix_day, hold_back, publish
from handover.plans.models import CurrentPlan, Hold, Pin, Plan, PlannedDate, RuleChoice
from handover.plans.queries import changes_since, done_event_ids, live_plan, live_plans, plan_in_force, standings
from handover.protocols.actions import adopt
from handover.protocols.models import LibraryRow
from handover.schedule.plan import Conflict, Planned
from hospital.clock import now
from hospital.people.models import CarerAway, Membership
from hospital.sites.models import ClosedDay
from tests import make

TODAY = date(2027, 3, 1)  # a Monday
OPERATED = date(2027, 2, 26)


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet):
    """A pond turtle whose left hind limb was fixed and sutured on Friday 26 February 2027."""
    patient = make.patient(vet, admitted_at=make.at("2027-02-25 10:00"))
    who = {"surgeon": vet, "recorded_by": vet}
    operation = patient.procedures.create(kind="limb-fixation", done_on=OPERATED, site="left hind limb", **who)
    about = {"procedure": operation, "site": "left hind limb"}
    patient.closures.create(closed_on=OPERATED, material="nylon", count=6, **about)
    patient.bandages.create(kind="limb-fixation", applied_on=OPERATED, **about)
    return patient


@pytest.fixture
def sutures(turtle):
    """The id of the event that the tests decide about."""
    return f"suture_removal:closure-{turtle.closures.get().pk}"


def published(patient, by, reason=""):
    """The plan of today, published."""
    return publish(patient, by=by, reason=reason)


def page(client, patient, name="plan", *args, **query):
    return client.get(reverse(f"plans:{name}", args=[patient.case_number, *args]), query)


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


def hidden(answer):
    form = answer.context["form"]
    return {name: form[name].value() for name in form.fields if form[name].is_hidden}


# --- who may see and do what ----------------------------------------------------------------------------------------


READ = ["plan", "replan", "versions", "next-card", "what-if"]
DECIDE = ["pin", "hold", "choose"]


@pytest.mark.parametrize("name", READ)
def test_staff_read_the_plan_and_nobody_else(client, turtle, vet, nurse, coordinator, carer, stranger, name):
    make.placement(turtle, carer)
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        statuses.append(page(client, turtle, name).status_code)

    assert statuses == [200, 200, 200, 403, 404]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("pin", [200, 403, 200, 403, 404]),
        ("hold", [200, 403, 403, 403, 404]),
        ("choose", [200, 403, 403, 403, 404]),
        ("publish", [302, 403, 302, 403, 404]),
    ],
)
def test_vets_decide_and_coordinators_fix_days(client, turtle, vet, nurse, coordinator, carer, stranger, name, expected):
    make.placement(turtle, carer)
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        statuses.append(page(client, turtle, name).status_code)

    assert statuses == expected


def test_a_nurse_cannot_publish_or_take_a_decision_back(client, turtle, nurse, vet, sutures):
    pin = fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 4, 7), reason="x", seen_latest=0)
    client.force_login(nurse)

    statuses = [
        client.post(reverse("plans:publish", args=[turtle.case_number]), {}).status_code,
        client.post(reverse("plans:unpin", args=[turtle.case_number, pin.pk])).status_code,
    ]

    assert statuses == [403, 403]
    assert not Plan.objects.exists()
    assert Pin.objects.get().ended_at is None


def test_a_decision_of_another_patient_is_not_found(client, turtle, vet, sutures):
    pin = fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 4, 7), reason="x", seen_latest=0)
    other = make.patient(vet)
    client.force_login(vet)

    assert client.post(reverse("plans:unpin", args=[other.case_number, pin.pk])).status_code == 404


# --- the plan page --------------------------------------------------------------------------------------------------


def test_the_plan_says_what_is_due_and_why(client, turtle, vet, sutures):
    """Sutures out 28 to 42 days after closure: NC State University, Turtle Ally Program, module "Common Surgical
    Procedures"; 26 February + 42 days is Friday 9 April 2027, by the calendar."""
    client.force_login(vet)

    shown = text(page(client, turtle))
    live = live_plan(turtle, TODAY)

    assert live.planned.days[sutures] == date(2027, 4, 9)
    assert live.planned.windows[sutures] == (date(2027, 3, 26), date(2027, 4, 9))
    assert "Sutures or staples out · left hind limb" in shown
    assert "The usual day: 42 days after “Wound closed · left hind limb”." in shown
    assert "Wound closed · left hind limb: Fri 26-Feb-2027 + at least 28 days" in shown
    assert "= Fri 26-Mar-2027" in shown
    assert "NC State Univ." in shown
    assert "Nothing is published yet" in shown


def test_every_sum_on_the_page_arrives_at_the_bound_that_it_explains(turtle):
    from handover.plans.wording import rows_of

    rows = rows_of(live_plan(turtle, TODAY))

    assert len(rows) > 10
    assert all(row.earliest[-1].day == row.opens for row in rows)
    assert all(row.latest[-1].day == row.closes for row in rows)
    assert all(row.reasons for row in rows)


def test_visits_are_bundled_with_time_and_things_to_bring(client, turtle, vet):
    client.force_login(vet)

    visits = page(client, turtle).context["visits"]
    april = next(visit for visit in visits if visit.on == date(2027, 4, 9))

    labels = [row.label for row in april.rows]
    assert "Sutures or staples out · left hind limb" in labels
    assert "Bandage off · left hind limb" in labels
    assert april.minutes >= 60
    assert april.bring.startswith("The animal in its carrier, the log")
    assert all(visit.on.weekday() < 5 for visit in visits)


def test_the_picture_holds_the_dates_of_the_table(client, turtle, vet):
    client.force_login(vet)

    answer = page(client, turtle)
    picture, rows = answer.context["picture"], answer.context["rows"]

    assert [(line.label, line.on) for line in picture.lines] == [(row.label, row.on) for row in rows]
    assert 'role="img" aria-labelledby="picture-title picture-desc"' in answer.content.decode()
    assert all(line.window.x <= line.on_x <= line.window.x + line.window.width for line in picture.lines)


def test_what_is_late_is_said_with_its_days(client, turtle, vet):
    with time_machine.travel(make.at("2027-04-14 09:00"), tick=False):
        client.force_login(vet)
        answer = page(client, turtle)

    assert "It was due by Fri 09-Apr-2027." in text(answer)
    assert "5 days late" in text(answer)
    assert isinstance(live_plan(turtle, date(2027, 4, 14)).answer, Planned)


def test_an_animal_without_rules_is_told_so_with_the_next_step(client, vet):
    patient = make.patient(vet)
    client.force_login(vet)

    shown = text(page(client, patient))

    assert "Nothing is planned: no rule in force asks for anything." in shown
    assert "Look at the protocols" in shown


def test_rules_that_run_in_a_circle_are_told_and_never_a_traceback(client, turtle, hospital, vet):
    row = LibraryRow.objects.get(slug="turtle-freshwater.suture-removal.sutures")
    circle = row.content | {"id": "x", "event": "wound_closure", "anchor": "suture_removal", "applies_to": ""}
    adopt(
        LibraryRow(kind="rule", slug="x", group_id="animal", content=circle, source="x", how_known="x"),
        hospital=hospital, by=vet, at=now(), seen_version=0,
    )  # fmt: skip
    client.force_login(vet)

    answers = [page(client, turtle, name) for name in READ]

    assert [answer.status_code for answer in answers] == [200] * len(READ)
    assert "run in a circle" in text(answers[0])


def test_the_card_shows_the_next_three_dates_and_the_way_on(client, turtle, vet):
    client.force_login(vet)

    answer = page(client, turtle, "next-card")

    assert len(answer.context["rows"]) == 3
    assert reverse("plans:plan", args=[turtle.case_number]) in answer.content.decode()
    assert "Not published yet" in text(answer)
    assert answer.content.decode().count("<section") == 1


def test_the_pages_ask_a_bounded_number_of_queries(client, turtle, vet, django_assert_max_num_queries):
    published(turtle, vet)
    client.force_login(vet)

    for name in READ:
        with django_assert_max_num_queries(55):
            page(client, turtle, name)


# --- publishing -----------------------------------------------------------------------------------------------------


def test_publishing_makes_a_version_with_its_dates(client, turtle, vet, sutures):
    client.force_login(vet)
    before = page(client, turtle, "replan")

    answer = client.post(reverse("plans:publish", args=[turtle.case_number]), {**hidden(before), "reason": "Going home"})

    assert answer.status_code == 302
    first = CurrentPlan.objects.get(patient=turtle).plan
    date_row = PlannedDate.objects.get(plan=first, event_id=sutures)
    assert (first.version, first.reason, first.published_by) == (1, "Going home", vet)
    assert (date_row.on, date_row.opens_on, date_row.closes_on) == (
        date(2027, 4, 9),
        date(2027, 3, 26),
        date(2027, 4, 9),
    )
    assert (date_row.event, date_row.subject, date_row.place) == ("suture_removal", "left hind limb", "clinic")
    assert first.adoptions
    assert {change["kind"] for change in first.changes} == {"added"}
    assert not PlannedDate.objects.filter(event_id__startswith="season:").exists()


def test_the_same_plan_again_is_refused_politely(client, turtle, vet):
    first = published(turtle, vet)
    client.force_login(vet)
    sent = {"seen_plan": first.pk, "seen_answer": live_plan(turtle, TODAY).digest}

    answer = client.post(reverse("plans:publish", args=[turtle.case_number]), sent)

    assert answer.status_code == 422
    assert "Nothing has changed since version 1. It stays in force." in text(answer)
    assert Plan.objects.count() == 1


def test_a_second_version_keeps_the_first_and_says_what_changed(client, turtle, hospital, vet, sutures):
    first = published(turtle, vet)
    stored = Plan.objects.values().get(pk=first.pk)
    ClosedDay.objects.create(hospital=hospital, on=date(2027, 4, 9), reason="Staff training")

    second = published(turtle, vet, reason="Clinic closed")

    assert Plan.objects.values().get(pk=first.pk) == stored
    assert CurrentPlan.objects.get(patient=turtle).plan == second
    moved = next(change for change in second.changes if change["event_id"] == sutures)
    assert (moved["kind"], moved["was"], moved["what"]) == (
        "moved",
        "2027-04-09",
        "Sutures or staples out · left hind limb",
    )
    assert moved["causes"][0]["why"] == "closed"


def test_old_and_new_stand_side_by_side_with_reasons(client, turtle, hospital, vet, carer):
    published(turtle, vet)
    make.placement(turtle, carer)
    CarerAway.objects.create(carer=carer, starts_on=date(2027, 4, 8), ends_on=date(2027, 4, 11))
    client.force_login(vet)

    shown = text(page(client, turtle, "replan"))

    assert '<del class="nowrap">Fri 09-Apr-2027</del>' in shown
    assert "The carer is away on Fri 09-Apr-2027." in shown
    assert "dates stay as they are" in shown


def test_the_second_of_two_people_is_shown_the_firsts_plan(client, turtle, vet, coordinator, hospital):
    client.force_login(vet)
    seen = hidden(page(client, turtle, "replan"))
    published(turtle, coordinator)

    answer = client.post(reverse("plans:publish", args=[turtle.case_number]), {**seen, "reason": "Mine"})

    assert answer.status_code == 409
    assert "Cora Coordinator published version 1 at 09:00, while you were reading." in text(answer)
    assert Plan.objects.count() == 1


def test_after_a_collision_the_second_person_may_publish_deliberately(client, turtle, vet, coordinator, hospital):
    client.force_login(vet)
    seen = hidden(page(client, turtle, "replan"))
    published(turtle, coordinator)
    ClosedDay.objects.create(hospital=hospital, on=date(2027, 4, 9))

    refused = client.post(reverse("plans:publish", args=[turtle.case_number]), {**seen, "reason": "Mine"})
    assert refused.status_code == 409
    assert 'value="Mine"' in refused.content.decode()
    answer = client.post(reverse("plans:publish", args=[turtle.case_number]), {**hidden(refused), "reason": "Mine"})

    assert answer.status_code == 302
    assert plan_in_force(turtle).version == 2


def test_dates_that_nobody_saw_are_not_published(client, turtle, hospital, vet):
    client.force_login(vet)
    seen = hidden(page(client, turtle, "replan"))
    ClosedDay.objects.create(hospital=hospital, on=date(2027, 4, 9))

    answer = client.post(reverse("plans:publish", args=[turtle.case_number]), {**seen, "reason": ""})

    assert answer.status_code == 422
    assert "The dates are no longer those that you saw" in text(answer)
    assert hidden(answer)["seen_answer"] == live_plan(turtle, TODAY).digest
    assert not Plan.objects.exists()


def test_a_closed_case_gets_no_plan(client, turtle, vet):
    client.force_login(vet)
    seen = hidden(page(client, turtle, "replan"))
    turtle.closed_on = TODAY
    turtle.save()

    answer = client.post(reverse("plans:publish", args=[turtle.case_number]), {**seen, "reason": ""})

    assert answer.status_code == 422
    assert not Plan.objects.exists()
    assert "Fix a day" not in text(page(client, turtle))


def test_a_person_of_two_hospitals_may_publish_where_they_hold_the_role(client, turtle, nurse):
    elsewhere = make.hospital(name="Elsewhere", slug="elsewhere")
    Membership.objects.create(person=nurse, hospital=elsewhere, role="vet")
    client.force_login(nurse)

    assert "Look at the changes and publish" not in text(page(client, turtle))
    assert client.post(reverse("plans:publish", args=[turtle.case_number]), {}).status_code == 403


# --- decisions ------------------------------------------------------------------------------------------------------


def decide(client, patient, name, **sent):
    return client.post(reverse(f"plans:{name}", args=[patient.case_number]), {"reason": "Because", "seen_latest": 0} | sent)


def test_a_fixed_day_counts_even_where_the_clinic_is_closed(client, turtle, coordinator, sutures):
    client.force_login(coordinator)

    answer = decide(client, turtle, "pin", event_id=sutures, on="2027-04-03")

    assert answer.status_code == 302
    assert date(2027, 4, 3).weekday() == 5
    assert live_plan(turtle, TODAY).planned.days[sutures] == date(2027, 4, 3)


def test_a_fixed_day_is_taken_back(client, turtle, vet, sutures):
    pin = fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 4, 7), reason="x", seen_latest=0)
    client.force_login(vet)
    address = reverse("plans:unpin", args=[turtle.case_number, pin.pk])

    client.post(address)
    again = client.post(address, follow=True)

    assert live_plan(turtle, TODAY).planned.days[sutures] == date(2027, 4, 9)
    assert "Somebody has taken this back already." in text(again)


@pytest.mark.parametrize(
    ("name", "sent", "sentence"),
    [
        ("pin", {"on": "2027-02-28"}, "This day has gone by. Choose today or a later day."),
        ("pin", {"on": "soon"}, "Give the day as year-month-day"),
        ("pin", {"on": "2027-04-07", "event_id": "moon_walk"}, "moon_walk is not one of the available choices."),
        ("pin", {"on": "2027-04-07", "reason": ""}, "Write why, so that the next reader can follow it."),
        ("hold", {"not_before": "2027-03-01"}, "Choose a day after today."),
    ],
)
def test_decisions_that_make_no_sense_are_refused_at_their_field(client, turtle, vet, sutures, name, sent, sentence):
    client.force_login(vet)

    answer = decide(client, turtle, name, **{"event_id": sutures} | sent)

    assert answer.status_code == 422
    assert sentence in text(answer)
    assert not Pin.objects.exists()
    assert not Hold.objects.exists()


@pytest.mark.parametrize("name", ["pin", "hold"])
def test_a_decision_made_meanwhile_is_shown_before_it_is_replaced(client, turtle, vet, coordinator, sutures, name):
    about = {"by": coordinator, "event_id": sutures, "reason": "Lift"}
    if name == "pin":
        fix_day(turtle, on=date(2027, 4, 6), **about)
    else:
        hold_back(turtle, not_before=date(2027, 4, 6), **about)
    client.force_login(vet)
    field = {"pin": "on", "hold": "not_before"}[name]

    refused = decide(client, turtle, name, event_id=sutures, **{field: "2027-04-08"})
    answer = decide(
        client,
        turtle,
        name,
        event_id=sutures,
        **{field: "2027-04-08"},
        **{"seen_latest": hidden(refused)["seen_latest"]},
    )

    assert refused.status_code == 422
    assert "Cora Coordinator has just decided on Tue 06-Apr-2027 for this (Lift)." in text(refused)
    assert answer.status_code == 302
    assert turtle.pins.filter(ended_at=None).count() + turtle.holds.filter(ended_at=None).count() == 1


def test_two_more_weeks_outweigh_the_latest_day_of_the_protocol(client, turtle, vet, sutures):
    client.force_login(vet)

    answer = decide(client, turtle, "hold", event_id=sutures, not_before="2027-04-23")
    shown = text(page(client, turtle))

    assert answer.status_code == 302
    assert live_plan(turtle, TODAY).planned.days[sutures] >= date(2027, 4, 23)
    assert "would be due by Fri 09-Apr-2027; it waits longer" in shown
    assert "not before Fri 23-Apr-2027" in shown


def test_a_vet_takes_another_window_for_one_animal(client, turtle, hospital, vet, sutures):
    """28 to 70 days, usually 49: the slower textbook window of the library, from memory (Mader's, 3rd ed.)."""
    slow = LibraryRow.objects.get(group="turtle-freshwater", is_alternative=True, content__event="suture_removal")
    adopt(slow, hospital=hospital, by=vet, at=now(), seen_version=0)
    client.force_login(vet)

    before = live_plan(turtle, TODAY).planned.days[sutures]
    answer = decide(client, turtle, "choose", rule=slow.slug)
    chosen = live_plan(turtle, TODAY)

    assert before == date(2027, 4, 9)
    assert answer.status_code == 302
    assert chosen.planned.windows[sutures][1] == OPERATED + timedelta(70)
    client.post(reverse("plans:unchoose", args=[turtle.case_number, RuleChoice.objects.get().pk]))
    assert live_plan(turtle, TODAY).planned.days[sutures] == before


def test_a_window_that_is_not_in_force_cannot_be_chosen(client, turtle, vet):
    client.force_login(vet)

    answer = decide(client, turtle, "choose", rule="turtle-freshwater.suture-removal.sutures")

    assert answer.status_code == 422
    assert not RuleChoice.objects.exists()


# --- conflicts ------------------------------------------------------------------------------------------------------


@pytest.fixture
def collision(turtle, vet, sutures):
    """Sutures fixed for a day that the protocol forbids."""
    return fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 10), reason="x", seen_latest=0)


def test_a_conflict_is_told_in_words_with_its_cures(client, turtle, vet, collision):
    client.force_login(vet)

    answer = page(client, turtle)
    shown = text(answer)

    assert isinstance(live_plan(turtle, TODAY).answer, Conflict)
    assert "These cannot all be kept" in shown
    assert "“Sutures or staples out · left hind limb” is fixed for Wed 10-Mar-2027." in shown
    assert "at least 28, at most 42 days after “Wound closed · left hind limb”" in shown
    assert reverse("plans:unpin", args=[turtle.case_number, collision.pk]) in answer.content.decode()


def test_a_plan_in_conflict_is_not_published(client, turtle, vet, collision):
    client.force_login(vet)

    answer = client.post(reverse("plans:publish", args=[turtle.case_number]), {"seen_plan": 0, "seen_answer": "x"})

    assert answer.status_code == 422
    assert "These dates collide." in text(answer)
    assert not Plan.objects.exists()


def test_dropping_the_fixed_day_settles_it(client, turtle, vet, collision):
    client.force_login(vet)

    client.post(reverse("plans:unpin", args=[turtle.case_number, collision.pk]))

    assert live_plan(turtle, TODAY).planned


# --- versions -------------------------------------------------------------------------------------------------------


def test_versions_stay_readable_and_old_ones_say_that_they_are_old(client, turtle, hospital, vet):
    published(turtle, vet)
    ClosedDay.objects.create(hospital=hospital, on=date(2027, 4, 9))
    published(turtle, vet)
    client.force_login(vet)

    old, new = text(page(client, turtle, "version", 1)), text(page(client, turtle, "version", 2))

    assert "Out of date: version 2 is in force." in old
    assert "Fri 09-Apr-2027" in old
    assert "Out of date" not in new
    assert "The clinic is closed on Fri 09-Apr-2027." in new
    assert "Version 1" in text(page(client, turtle, "versions"))
    assert page(client, turtle, "version", 3).status_code == 404


# --- what has happened since ----------------------------------------------------------------------------------------


def test_facts_fulfil_what_the_published_plan_asked_for(turtle, vet, sutures):
    published(turtle, vet)
    closure = turtle.closures.get()
    closure.removed_on = date(2027, 4, 9)
    closure.save()

    with time_machine.travel(make.at("2027-04-10 09:00"), tick=False):
        done = done_event_ids([turtle], date(2027, 4, 10))

    assert done[turtle.pk] == {sutures: date(2027, 4, 9)}


def test_what_is_no_longer_asked_for_is_told_apart_from_what_is_done(turtle, vet):
    published(turtle, vet)
    wrap = turtle.bandages.get()
    wrap.removed_on = date(2027, 3, 20)
    wrap.save()

    standing = standings([turtle], date(2027, 3, 21))[turtle.pk]

    assert standing.done[f"bandage_removal:bandage-{wrap.pk}"] == date(2027, 3, 20)
    assert f"bandage_change:bandage-{wrap.pk}:3" in standing.gone


def test_standing_and_plans_of_many_take_as_many_queries_as_of_one(turtle, vet, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    published(turtle, vet)
    others = [make.patient(vet, admitted_at=make.at("2027-02-25 10:00")) for _ in range(4)]
    for patient in others:
        published(patient, vet)

    def queries(work, patients):
        fresh = list(type(turtle).objects.filter(pk__in=[patient.pk for patient in patients]))
        with CaptureQueriesContext(connection) as seen:
            work(fresh, TODAY)
        return len(seen)

    for work in (standings, live_plans):
        assert queries(work, others[:1]) == queries(work, others) <= 25


def test_nothing_published_has_nothing_to_fulfil(turtle):
    assert done_event_ids([turtle], TODAY) == {turtle.pk: {}}


def test_changes_since_a_plan_follow_a_recheck_that_was_early(turtle, vet):
    first = published(turtle, vet)
    turtle.examinations.create(kind="recheck", examined_on=date(2027, 3, 2), examined_by=vet)

    with time_machine.travel(make.at("2027-03-02 18:00"), tick=False):
        changes = {change.event_id: change for change in changes_since(first, live_plan(turtle, date(2027, 3, 2)))}

    recheck = next(change for name, change in changes.items() if name.startswith("recheck:"))
    assert (str(recheck.kind), recheck.now) == ("done", date(2027, 3, 2))


def test_while_there_is_a_conflict_the_published_dates_stay_to_be_seen(client, turtle, vet, sutures):
    published(turtle, vet)
    fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 10), reason="x")
    client.force_login(vet)

    answer = page(client, turtle)

    assert "Dates that the carer has now" in text(answer)
    assert {date["row"].event_id for date in answer.context["agreed"]} >= {sutures}


def test_a_second_conflict_beside_the_first_does_not_hide_the_first_ones_cures(client, turtle, vet, carer, sutures):
    make.placement(turtle, carer)
    CarerAway.objects.create(carer=carer, starts_on=date(2027, 3, 17), ends_on=date(2027, 3, 24))
    pin = fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 10), reason="x")
    client.force_login(vet)

    answer = page(client, turtle)

    assert "One of these would settle this; then another collision is left" in text(answer)
    assert reverse("plans:unpin", args=[turtle.case_number, pin.pk]) in answer.content.decode()


def follow(client, answer, way):
    """Take the first cure of this way as the page offers it."""
    return next(offer for offer in answer.context["cures"] if offer.line.way == way).line


def test_letting_a_thing_wait_settles_a_conflict_with_a_carers_absence(client, turtle, vet, carer):
    """A bandage is looked at every 7 days at the latest; the carer is away for eight."""
    make.placement(turtle, carer)
    CarerAway.objects.create(carer=carer, starts_on=date(2027, 3, 17), ends_on=date(2027, 3, 24))
    client.force_login(vet)
    answer = page(client, turtle)

    line = follow(client, answer, "hold")
    decide(client, turtle, "hold", event_id=line.event_id, not_before=line.on.isoformat(), reason=line.reason)

    assert isinstance(live_plan(turtle, TODAY).answer, Planned)
    assert "The carer is away: Wed 17-Mar-2027 – Wed 24-Mar-2027." in text(answer)
    assert any("If the carer is back on" in line.words for line in (offer.line for offer in answer.context["cures"]))


def test_opening_the_clinic_for_one_thing_is_fixing_its_day(client, turtle, hospital, vet, sutures):
    """With own figures of 28 to 31 days the window holds a weekend and two days on which the clinic is closed."""
    row = LibraryRow.objects.get(slug="turtle-freshwater.suture-removal.sutures")
    narrow = {"usual_days": 30, "max_days": 31}
    adopt(row, hospital=hospital, by=vet, at=now(), seen_version=1, figures=narrow)
    for day in (date(2027, 3, 26), date(2027, 3, 29)):
        ClosedDay.objects.create(hospital=hospital, on=day)
    turtle.bandages.all().delete()
    client.force_login(vet)
    answer = page(client, turtle)

    line = follow(client, answer, "pin")
    decide(client, turtle, "pin", event_id=line.event_id, on=line.on.isoformat(), reason=line.reason)

    assert line.words.startswith("Open the clinic on")
    assert line.event_id == sutures
    assert live_plan(turtle, TODAY).planned.days[sutures] == line.on
