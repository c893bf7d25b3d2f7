"""Something happens, one action records it, a person publishes: new dates, a sentence for the carer, old paper that says so.

Monday 1 March 2027. Wound closed on Friday 26 February: sutures out 28 to 42 days later, 9 April (NC State University, Turtle
Ally Program, "Common Surgical Procedures"); other intervals as in fixtures/reference/protocols.toml.
"""

from __future__ import annotations

import uuid
from datetime import date
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.urls import reverse

from handover.packs.pdf import Printed
from handover.plans.models import PlanRead
from handover.plans.queries import days_of, plan_in_force
from handover.protocols.actions import adopt_group
from hospital.admissions.models import TaxonGroup
from hospital.clock import now
from tests import make

OPERATED = date(2027, 2, 26)


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


@pytest.fixture(autouse=True)
def _no_printing(monkeypatch):
    """What is on paper is tested elsewhere; here it counts what a pack says."""
    monkeypatch.setattr("handover.packs.actions.print_pdf", lambda *args, **kwargs: Printed(b"%PDF-1.7", 1))


@pytest.fixture
def turtle(db, hospital, vet, carer, client):
    """A pond turtle with a limb fixed and sutured on Friday; plan and pack are with its carer since half past eight."""
    with time_machine.travel(make.at("2027-03-01 08:30"), tick=False):
        call_command("loadreference", stdout=StringIO())
        call_command("loadprotocols", stdout=StringIO())
        for group in ("animal", "reptile", "chelonian", "turtle-freshwater"):
            adopt_group(TaxonGroup.objects.get(pk=group), hospital=hospital, by=vet, at=now())
        patient = make.patient(vet, admitted_at=make.at("2027-02-25 10:00"))
        limb = {"site": "left hind limb", "surgeon": vet, "recorded_by": vet}
        operation = patient.procedures.create(kind="limb-fixation", done_on=OPERATED, **limb)
        about = {"procedure": operation, "site": "left hind limb"}
        patient.closures.create(closed_on=OPERATED, material="nylon", count=6, **about)
        patient.bandages.create(kind="limb-fixation", applied_on=OPERATED, **about)
        client.force_login(vet)
        post(client, "plans:publish", patient, **hidden(get(client, "plans:replan", patient)))
        make.placement(patient, carer, days_ago=0)
        post(client, "packs:make", patient, paper="A4")
    return patient


def get(client, name, patient=None, *args, **query):
    return client.get(reverse(name, args=[patient.case_number, *args] if patient else args), query)


def post(client, name, patient=None, *args, **data):
    return client.post(reverse(name, args=[patient.case_number, *args] if patient else args), data)


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


def hidden(answer):
    form = answer.context["form"]
    return {name: form[name].value() for name in form.fields if form[name].is_hidden}



# --- what can happen: one action each ---


def recheck_early(client, turtle, vet, carer):
    """On Wednesday instead of Friday, with the bandage changed there."""
    client.force_login(vet)
    bandage = turtle.bandages.get()
    return post(client, "examinations:recheck", turtle, examined_on="2027-03-03", wound="clean", **{f"bandage_{bandage.pk}": "changed"})


def sutures_out_early(client, turtle, vet, carer):
    """Four weeks after the closure instead of six; everything until then was done on its day."""
    client.force_login(vet)
    for on in ("2027-03-05", "2027-03-12", "2027-03-19"):
        turtle.examinations.create(kind="recheck", examined_on=on, examined_by=vet)
        turtle.bandages.get().changes.create(patient=turtle, changed_on=on, changed_by=vet)
    return post(client, "procedures:closure-out", turtle, turtle.closures.get().pk, removed_on="2027-03-26")


def redated(client, turtle, vet, carer):
    """The operation was on the day of admission, a day earlier than written down."""
    client.force_login(vet)
    operation, closure, bandage = turtle.procedures.get(), turtle.closures.get(), turtle.bandages.get()
    return post(client, "procedures:edit", turtle, operation.pk, **{
        "kind": operation.kind, "done_on": "2027-02-25", "site": operation.site, "surgeon": vet.pk, "seen_version": operation.version,
        "closures-TOTAL_FORMS": 1, "closures-INITIAL_FORMS": 0, "closures-0-row_id": closure.pk, "closures-0-seen_version": closure.version,
        "closures-0-site": closure.site, "closures-0-material": "nylon", "closures-0-count": 6,
        "bandages-TOTAL_FORMS": 1, "bandages-INITIAL_FORMS": 0, "bandages-0-row_id": bandage.pk, "bandages-0-seen_version": bandage.version,
        "bandages-0-kind": bandage.kind, "bandages-0-site": bandage.site,
        "implants-TOTAL_FORMS": 0, "implants-INITIAL_FORMS": 0,
    })  # fmt: skip


