"""A worrying report goes from one person to the next until somebody has seen it, and its author is told who."""

import uuid
from datetime import time, timedelta

import pytest
import time_machine
from django.core import mail
from django.urls import reverse

from handover.duty import actions
from handover.duty.models import DutyRules, DutyTurn, PassedOn
from handover.letters.words import WRITERS
from handover.logs.actions import receive
from handover.logs.models import LogSeen
from hospital.clock import now
from hospital.mail.models import Letter
from hospital.mail.sending import send_due
from tests import make

pytestmark = pytest.mark.django_db
NOON = make.at("2027-01-05 12:00")
ALL_DAY = {"starts": time(0), "ends": time(0), "weekdays": []}


@pytest.fixture
def clock():
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def report(clock, reference, vet, carer):
    """A carer reports that the turtle bleeds, at noon."""
    patient = make.patient(vet, name="Bramble")
    make.placement(patient, carer, by=vet)
    return receive(patient, by=carer.person, key=uuid.uuid4(), made_at=now(), on=now().date(), signs=["bleeding"]).entry


@pytest.fixture
def listed(hospital, vet, nurse):
    for person in (vet, nurse):
        actions.add_turn(hospital, person=person, **ALL_DAY)


def send():
    mail.outbox.clear()
    actions.pass_on_unseen(now())
    send_due(WRITERS)
    return [each.to[0].partition(" ")[0] for each in mail.outbox]


def see(client, report, **more):
    return client.post(reverse("logs:seen", args=[report.patient.case_number, report.key]), more)


def test_nobody_sees_it_so_the_next_one_is_told_and_each_step_is_written_down(client, report, listed, clock, vet, nurse):
    assert send() == ["Vera"]
    assert "bleeding" in mail.outbox[0].body.lower()
    clock.shift(timedelta(minutes=9))
    assert send() == []
    clock.shift(timedelta(minutes=1))
    assert send() == ["Nina"]

    assert list(PassedOn.objects.values_list("number", "to")) == [(1, vet.pk), (2, nurse.pk)]
    client.force_login(vet)
    page = client.get(reverse("logs:worrying")).content.decode()
    assert "Told by mail:" in page
    assert "Nina Nurse" in page


def test_at_night_too_because_hours_on_the_list_are_hours_of_duty(report, listed, clock):
    clock.move_to(NOON + timedelta(hours=11))

    assert send() == ["Vera"]


def test_one_tap_ends_it_and_the_carer_hears_who_has_seen_it(client, report, listed, clock, vet, carer):
    send()
    client.force_login(vet)
    clock.shift(timedelta(minutes=2))
    see(client, report)

    clock.shift(timedelta(minutes=1))
    assert send() == ["Carl"]
    assert "Vera Vet has seen your report" in mail.outbox[0].body
    clock.shift(timedelta(minutes=30))
    assert send() == []
    client.force_login(carer.person)
    answer = client.get(reverse("logs:answer", args=[report.patient.case_number, report.key])).content.decode()
    assert "Vera Vet has seen this" in answer


def test_a_letter_to_the_next_one_is_not_sent_once_it_is_seen(client, report, listed, clock, vet):
    actions.pass_on_unseen(now())
    client.force_login(vet)
    see(client, report)

    mail.outbox.clear()
    send_due(WRITERS)
    assert mail.outbox == []
    assert Letter.objects.get(kind="passed").state == "lapsed"


def test_a_slip_is_taken_back_within_a_minute_and_then_no_more(client, report, listed, clock, vet, nurse):
    client.force_login(vet)
    undo = reverse("logs:unsee", args=[report.patient.case_number, report.key])
    see(client, report)
    assert "Undo" in client.get(reverse("logs:worrying")).content.decode()

    client.force_login(nurse)
    client.post(undo)
    assert LogSeen.objects.exists(), "it was not the nurse's tap"
    client.force_login(vet)
    client.post(undo)
    assert not LogSeen.objects.exists()
    assert send() == ["Vera"]

    see(client, report)
    clock.shift(timedelta(seconds=61))
    assert "The minute for undoing is over" in client.post(undo, follow=True).content.decode()
    assert LogSeen.objects.exists()


