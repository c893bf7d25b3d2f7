"""Visits of one carer's animals together: who may see and publish it, what it saves, and that it stays as published."""

import json
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from handover.facts import cases_of, setup_of
from handover.plans import joint
from handover.plans.actions import fix_day, publish
from handover.plans.joint import joint_plan
from handover.plans.models import CurrentPlan, Plan, PlannedDate
from handover.plans.queries import changes_since, live_plan, plan_in_force
from handover.schedule.changes import ASIDE
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.people.models import CarerAway
from hospital.sites.models import ClosedDay
from tests import make

TODAY = date(2027, 3, 1)  # a Monday


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


def operated(vet, carer, on: date, name: str):
    """A pond turtle with the carer whose limb was fixed and sutured on that day."""
    patient = make.patient(vet, admitted_at=make.at(f"{on} 08:00"), name=name)
    who = {"surgeon": vet, "recorded_by": vet}
    operation = patient.procedures.create(kind="limb-fixation", done_on=on, site="left hind limb", **who)
    about = {"procedure": operation, "site": "left hind limb"}
    patient.closures.create(closed_on=on, material="nylon", count=6, **about)
    patient.bandages.create(kind="limb-fixation", applied_on=on, **about)
    make.placement(patient, carer, days_ago=0)
    return patient


@pytest.fixture
def reed(adopted, vet, carer):
    return operated(vet, carer, date(2027, 2, 26), "Reed")


@pytest.fixture
def moss(reed, vet, carer):
    """A second animal of the carer, operated two days before the first."""
    return operated(vet, carer, date(2027, 2, 24), "Moss")


def page(client, carer):
    return client.get(reverse("plans:together", args=[carer.pk]))


def send(client, carer, seen):
    return client.post(reverse("plans:together-publish", args=[carer.pk]), seen)


def seen_on(answer):
    form = answer.context["form"]
    return {name: form[name].value() for name in form.fields}


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").replace("&nbsp;", " ").split())


def live_days(patient):
    return {name: on for name, on in live_plan(patient, TODAY).planned.days.items() if not name.startswith(ASIDE)}


# --- who may ----------------------------------------------------------------------------------------------------------


def test_staff_read_the_page_and_nobody_else(client, reed, moss, vet, nurse, coordinator, carer, stranger):
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        statuses.append(page(client, carer).status_code)

    assert statuses == [200, 200, 200, 403, 404]


def test_vets_and_coordinators_publish_and_nobody_else(client, reed, moss, vet, nurse, coordinator, carer, stranger):
    client.force_login(vet)
    seen = seen_on(page(client, carer))
    statuses = []
    for person in (nurse, carer.person, stranger, coordinator):
        client.force_login(person)
        statuses.append(send(client, carer, seen).status_code)

    assert statuses == [403, 403, 404, 302]
    assert Plan.objects.count() == 2


def test_a_nurse_sees_no_button(client, reed, moss, nurse, vet, carer):
    client.force_login(nurse)
    assert "together-form" not in page(client, carer).content.decode()
    client.force_login(vet)
    assert "together-form" in page(client, carer).content.decode()


def test_an_animal_of_another_hospital_is_no_part_of_it(client, reed, moss, vet, carer, stranger):
    """One carer may have animals of two hospitals: drives to another place are no drives to this one."""
    other = make.patient(stranger, name="Elsewhere")
    make.placement(other, carer)
    client.force_login(vet)

    answer = page(client, carer)

    assert {member.patient.pk for member in answer.context["joint"].members} == {reed.pk, moss.pk}
    assert "Elsewhere" not in text(answer)


# --- what it shows ----------------------------------------------------------------------------------------------------


def test_it_saves_drives_and_says_how_many_and_how_far(client, reed, moss, hospital, vet, carer):
    """Kilometres by hand: a tenth of a degree of latitude is 11.1 km near 54.5 degrees north (a degree of the meridian
    measures 111.3 km there: WGS84, from memory), so there and back 22 km."""
    carer.latitude, carer.longitude = hospital.latitude + Decimal("0.1"), hospital.longitude
    carer.save()
    client.force_login(vet)

    answer = page(client, carer)

    planned, shown = answer.context["joint"], text(answer)
    assert planned.saved_drives > 0
    assert len(planned.found.joint.drives) == len({drive.on for drive in answer.context["drives"]})
    assert f"Planned together they need {planned.saved_drives} drives fewer." in shown
    assert answer.context["kilometres"]["drive"] == "22"
    assert f"<dd>{planned.saved_drives * 22.26:.0f} km</dd>" in shown
    assert "as the crow flies" in shown
    assert "one drive for all" in shown
    assert "One animal to a carrier, each covered" in shown
    assert f"What changes for {reed}" in shown
    assert f"What changes for {moss}" in shown