def bandage_lost(client, turtle, vet, carer):
    """The carer reports it; one tap at the hospital makes it a fact."""
    client.force_login(carer.person)
    told = {"key": str(uuid.uuid4()), "made_at": now().isoformat(), "on": "2027-03-03", "bandage": "lost"}
    post(client, "logs:send", turtle, **told)
    client.force_login(vet)
    bandage = turtle.bandages.get()
    assert reverse("logs:bandage-off", args=[turtle.case_number, told["key"], bandage.pk]) in text(get(client, "logs:worrying"))
    return post(client, "logs:bandage-off", turtle, told["key"], bandage.pk)


def new_closure(client, turtle, vet, carer):
    """A second wound is closed on Monday."""
    client.force_login(vet)
    return post(client, "procedures:add", turtle, **{
        "kind": "wound-closure", "done_on": "2027-03-01", "surgeon": vet.pk, "site": "neck",
        "closures-TOTAL_FORMS": 1, "closures-INITIAL_FORMS": 0, "closures-0-site": "neck", "closures-0-material": "nylon",
        "closures-0-count": 3, "bandages-TOTAL_FORMS": 0, "bandages-INITIAL_FORMS": 0,
        "implants-TOTAL_FORMS": 0, "implants-INITIAL_FORMS": 0,
    })  # fmt: skip


def two_more_weeks(client, turtle, vet, carer):
    client.force_login(vet)
    sutures = f"suture_removal:closure-{turtle.closures.get().pk}"
    return post(client, "plans:hold", turtle, event_id=sutures, not_before="2027-04-23", reason="Slow to heal", seen_latest=0)


def carer_away(client, turtle, vet, carer):
    client.force_login(carer.person)
    return post(client, "placements:my-away", starts_on="2027-04-08", ends_on="2027-04-11")


def hospital_closed(client, turtle, vet, carer):
    client.force_login(make.person("Cleo Closing", turtle.hospital, "coordinator"))
    return post(client, "sites:close-day", on="2027-04-09", reason="Training")


def nothing_done(client, turtle, vet, carer):
    """Friday's visit was missed, and nobody did anything."""


# What happened and when; the days that change, by event ("done" ones are facts); a sentence for the carer; why, for the staff;
# and a day that has nothing to do with it and stays.
CAUSES = [
    (
        "2027-03-03 09:00", recheck_early,
        {"bandage_change:2": ("2027-03-12", "2027-03-10"), "recheck:2": ("2027-03-12", "2027-03-10")},
        "“Recheck · left hind limb (no. 2)” moves from Fri 12 Mar 2027 to Wed 10 Mar 2027.",
        "It counts from “Recheck · left hind limb (no. 1)”, which was on Fri 05-Mar-2027 and is now on Wed 03-Mar-2027.",
        ("suture_removal", "2027-04-09"),
    ),
    (
        "2027-03-26 09:00", sutures_out_early,
        {"full_water": ("2027-04-09", "2027-04-16"), "swim_test": ("2027-04-16", "2027-04-23")},
        "“Full-time water” moves from Fri 9 Apr 2027 to Fri 16 Apr 2027.",
        "It counts from “Sutures or staples out · left hind limb”, which was on Fri 09-Apr-2027 and is now on Fri 26-Mar-2027.",
        ("bandage_removal", "2027-04-09"),
    ),
    (
        "2027-03-01 15:00", redated,
        {"suture_removal": ("2027-04-09", "2027-04-08"), "bandage_change:1": ("2027-03-05", "2027-03-04")},
        "“Sutures or staples out · left hind limb” moves from Fri 9 Apr 2027 to Thu 8 Apr 2027.",
        "It counts from “Wound closed · left hind limb”, which was on Fri 26-Feb-2027 and is now on Thu 25-Feb-2027.",
        ("release_assessment", "2027-05-17"),
    ),
    (
        "2027-03-03 09:00", bandage_lost,
        {"bandage_change:2": ("2027-03-12", None)},
        "“Bandage check and change · left hind limb (no. 2)” is no longer planned (it was: Fri 12 Mar 2027).",
        "It would come after “Bandage off · left hind limb” on Wed 03-Mar-2027.",
        ("suture_removal", "2027-04-09"),
    ),
    (
        "2027-03-01 15:00", new_closure,
        {"suture_removal:neck": (None, "2027-04-09"), "dry_dock_end": ("2027-03-01", "2027-03-12")},
        "“Sutures or staples out · neck” is new: Fri 9 Apr 2027.",
        "It counts from “Wound closed · neck” on Mon 01-Mar-2027, which is new.",
        ("bandage_change:1", "2027-03-05"),
    ),
    (
        "2027-03-01 15:00", two_more_weeks,
        {"suture_removal": ("2027-04-09", "2027-04-26"), "full_water": ("2027-04-09", "2027-04-26")},
        "“Sutures or staples out · left hind limb” moves from Fri 9 Apr 2027 to Mon 26 Apr 2027.",
        "A vet said: not before Fri 23-Apr-2027.",
        ("bandage_removal", "2027-04-09"),
    ),
    (
        "2027-03-01 15:00", carer_away,
        {"suture_removal": ("2027-04-09", "2027-04-07"), "bandage_removal": ("2027-04-09", "2027-04-07")},
        "“Sutures or staples out · left hind limb” moves from Fri 9 Apr 2027 to Wed 7 Apr 2027.",
        "The carer is away on Fri 09-Apr-2027.",
        ("release_assessment", "2027-05-17"),
    ),
    (
        "2027-03-01 15:00", hospital_closed,
        {"suture_removal": ("2027-04-09", "2027-04-08"), "bandage_removal": ("2027-04-09", "2027-04-08")},
        "“Sutures or staples out · left hind limb” moves from Fri 9 Apr 2027 to Thu 8 Apr 2027.",
        "The clinic is closed on Fri 09-Apr-2027.",
        ("full_water", "2027-04-09"),
    ),
    (
        "2027-03-08 09:00", nothing_done,
        {"recheck:1": ("2027-03-05", "2027-03-08"), "bandage_change:1": ("2027-03-05", "2027-03-08")},
        "“Bandage check and change · left hind limb (no. 1)” moves from Fri 5 Mar 2027 to Mon 8 Mar 2027.",
        "Fri 05-Mar-2027 has gone by.",
        ("suture_removal", "2027-04-09"),
    ),
]  # fmt: skip