def test_what_was_taken_back_is_not_told_to_the_carer(client, report, clock, vet):
    client.force_login(vet)
    see(client, report)
    client.post(reverse("logs:unsee", args=[report.patient.case_number, report.key]))
    clock.shift(timedelta(minutes=2))

    assert send() == []


def test_the_hospitals_own_minutes_count(report, listed, clock, hospital):
    DutyRules.objects.create(hospital=hospital, now_minutes=3)
    send()
    clock.shift(timedelta(minutes=3))

    assert send() == ["Nina"]


def test_a_report_of_the_day_before_yesterday_stays_on_the_board_only(report, listed, clock):
    clock.shift(timedelta(days=2, minutes=1))

    assert send() == []


def test_with_nobody_on_the_list_the_page_says_that_nobody_is_told(client, report, coordinator):
    assert send() == []
    client.force_login(coordinator)

    assert "Nobody is on the list" in client.get(reverse("duty:duty")).content.decode()


def test_a_carer_who_waits_is_told_that_nobody_has_seen_it_yet(client, report, carer):
    client.force_login(carer.person)

    answer = client.get(reverse("logs:answer", args=[report.patient.case_number, report.key])).content.decode()

    assert "Nobody at the hospital has said yet that this is seen." in answer


def test_the_board_shows_it_first_with_one_tap(client, report, vet):
    client.force_login(vet)

    board = client.get(reverse("boards:today")).content.decode()

    assert reverse("logs:seen", args=[report.patient.case_number, report.key]) in board


# --- the list -----------------------------------------------------------------------------------------------------


def test_a_coordinator_keeps_the_list(client, coordinator, vet, nurse, hospital):
    client.force_login(coordinator)
    for person in (vet, nurse):
        said = {"person": person.pk, "starts": "20:00", "ends": "08:00", "weekdays": [4, 5]}
        assert client.post(reverse("duty:add"), said).status_code == 302

    first, second = DutyTurn.objects.all()
    client.post(reverse("duty:up", args=[second.pk]))
    assert [each.person for each in hospital.duty_turns.all()] == [nurse, vet]
    client.post(reverse("duty:remove", args=[first.pk]))
    assert [each.person for each in hospital.duty_turns.all()] == [nurse]
    assert "20:00–08:00, Friday, Saturday" in client.get(reverse("duty:duty")).content.decode()


def test_only_people_of_the_hospital_can_be_listed_and_times_are_needed(client, coordinator, carer, stranger):
    client.force_login(coordinator)

    for person in (carer.person, stranger):
        answer = client.post(reverse("duty:add"), {"person": person.pk, "starts": "", "ends": "late"})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "Choose a person." in page
        assert "Give the time." in page
        assert "for example 21:00" in page


def test_minutes_are_changed_by_the_coordinator_and_not_unseen(client, coordinator, hospital):
    client.force_login(coordinator)
    said = {"now_minutes": 5, "today_minutes": 30, "other_minutes": 120, "seen_version": 1}
    assert client.post(reverse("duty:minutes"), said).status_code == 302
    client.post(reverse("duty:minutes"), said)

    assert client.post(reverse("duty:minutes"), said | {"now_minutes": 7}).status_code == 409
    refused = client.post(reverse("duty:minutes"), said | {"now_minutes": 0, "seen_version": 2})
    assert (refused.status_code, "Give at least 1 minute." in refused.content.decode()) == (422, True)
    assert DutyRules.objects.get(hospital=hospital).now_minutes == 5


def test_others_read_the_list_or_do_not_see_it(client, vet, nurse, carer, stranger, hospital):
    turn = actions.add_turn(hospital, person=vet, **ALL_DAY)
    other = make.person("Olga Other", stranger.memberships.get().hospital, "coordinator")

    for person, reads, moves in ((nurse, 200, 403), (carer.person, 403, 403), (other, 200, 404)):
        client.force_login(person)
        assert client.get(reverse("duty:duty")).status_code == reads
        assert client.post(reverse("duty:up", args=[turn.pk])).status_code == moves
    assert "Vera Vet" not in client.get(reverse("duty:duty")).content.decode()