def test_minutes_and_things_to_bring_are_those_of_all_animals(client, reed, moss, vet, carer):
    client.force_login(vet)

    shared = [drive for drive in page(client, carer).context["drives"] if len(drive.stops) > 1]

    assert shared
    for drive in shared:
        assert drive.minutes == sum(stop.minutes for stop in drive.stops) > 0
        assert drive.bring.count("The animal in its carrier") == 1


def test_the_plan_page_names_who_shares_the_drive_and_leads_to_the_page(client, reed, moss, vet, carer):
    publish(moss, by=vet)
    client.force_login(vet)

    shown = text(client.get(reverse("plans:plan", args=[reed.case_number])))

    assert f"Shares the drive with {moss}" in shown
    assert "The carer comes on this day anyway, with another animal." in shown
    assert reverse("plans:together", args=[carer.pk]) in shown
    assert "drive:" not in shown


def test_the_carers_page_leads_to_it_with_two_animals_only(client, reed, vet, carer):
    client.force_login(vet)
    address, here = reverse("plans:together", args=[carer.pk]), reverse("placements:carer", args=[carer.pk])
    assert address not in client.get(here).content.decode()

    operated(vet, carer, date(2027, 2, 24), "Moss")

    assert address in client.get(here).content.decode()


def test_no_animal_and_one_animal_are_told_what_that_means(client, adopted, vet, carer):
    client.force_login(vet)
    assert "No animal is with this carer now." in text(page(client, carer))

    operated(vet, carer, date(2027, 2, 26), "Reed")

    shown = text(page(client, carer))
    assert "Only Reed, " in shown
    assert "there is no other animal to share a drive with" in shown
    assert "together-form" not in shown


def test_when_drives_are_shared_already_there_is_nothing_more_to_save(client, reed, moss, vet, carer):
    client.force_login(vet)
    send(client, carer, seen_on(page(client, carer)))

    shown = text(page(client, carer))

    drives = page(client, carer).context["drives"]
    assert f"{sum(len(drive.stops) for drive in drives)} visits of single animals share {len(drives)} drives already." in shown
    assert "Nothing to publish: every date stands as it was published." in shown
    assert "together-form" not in shown


def in_conflict(patient, vet):
    """The sutures fixed for a day on which the wound is a week old: too early by any rule."""
    name = f"suture_removal:closure-{patient.closures.get().pk}"
    fix_day(patient, by=vet, event_id=name, on=date(2027, 3, 5), reason="x", seen_latest=0)


def test_an_animal_in_conflict_is_left_out_and_keeps_its_agreed_drives(client, reed, moss, vet, carer):
    third = operated(vet, carer, date(2027, 2, 22), "Fern")
    agreed = publish(third, by=vet)
    days = set(agreed.dates.filter(place="clinic", done_on=None).values_list("on", flat=True))
    in_conflict(third, vet)
    client.force_login(vet)

    answer = page(client, carer)

    planned, shown = answer.context["joint"], text(answer)
    assert [live.patient.pk for live in planned.left_out] == [third.pk]
    assert set(planned.agreed) == days <= set(planned.found.joint.drives)
    assert "Left out: their own dates collide" in shown
    assert "as agreed before" in shown
    assert send(client, carer, seen_on(answer)).status_code == 302
    assert plan_in_force(third).pk == agreed.pk


def test_when_all_are_in_conflict_there_is_no_plan_and_no_button(client, reed, moss, vet, carer):
    in_conflict(reed, vet)
    in_conflict(moss, vet)
    client.force_login(vet)

    answer = page(client, carer)

    assert answer.status_code == 200
    assert "None of these animals can be planned now." in text(answer)
    assert "together-form" not in text(answer)


def test_a_search_that_ended_early_says_so(client, reed, moss, vet, carer, monkeypatch):
    """The sentence only: a real search of these two animals always ends with its proof."""
    planned = joint.together
    monkeypatch.setattr(joint, "together", lambda *given, **more: replace(planned(*given, **more), is_proven=False, bound=0))
    client.force_login(vet)

    answer = page(client, carer)

    assert "The search was ended before it could tell" in text(answer)
    assert send(client, carer, seen_on(answer)).status_code == 302


# --- publishing -------------------------------------------------------------------------------------------------------


def test_one_button_publishes_all_plans_with_the_reason(client, reed, moss, vet, carer):
    publish(reed, by=vet)
    publish(moss, by=vet, reason="By itself")
    sutures = live_days(reed)[f"suture_removal:closure-{reed.closures.get().pk}"]
    ClosedDay.objects.create(hospital=reed.hospital, on=sutures)
    client.force_login(vet)
    answer = page(client, carer)
    planned = answer.context["joint"]

    assert send(client, carer, seen_on(answer)).status_code == 302

    assert planned.changed
    for member in planned.changed:
        plan = plan_in_force(member.patient)
        rows = dict(PlannedDate.objects.filter(plan=plan, done_on=None).values_list("event_id", "on"))
        days = planned.found.joint.days[member.patient.case_number]
        assert plan.reason == "Visits together"
        assert plan.version == 2
        assert rows == {name: days[name] for name in rows}
        assert not any(name.startswith("drive:") for name in rows)
        assert not any(change["event_id"].startswith("drive:") for change in plan.changes)