def planned(turtle, short):
    """The day of an event of the plan in force: "recheck:2" is its second link, "suture_removal:neck" that of the neck."""
    event, _, about = short.partition(":")
    rows = plan_in_force(turtle).dates.filter(event=event, done_on=None)
    if about.isdecimal():
        rows = [row for row in rows if row.event_id.endswith(f":{about}")]
    elif about or event == "suture_removal":
        rows = [row for row in rows if row.subject == (about or "left hind limb")]
    days = {row.on for row in rows}
    assert len(days) <= 1, days
    return str(days.pop()) if days else None


@pytest.mark.parametrize(("when", "happen", "days", "to_carer", "to_staff", "stays"), CAUSES, ids=[cause[1].__name__ for cause in CAUSES])
def test_one_action_then_publish(client, turtle, vet, carer, when, happen, days, to_carer, to_staff, stays):
    assert {short: planned(turtle, short) for short in days} == {short: was for short, (was, _) in days.items()}
    with time_machine.travel(make.at(when), tick=False):
        answer = happen(client, turtle, vet, carer)
        assert answer is None or answer.status_code == 302

        # the hospital sees old and new side by side, and publishes
        client.force_login(vet)
        seen = get(client, "plans:replan", turtle)
        assert to_staff in text(seen)
        assert post(client, "plans:publish", turtle, **hidden(seen), reason="As agreed by phone").status_code == 302
        assert {short: planned(turtle, short) for short in days} == {short: after for short, (_, after) in days.items()}
        assert planned(turtle, stays[0]) == stays[1]

        # the version says who, when, why, and what is different
        version = text(get(client, "plans:version", turtle, 2))
        assert f"Published by Vera Vet on {now():%a %d-%b-%Y %H:%M}. As agreed by phone" in version
        assert to_staff in version
        assert "Out of date: version 2 is in force." in text(get(client, "plans:version", turtle, 1))

        # the carer's paper is out of date, and their page says in a sentence what has changed
        client.force_login(carer.person)
        old = turtle.packs.get()
        page = text(client.get(reverse("packs:code", args=[old.key]), follow=True))
        assert "Pack 1 is out of date: the plan has changed." in page
        assert to_carer in page
        assert "date has changed" in (mine := text(get(client, "logs:mine"))) or "dates have changed" in mine

        # the new pack says it too, and the old one is to be thrown away
        client.force_login(vet)
        post(client, "packs:make", turtle, paper="A4")
        assert to_carer.partition("” ")[2] in text(get(client, "packs:page", turtle, 2))  # a pack counts no links
        client.force_login(carer.person)
        assert "Throw this paper away: pack 1 is out of date." in text(client.get(reverse("packs:code", args=[old.key]), follow=True))
    assert days_of(turtle.plans.get(version=1)) == {name: date.fromisoformat(on) for name, on in old.plan.answer["days"].items()}


