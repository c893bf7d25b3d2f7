"""The treatment sheet: what is due, one tap, two hands, a minute to undo, and the paper."""

import threading
from datetime import timedelta
from io import BytesIO

import pypdf
import pytest
import time_machine
from django.db import connection, connections
from django.test import Client
from django.urls import reverse
from django.utils.dateparse import parse_datetime

from hospital.clock import now
from hospital.feeding.models import FeedingPlan
from hospital.medications.models import DoseGiven
from hospital.ward.models import Attended
from tests import make

pytestmark = pytest.mark.django_db
AT = "2027-01-05 12:00"


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(make.at(AT), tick=False) as travelled:
        yield travelled


@pytest.fixture
def order(patient, vet):
    """Meloxicam at 08:00 and 20:00 since yesterday morning; the first two doses were given."""
    course = make.order(patient, by=vet, every_hours=12, doses=8, first_dose_at=now() - timedelta(hours=28))
    for hours in (28, 16):
        course.doses_given.create(patient=patient, given_at=now() - timedelta(hours=hours), given_by=vet)
    return course


@pytest.fixture
def plan(patient, vet):
    """Three meals a day since yesterday."""
    return FeedingPlan.objects.create(
        patient=patient, version=1, weight_g=800, source="x", how_known="x", ordered_by=vet, ordered_at=now() - timedelta(days=1),
        kcal_constant=10, factor=1, resting_kcal=1, need_kcal=1, food="earthworms", kcal_per_g=1, food_source="x", meals_per_day=3,
        grams_per_meal=4,
    )  # fmt: skip


def sheet(client, **asked):
    return client.get(reverse("ward:sheet"), asked)


def tap(client, order, number, kind="given"):
    sent = {"what": "dose", "pk": order.pk, "number": number, "kind": kind}
    return client.post(reverse("ward:sign", args=[order.patient.case_number]), sent, follow=True)