def test_after_a_joint_plan_each_animal_planned_by_itself_changes_nothing(client, reed, moss, vet, carer):
    client.force_login(vet)
    send(client, carer, seen_on(page(client, carer)))

    for patient in (reed, moss):
        assert changes_since(plan_in_force(patient), live_plan(patient, TODAY)) == ()
    assert joint_plan(carer, vet, TODAY).changed == []


def test_plans_made_one_after_another_share_drives_by_themselves(reed, moss, vet):
    """The first bandage change is due within 7 days: Reed's may come forward from Friday to Moss's Wednesday."""
    change = f"bandage_change:bandage-{reed.bandages.get().pk}:1"
    assert live_days(reed)[change] == date(2027, 3, 5)

    publish(moss, by=vet)

    assert live_days(reed)[change] == date(2027, 3, 3)
    assert date(2027, 3, 3) in household(reed).days


def test_an_animal_of_another_carer_shares_no_drive(reed, vet, hospital):
    before = live_days(reed)
    other = operated(vet, make.carer("Olga Other", hospital), date(2027, 2, 24), "Moss")

    publish(other, by=vet)

    assert live_days(reed) == before


def test_if_somebody_published_meanwhile_nothing_is_published_and_it_says_who(client, reed, moss, vet, coordinator, carer):
    client.force_login(vet)
    seen = seen_on(page(client, carer))
    publish(moss, by=coordinator)

    answer = send(client, carer, seen)

    assert answer.status_code == 409
    assert f"Cora Coordinator published version 1 for {moss} at 09:00, while you were reading." in text(answer)
    assert Plan.objects.count() == 1
    assert send(client, carer, seen_on(answer)).status_code == 302


def test_days_that_nobody_saw_are_not_published(client, reed, moss, hospital, vet, carer):
    client.force_login(vet)
    answer = page(client, carer)
    ClosedDay.objects.create(hospital=hospital, on=answer.context["found"].joint.drives[-1])

    refused = send(client, carer, seen_on(answer))

    assert refused.status_code == 422
    assert "no longer those that you saw" in text(refused)
    assert not Plan.objects.exists()
    assert send(client, carer, seen_on(refused)).status_code == 302


def test_an_animal_that_came_meanwhile_is_not_published_unseen(client, reed, moss, vet, carer):
    client.force_login(vet)
    seen = seen_on(page(client, carer))
    operated(vet, carer, date(2027, 2, 22), "Fern")

    assert send(client, carer, seen).status_code == 422
    assert not Plan.objects.exists()


def test_one_refusal_stops_all(client, reed, moss, vet, carer, monkeypatch):
    """All plans or none: the second one fails here after the first was stored."""
    stored, made = joint.put_in_force, []

    def fails_second(*args, **kwargs):
        if made:
            raise ValidationError("No.")
        made.append(stored(*args, **kwargs))
        return made[0]

    monkeypatch.setattr(joint, "put_in_force", fails_second)
    client.force_login(vet)

    assert send(client, carer, seen_on(page(client, carer))).status_code == 422
    assert not Plan.objects.exists()
    assert not CurrentPlan.objects.exists()


def test_what_is_typed_into_the_hidden_fields_is_never_a_fault_of_ours(client, reed, moss, vet, carer):
    client.force_login(vet)

    for seen in ({}, {"seen_plans": "x:y,:::,7", "seen_answer": "?"}, {"seen_plans": f"{reed.pk}:0", "seen_answer": ""}):
        assert send(client, carer, seen).status_code == 422
    assert client.get(reverse("plans:together-publish", args=[carer.pk])).status_code == 302


# --- the days on which the carer comes anyway -------------------------------------------------------------------------


def household(patient):
    fresh = Patient.objects.select_related("hospital").get(pk=patient.pk)
    cases_of([fresh])
    return fresh.household


def test_an_animal_knows_the_agreed_visits_of_its_carers_others(reed, moss, vet):
    plan = publish(moss, by=vet)

    known = household(reed)

    agreed = set(plan.dates.filter(place="clinic", done_on=None).values_list("on", flat=True))
    assert set(known.days) == agreed
    assert all(animals == [moss] for animals in known.days.values())
    assert known.others == [moss]