# --- until it is read ---


@pytest.fixture
def moved(client, turtle, vet, carer):
    """The clinic closes on the ninth of April, and the plan is published again."""
    hospital_closed(client, turtle, vet, carer)
    republish(client, turtle, vet)
    return turtle


def republish(client, turtle, vet):
    client.force_login(vet)
    post(client, "plans:publish", turtle, **hidden(get(client, "plans:replan", turtle)), reason="x")


def shown_news(client, turtle, person):
    client.force_login(person)
    news = get(client, "logs:day", turtle).context["news"]
    return [line.sentence for line in news.lines] if news else []


def test_what_changed_is_told_until_it_is_read_and_no_longer(client, moved, carer):
    told = shown_news(client, moved, carer.person)

    assert len(told) == 4
    assert post(client, "plans:known", moved, seen_plan=plan_in_force(moved).pk).url == reverse("logs:day", args=[moved.case_number])
    assert shown_news(client, moved, carer.person) == []
    assert "changed" not in text(get(client, "logs:mine"))
    assert (PlanRead.objects.get().read_by, PlanRead.objects.get().read_at) == (carer.person, now())


def test_saying_it_twice_is_no_second_reading(client, moved, carer):
    client.force_login(carer.person)
    for _ in range(2):
        post(client, "plans:known", moved, seen_plan=plan_in_force(moved).pk)

    assert PlanRead.objects.count() == 1


def test_two_versions_that_nobody_read_are_told_as_one_difference(client, moved, vet, carer):
    """Back on its old day: what was published in between and never read needs no unlearning."""
    client.force_login(make.person("Olga Opening", moved.hospital, "coordinator"))
    post(client, "sites:open-day", None, moved.hospital.closed_days.get().pk)
    sutures = f"suture_removal:closure-{moved.closures.get().pk}"
    client.force_login(vet)
    post(client, "plans:pin", moved, event_id=sutures, on="2027-04-09", reason="x", seen_latest=0)
    republish(client, moved, vet)

    assert plan_in_force(moved).version == 3
    assert not [sentence for sentence in shown_news(client, moved, carer.person) if sentence.startswith("“Sutures")]


def test_a_plan_that_changed_again_is_not_taken_as_read_unseen(client, moved, vet, carer):
    seen = plan_in_force(moved).pk
    two_more_weeks(client, moved, vet, carer)
    republish(client, moved, vet)
    client.force_login(carer.person)

    answer = client.post(reverse("plans:known", args=[moved.case_number]), {"seen_plan": seen}, follow=True)

    assert "The plan has changed again." in text(answer)
    assert not PlanRead.objects.exists()
    assert shown_news(client, moved, carer.person)


def test_the_hospital_sees_who_knows_and_may_say_that_the_carer_was_told(client, moved, vet, carer):
    client.force_login(vet)
    before = text(get(client, "plans:plan", moved))

    answer = post(client, "plans:known", moved, seen_plan=plan_in_force(moved).pk)

    assert "Carl Carer has not said yet that these days are known." in before
    assert answer.url == reverse("plans:plan", args=[moved.case_number])
    assert "Read by Vera Vet on Mon 01-Mar-2027 09:00." in text(get(client, "plans:plan", moved))
    assert shown_news(client, moved, carer.person) == []


def test_only_who_may_see_the_animal_says_that_its_days_are_known(client, moved, hospital, stranger):
    statuses = []
    for person in (stranger, make.carer("Olga Other", hospital).person):
        client.force_login(person)
        statuses.append(post(client, "plans:known", moved, seen_plan=plan_in_force(moved).pk).status_code)

    assert statuses == [404, 404]
    assert not PlanRead.objects.exists()


def test_a_new_carer_is_told_nothing_that_was_published_before(client, moved, hospital, vet):
    second = make.carer("Second Carer", hospital)
    with time_machine.travel(make.at("2027-03-01 16:00"), tick=False):
        make.placement(moved, second, by=vet, days_ago=0)

        assert shown_news(client, moved, second.person) == []


def test_a_first_plan_is_all_new(client, turtle, vet, carer):
    """The animal went home before there was a plan."""
    early = turtle.plans.get().published_at.replace(hour=1)
    turtle.placements.update(started_at=early)

    told = shown_news(client, turtle, carer.person)

    assert "“Sutures or staples out · left hind limb” is new: Fri 9 Apr 2027." in told