def words(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


def open_now(client):
    return [(task.what, entry.number, str(entry.state)) for _animal, task, entry in sheet(client).context["open_now"]]


def test_who_sees_the_sheet_and_who_signs_it(client, patient, order, vet, nurse, coordinator, carer, stranger):
    seen, signed = [], []
    make.placement(patient, carer)
    for person in (vet, nurse, coordinator, carer.person):
        client.force_login(person)
        seen.append(sheet(client).status_code)
        signed.append(client.post(reverse("ward:sign", args=[patient.case_number]), {}).status_code)

    assert seen == [200, 200, 200, 403]
    assert signed == [302, 302, 403, 403]
    client.force_login(stranger)
    assert client.post(reverse("ward:sign", args=[patient.case_number]), {}).status_code == 404


def test_a_dose_is_due_late_missed_then_given_by_one_tap(client, order, nurse, clock):
    client.force_login(nurse)

    states = []
    for at in ("07:59", "08:00", "09:00", "14:00"):
        clock.move_to(make.at(f"2027-01-05 {at}"))
        states.append([state for _what, number, state in open_now(client) if number == 2])
    clock.move_to(make.at(AT))
    page = tap(client, order, 2)

    assert states == [[], ["due"], ["late"], ["missed"]]
    dose = order.doses_given.last()
    assert (dose.kind, dose.given_by, dose.given_at) == ("given", nurse, now())
    assert [row["name"] for row in page.context["undoable"]] == ["Meloxicam"]
    assert open_now(client) == []


@pytest.mark.parametrize("kind", ["refused", "missed"])
def test_not_given_is_the_second_tap(client, order, nurse, kind):
    client.force_login(nurse)

    tap(client, order, 2, kind)

    assert order.doses_given.last().kind == kind


def test_a_dose_that_is_hours_late_is_not_given_by_one_tap_and_one_to_come_not_at_all(client, order, nurse, clock):
    client.force_login(nurse)
    clock.move_to(make.at("2027-01-05 05:59"))
    early = tap(client, order, 2)
    clock.move_to(make.at("2027-01-05 14:00"))
    late = tap(client, order, 2)
    missed = tap(client, order, 2, "missed")

    assert "This is not due yet." in words(early)
    assert "This dose is hours late. Ask a vet" in words(late)
    assert order.doses_given.last().kind == "missed"
    assert missed.status_code == 200


def test_a_tap_from_a_sheet_that_is_out_of_date_gives_nothing(client, plan, nurse, vet):
    client.force_login(nurse)
    sent = {"what": "meal", "pk": plan.pk, "number": 0, "kind": "given"}
    address = reverse("ward:sign", args=[plan.patient.case_number])

    strange = client.post(address, sent | {"due_at": "2027-01-05T08:05:00+00:00"}, follow=True)
    replaced = {each.name: getattr(plan, each.name) for each in FeedingPlan._meta.fields if each.name not in ("id", "version")}
    FeedingPlan.objects.create(version=2, **replaced)
    old = client.post(address, sent | {"due_at": "2027-01-05T08:00:00+00:00"}, follow=True)

    assert "The sheet has changed." in words(strange)
    assert "This plan was replaced or stopped meanwhile." in words(old)
    assert not Attended.objects.exists()


def test_who_comes_second_is_told_who_was_first(client, order, vet, nurse):
    client.force_login(vet)
    tap(client, order, 2)
    client.force_login(nurse)

    page = tap(client, order, 2)

    assert order.doses_given.count() == 3
    assert f"{vet} wrote this down already at 12:00: given." in words(page)


def test_a_later_dose_waits_for_the_earlier_one(client, order, nurse):
    client.force_login(nurse)

    page = tap(client, order, 3)

    assert "An earlier dose of this course is not written down yet." in words(page)
    assert order.doses_given.count() == 2


def test_a_tap_is_undone_within_a_minute_by_the_one_who_tapped(client, order, vet, nurse, clock):
    client.force_login(nurse)
    tap(client, order, 2)
    dose = order.doses_given.last()
    undo = reverse("ward:undo", args=[order.patient.case_number, "dose", dose.pk])

    client.force_login(vet)
    by_another = client.post(undo, follow=True)
    client.force_login(nurse)
    clock.shift(timedelta(seconds=61))
    too_late = client.post(undo, follow=True)
    clock.shift(timedelta(seconds=-2))
    done = client.post(undo, follow=True)
    again = client.post(undo, follow=True)

    assert "Somebody else wrote this." in words(by_another)
    assert "The minute for undoing is over." in words(too_late)
    assert "Taken back." in words(done)
    assert "It is taken back already." in words(again)
    assert order.doses_given.count() == 2


def test_a_drug_of_the_register_is_never_given_by_one_tap(client, patient, vet):
    page = make.register_page(patient.hospital, vet)
    make.stock(page, "5", by=vet)
    course = make.order(patient, by=vet, drug="ketamine", strength_per_ml=100, first_dose_at=now())
    client.force_login(vet)

    shown = words(sheet(client))
    refused = tap(client, course, 0)

    assert "Draw up from the register" in shown
    assert "is kept in the register: draw it up on its own page" in words(refused)
    assert not course.doses_given.exists()


def test_a_controlled_drug_without_a_page_is_held_back(client, reference, patient, vet):
    course = make.order(patient, by=vet, drug="ketamine", strength_per_ml=100, first_dose_at=now())
    client.force_login(vet)

    refused = tap(client, course, 0)

    assert "ketamine is a controlled drug and has no page in the register. Open a page there first" in words(refused)
    assert not course.doses_given.exists()


def test_meals_stand_at_their_times_and_are_written_once(client, plan, nurse):
    client.force_login(nurse)
    [due] = [entry.due_at for _a, task, entry in sheet(client).context["open_now"] if task.what == "meal"]
    sent = {"what": "meal", "pk": plan.pk, "number": 0, "due_at": due.isoformat(), "kind": "refused"}

    client.post(reverse("ward:sign", args=[plan.patient.case_number]), sent)
    second = client.post(reverse("ward:sign", args=[plan.patient.case_number]), sent, follow=True)

    row = Attended.objects.get()
    assert (f"{due:%H:%M}", row.kind, row.due_at) == ("08:00", "refused", due)
    assert "wrote this down already" in words(second)


@pytest.mark.parametrize(
    "sent", [{}, {"what": "dose", "pk": "1"}, {"what": "meal", "pk": "1", "due_at": "noon", "kind": "given"}, {"what": "x"}]
)
def test_nonsense_is_answered_in_a_sentence(client, patient, nurse, sent):
    client.force_login(nurse)

    page = client.post(reverse("ward:sign", args=[patient.case_number]), sent, follow=True)

    assert "The sheet has changed. Look again, then tap." in words(page)


def test_an_animal_with_a_carer_is_not_in_the_house(client, patient, order, carer, nurse):
    make.placement(patient, carer)
    client.force_login(nurse)

    assert sheet(client).context["rows"] == []


def test_another_hospitals_animals_are_not_on_the_sheet(client, order):
    there = make.hospital(name="Elsewhere", slug="elsewhere")
    client.force_login(make.person("Far Vet", there, "vet"))

    assert sheet(client).context["rows"] == []


@pytest.mark.parametrize(("shift", "hours"), [("now", 12), ("day", 12), ("night", 12), ("whole", 24), ("strange", 12)])
def test_every_shift_has_its_hours(client, order, nurse, shift, hours):
    client.force_login(nurse)

    assert len(sheet(client, shift=shift, day="2027-01-05").context["hour_labels"]) == hours
    assert sheet(client, shift=shift, day="2027-02-31").status_code == 200


def test_the_night_shift_after_midnight_is_the_one_that_began_yesterday(client, order, nurse, clock):
    clock.move_to(make.at("2027-01-06 02:00"))
    client.force_login(nurse)

    page = sheet(client, shift="night")

    assert page.context["asked"].day.isoformat() == "2027-01-05"
    assert page.context["now_hour"] == 6


def test_the_sheet_costs_the_same_for_many_animals(client, patient, order, vet, django_assert_max_num_queries):
    for _ in range(12):
        other = make.patient(vet)
        make.order(other, by=vet, first_dose_at=now()).doses_given.create(patient=other, given_at=now(), given_by=vet)
    client.force_login(vet)
    sheet(client)

    with django_assert_max_num_queries(30):
        page = sheet(client)

    assert len(page.context["rows"]) == 13


def test_the_paper_has_the_animals_the_amounts_and_boxes(client, order, plan, nurse):
    client.force_login(nurse)

    answer = client.get(reverse("ward:print"), {"shift": "whole"})

    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")


@pytest.mark.django_db(transaction=True)
def test_two_hands_at_once_give_one_dose(vet, nurse, patient, rows_may_go):
    order = make.order(patient, by=vet, first_dose_at=now())
    clients = [Client(), Client()]
    for client, person in zip(clients, (vet, nurse), strict=True):
        client.force_login(person)

    def give(client):
        try:
            tap(client, order, 0)
        finally:
            connections.close_all()

    if connection.vendor == "postgresql":
        hands = [threading.Thread(target=give, args=[client]) for client in clients]
        for hand in hands:
            hand.start()
        for hand in hands:
            hand.join()
    else:  # SQLite's database of the tests lives in one connection: one hand after the other
        for client in clients:
            tap(client, order, 0)

    assert DoseGiven.objects.filter(order=order).count() == 1


def test_moments_come_back_from_the_page_as_they_went(order, plan, client, nurse):
    client.force_login(nurse)

    page = words(sheet(client))

    [due] = [entry.due_at for _a, task, entry in sheet(client).context["open_now"] if task.what == "meal"]
    assert parse_datetime(due.isoformat()) == due
    assert f'name="due_at" value="{due.isoformat()}"' in page


# --- the hospital's own minutes, weights, whose animals, labels -----------------------------------------------------


def test_the_hospital_says_after_how_many_minutes_a_dose_is_late_and_missed(client, order, nurse, hospital, clock):
    hospital.late_after_minutes, hospital.missed_after_minutes = 30, 90
    hospital.save()
    client.force_login(nurse)

    states = []
    for at in ("08:29", "08:30", "09:30"):
        clock.move_to(make.at(f"2027-01-05 {at}"))
        states += [state for _what, number, state in open_now(client) if number == 2]
    refused = tap(client, order, 2)

    assert states == ["due", "late", "missed"]
    assert "This dose is hours late" in words(refused)
    assert "late after 30 minutes, missed after 90" in words(sheet(client))


def test_missed_never_comes_before_late(client, coordinator, hospital):
    client.force_login(coordinator)
    page = client.get(reverse("sites:edit")).context["form"]
    sent = {name: page[name].value() for name in page.fields} | {"late_after_minutes": "60", "missed_after_minutes": "60"}

    answer = client.post(reverse("sites:edit"), {name: value for name, value in sent.items() if value is not None})

    assert answer.status_code == 422
    assert "late first and missed later" in words(answer)


def test_a_weight_too_old_for_its_group_is_said_at_the_dose_and_asks_for_the_scales(client, order, nurse, vet):
    """A freshwater turtle's weight is good for 14 days (a list of our own: common practice, no source)."""
    client.force_login(nurse)
    never = words(sheet(client))
    order.patient.weights.create(weighed_at=now() - timedelta(days=15), weight_g=800, weighed_by=vet)
    old = words(sheet(client))
    order.patient.weights.create(weighed_at=now() - timedelta(days=14), weight_g=800, weighed_by=vet)
    fresh = words(sheet(client))

    assert "never weighed" in never
    assert "too old to dose from" in old
    assert "Weighing due" in old
    assert "too old to dose from" not in fresh
    assert "Weighing due" not in fresh


def test_mine_are_the_animals_that_i_took_and_nobody_elses(client, order, nurse, vet):
    client.force_login(nurse)
    empty = words(sheet(client, mine="1"))
    for _again in range(2):
        client.post(reverse("ward:mine", args=[order.patient.case_number]))

    taken = sheet(client, mine="1")
    client.force_login(vet)
    others = words(sheet(client, mine="1"))
    client.force_login(nurse)
    client.post(reverse("ward:mine", args=[order.patient.case_number]), {"no_more": "1"})

    assert "You mind no animal here" in empty
    assert [each.patient for each in taken.context["sheet"].animals] == [order.patient]
    assert "You mind no animal here" in others
    assert "You mind no animal here" in words(sheet(client, mine="1"))


def test_a_course_long_over_is_not_worked_out_and_one_just_over_still_shows_what_was_missed(client, patient, nurse, vet):
    make.order(patient, by=vet, drug="Long over", every_hours=24, doses=400, first_dose_at=now() - timedelta(days=500))
    make.order(patient, by=vet, drug="Just over", every_hours=24, doses=2, first_dose_at=now() - timedelta(days=2))
    client.force_login(nurse)

    page = words(sheet(client))

    assert "Long over" not in page
    assert "Just over" in page


def test_a_label_says_whose_what_and_when_and_writes_nothing(client, order, nurse, carer, stranger):
    address = reverse("medications:label", args=[order.patient.case_number, order.pk])
    client.force_login(nurse)

    answer = client.get(address)

    text = pypdf.PdfReader(BytesIO(answer.content)).pages[0].extract_text().replace("\xa0", " ")
    assert len(pypdf.PdfReader(BytesIO(answer.content)).pages) == 1
    assert order.patient.case_number in text
    assert "0.16 mL" in text
    assert "Tue 05-Jan-2027 08:00" in text
    assert order.doses_given.count() == 2
    assert address in sheet(client).content.decode()
    for person, status in ((carer.person, 403), (stranger, 404)):
        client.force_login(person)
        assert client.get(address).status_code in (status, 404)


def test_another_amount_is_written_with_its_reason_and_comes_out_of_the_register_as_it_was(client, patient, nurse, hospital, vet):
    """Ketamine 100 mg per mL: 0.3 mL ordered, 0.2 mL went in: 2 mL received leave 1.8 mL, worked by hand."""
    witness = make.person("Wilma Witness", hospital, "nurse")
    page = make.register_page(hospital, vet)
    make.stock(page, "2", by=vet, witness=witness)
    course = make.order(patient, by=vet, drug="ketamine", strength_per_ml=100, volume_ml="0.3", first_dose_at=now() - timedelta(hours=1))
    client.force_login(nurse)
    give = reverse("medications:give", args=[patient.case_number, course.pk])
    form = {"kind": "given", "given_at": "2027-01-05T12:00", "page": page.pk, "given_ml": "0.2", "note": "", "wasted_ml": ""}

    unreasoned = client.post(give, form)
    client.post(give, form | {"note": "It moved; asleep already"})

    dose = course.doses_given.get()
    assert unreasoned.status_code == 422
    assert "Say why it was not the amount that was ordered." in words(unreasoned)
    assert (str(dose.given_ml), dose.register_line.moved_thousandths, dose.register_line.balance_thousandths) == ("0.2000", -200, 1800)
    assert "0.2 mL instead of 0.3 mL" in words(client.get(reverse("chart:patient", args=[patient.case_number])))