def test_a_visit_that_was_kept_is_no_company_any_more(reed, moss, vet):
    plan = publish(moss, by=vet)
    bandage = moss.bandages.get()
    rows = plan.dates.filter(place="clinic", done_on=None)
    first, second = rows.filter(event="bandage_change")[:2]
    with_it = [row for row in rows if row.on == first.on and row.event != "bandage_change"]
    assert [row.event for row in with_it] == ["recheck"]  # both must be kept before the day is free

    with time_machine.travel(make.at("2027-03-02 09:00"), tick=False):
        bandage.changes.create(patient=moss, changed_on=date(2027, 3, 2), changed_by=vet)
        assert first.on in household(reed).days
        moss.examinations.create(kind="recheck", examined_on=date(2027, 3, 2), examined_by=vet)

        assert first.on not in household(reed).days
        assert second.on in household(reed).days


def test_an_animal_that_left_or_was_closed_is_no_company(reed, moss, vet):
    publish(moss, by=vet)
    assert household(reed).days

    moss.placements.update(ended_at=now())

    assert household(reed).days == {}
    assert household(moss) is None


def test_a_plan_that_cannot_be_read_promises_nothing(reed, moss, vet):
    """One animal's damaged record must not keep another from being planned."""
    broken = Plan(patient=moss, hospital=moss.hospital, version=1, published_at=now(), published_by=vet, problem={}, answer={"days": {}})
    broken.save()
    CurrentPlan.objects.create(patient=moss, plan=broken)

    assert household(reed).days == {}
    assert live_plan(reed, TODAY).planned


def test_an_animal_to_be_kept_apart_shares_no_drive_and_nobody_shares_one_with_it(client, reed, moss, vet, carer):
    """Common practice, no source: an animal that may be catching does not travel with others."""
    publish(moss, by=vet)
    Patient.objects.filter(pk=reed.pk).update(is_biosecurity_risk=True)
    publish(reed, by=vet)
    client.force_login(vet)

    answer = page(client, carer)

    assert household(reed).days == household(moss).days == {}
    assert live_days(reed)[f"bandage_change:bandage-{reed.bandages.get().pk}:1"] == date(2027, 3, 5)  # as if Moss never came
    assert answer.context["joint"].apart == (reed,)
    assert [member.patient for member in answer.context["joint"].members] == [moss]
    assert "is to be kept apart from other animals, so it shares no drive" in text(answer)


def test_days_gone_by_are_no_company(reed, moss, vet):
    publish(moss, by=vet)
    later = date(2027, 3, 20)
    fresh = Patient.objects.select_related("hospital").get(pk=reed.pk)
    cases_of([fresh])

    assert min(fresh.household.days) < later <= min(setup_of(fresh, later).company)


def test_company_changes_no_conflict_and_is_in_none(reed, moss, vet):
    before = _conflict_of(reed, vet)
    publish(moss, by=vet)

    assert live_plan(reed, TODAY).conflict.members == before


def _conflict_of(patient, vet):
    in_conflict(patient, vet)
    return live_plan(patient, TODAY).conflict.members


def test_a_move_for_the_drives_sake_says_so_without_a_name(client, reed, moss, vet, carer):
    """Names of other animals are not written into an animal's own plan: the next carer may read it."""
    publish(reed, by=vet)
    publish(moss, by=vet)

    second = publish(reed, by=vet)
    client.force_login(vet)
    shown = text(client.get(reverse("plans:version", args=[reed.case_number, second.version])))

    moved = [change for change in second.changes if change["now"] == "2027-03-03"]
    assert moved
    assert any(cause["why"] == "drive" for change in moved for cause in change["causes"])
    assert "Moss" not in json.dumps([second.changes, second.problem, second.answer])
    assert "One drive on Wed 03-Mar-2027, with another animal of the same carer." in shown
    assert "drive:" not in shown


def test_the_number_of_queries_does_not_grow_with_the_animals(reed, moss, vet, carer):
    def queries(patients):
        fresh = list(Patient.objects.filter(pk__in=[p.pk for p in patients]).select_related("hospital", "species__group"))
        with CaptureQueriesContext(connection) as caught:
            cases_of(fresh)
            for each in fresh:
                setup_of(each, TODAY)
        return len(caught)

    publish(reed, by=vet)
    publish(moss, by=vet)
    few = queries([reed, moss])
    more = [operated(vet, carer, date(2027, 2, day), f"No {day}") for day in (20, 21, 22)]
    for each in more:
        publish(each, by=vet)

    assert queries([reed, moss, *more]) == few
    assert queries([reed]) == few


def test_days_away_of_the_carer_bind_all_of_them(client, reed, moss, vet, carer):
    CarerAway.objects.create(carer=carer, starts_on=date(2027, 4, 1), ends_on=date(2027, 4, 6))
    client.force_login(vet)

    drives = page(client, carer).context["found"].joint.drives

    assert drives
    assert not any(date(2027, 4, 1) <= on <= date(2027, 4, 6) for on in drives)