def test_what_only_goes_by_another_name_on_its_old_day_is_no_news(client, turtle, vet, carer):
    """A new wound: the rechecks of the animal are counted from it now, and stay on their Fridays."""
    new_closure(client, turtle, vet, carer)
    republish(client, turtle, vet)
    client.force_login(vet)
    post(client, "packs:make", turtle, paper="A4")

    told = shown_news(client, turtle, carer.person)

    assert not [sentence for sentence in told if "Recheck" in sentence]
    client.force_login(vet)
    assert "“Recheck" not in text(get(client, "packs:page", turtle, 2)).partition("Time in water")[0].rpartition("What has changed")[2]


def test_my_animals_cost_the_same_however_many_have_news(client, moved, carer, vet, hospital, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries():
        client.force_login(carer.person)
        with CaptureQueriesContext(connection) as seen:
            get(client, "logs:mine")
        return len(seen)

    one = queries()
    twin = make.patient(vet, admitted_at=make.at("2027-02-25 10:00"))
    twin.closures.create(
        closed_on=OPERATED, material="nylon", count=6, site="neck",
        procedure=twin.procedures.create(kind="wound-closure", done_on=OPERATED, site="neck", surgeon=vet, recorded_by=vet),
    )  # fmt: skip
    make.placement(twin, carer, days_ago=0)
    twin.placements.update(started_at=make.at("2027-03-01 01:00"))
    republish(client, twin, vet)

    assert queries() == one
    assert text(get(client, "logs:mine")).count("have changed") + text(get(client, "logs:mine")).count("has changed") == 2


# --- a lost bandage ---


def lost(client, turtle, carer, **more):
    client.force_login(carer.person)
    told = {"key": str(uuid.uuid4()), "made_at": now().isoformat(), "on": "2027-03-01", "bandage": "lost"} | more
    post(client, "logs:send", turtle, **told)
    return told["key"]


def test_a_lost_bandage_becomes_a_fact_and_the_report_is_seen_with_it(client, turtle, vet, carer):
    key, bandage = lost(client, turtle, carer), turtle.bandages.get()
    client.force_login(vet)

    answer = post(client, "logs:bandage-off", turtle, key, bandage.pk)
    bandage.refresh_from_db()

    assert answer.url == reverse("plans:replan", args=[turtle.case_number])
    assert bandage.removed_on == date(2027, 3, 1)
    assert turtle.logs.get().seen.seen_by == vet
    assert "Every worrying report has been looked at." in text(get(client, "logs:worrying"))


def test_a_bandage_that_is_off_already_is_not_taken_off_again(client, turtle, vet, carer):
    key, bandage = lost(client, turtle, carer), turtle.bandages.get()
    client.force_login(vet)
    post(client, "logs:bandage-off", turtle, key, bandage.pk)

    again = client.post(reverse("logs:bandage-off", args=[turtle.case_number, key, bandage.pk]), follow=True)

    assert "Somebody has already recorded this, for Mon 01-Mar-2027." in text(again)


def test_a_report_that_says_nothing_of_a_lost_bandage_takes_none_off(client, turtle, vet, carer):
    key = lost(client, turtle, carer, bandage="wet")
    client.force_login(vet)

    assert "logs:bandage-off" not in get(client, "logs:worrying").content.decode()
    answer = client.post(reverse("logs:bandage-off", args=[turtle.case_number, key, turtle.bandages.get().pk]), follow=True)
    assert "This report does not say that a bandage is off." in text(answer)
    assert turtle.bandages.get().removed_on is None


def test_another_animals_bandage_is_not_taken_off(client, turtle, vet, carer):
    key, other = lost(client, turtle, carer), make.patient(vet)
    operation = other.procedures.create(kind="limb-fixation", done_on=OPERATED, site="left hind limb", surgeon=vet, recorded_by=vet)
    bandage = other.bandages.create(procedure=operation, kind="limb-fixation", applied_on=OPERATED, site="left hind limb")
    client.force_login(vet)

    answer = client.post(reverse("logs:bandage-off", args=[turtle.case_number, key, bandage.pk]), follow=True)

    assert "not on the animal’s record any more" in text(answer)
    assert other.bandages.get().removed_on is None


@pytest.mark.parametrize(("who", "status", "is_offered"), [("vet", 302, True), ("nurse", 302, True), ("coordinator", 403, False)])
def test_vets_and_nurses_record_what_is_off(client, turtle, carer, request, who, status, is_offered):
    key = lost(client, turtle, carer)
    client.force_login(request.getfixturevalue(who))

    assert ("is off since Mon 01-Mar-2027" in text(get(client, "logs:worrying"))) is is_offered
    assert post(client, "logs:bandage-off", turtle, key, turtle.bandages.get().pk).status_code == status
