"""What letters say to a carer: what is true as they go, one sentence for each change, and nothing of where an animal was found.

Monday 1 March 2027. Wound closed on Friday 26 February: sutures out 28 to 42 days later (NC State University, Turtle Ally Program,
"Common Surgical Procedures").
"""

from datetime import date, timedelta

import pytest
import time_machine
from django.core import mail

from handover.letters.reminders import write_reminders
from handover.letters.words import WRITERS
from handover.packs.actions import make_pack
from handover.packs.pdf import Printed
from handover.plans.actions import fix_day, publish
from handover.plans.models import PlannedDate
from handover.plans.news import say_known
from handover.plans.queries import plan_in_force
from hospital.clock import now
from hospital.mail.models import Letter, MailChoice
from hospital.mail.sending import send_due
from tests import make

MORNING = make.at("2027-03-01 09:00")


@pytest.fixture
def turtle(adopted, vet, carer, monkeypatch):
    """A pond turtle with a sutured limb, its plan published, at its carer's since Friday."""
    monkeypatch.setattr("handover.packs.actions.print_pdf", lambda *args, **kwargs: Printed(b"%PDF-1.7", 1))
    with time_machine.travel(MORNING, tick=False):
        patient = make.patient(
            vet, name="Bramble", admitted_at=make.at("2027-02-25 10:00"), found_place="Under the canary oak", circumstances="canary"
        )
        operation = patient.procedures.create(
            kind="limb-fixation", done_on=date(2027, 2, 26), site="left hind limb", surgeon=vet, recorded_by=vet
        )
        patient.closures.create(closed_on=operation.done_on, material="nylon", count=6, procedure=operation, site="left hind limb")
        publish(patient, by=vet)
        make.placement(patient, carer, days_ago=0)
        MailChoice.objects.create(person=carer.person, quiet_from=None, quiet_until=None)
    return patient


def at(moment):
    return time_machine.travel(moment if not isinstance(moment, str) else make.at(moment), tick=False)


def send():
    """What one round of the sender brings."""
    mail.outbox.clear()
    write_reminders(now())
    send_due(WRITERS)
    return mail.outbox


def move_sutures(turtle, vet, on):
    event = PlannedDate.objects.filter(patient=turtle, event="suture_removal").latest("pk")
    fix_day(turtle, by=vet, event_id=event.event_id, on=on, reason="clinic")
    publish(turtle, by=vet)


def test_a_plan_published_before_the_animal_came_is_no_news(turtle):
    with at(MORNING + timedelta(hours=1)):
        assert send() == []


def test_a_new_plan_is_one_letter_with_a_sentence_for_each_change(turtle, vet):
    with at(MORNING + timedelta(hours=1)):
        move_sutures(turtle, vet, date(2027, 4, 7))
        (letter,) = send()

    assert letter.subject == "Bramble, European pond turtle: dates have changed"
    assert "moves from" in letter.body
    assert "to Wed 7 Apr 2027." in letter.body
    assert f"/patients/{turtle.case_number}/today/" in letter.body
    assert "canary" not in letter.body


def test_a_letter_is_in_the_language_that_the_carer_chose(turtle, vet, carer):
    carer.person.language = "de"
    carer.person.save()

    with at(MORNING + timedelta(hours=1)):
        move_sutures(turtle, vet, date(2027, 4, 7))
        (letter,) = send()

    assert letter.subject.endswith(": Termine haben sich geändert")
    assert "Guten Tag" in letter.body
    assert "Dieser Brief kommt von einem Computer" in letter.body
    assert "Hello" not in letter.body


def test_a_plan_that_changed_again_before_the_letter_went_is_told_once_as_it_is_now(turtle, vet):
    with at(MORNING + timedelta(hours=1)):
        move_sutures(turtle, vet, date(2027, 4, 7))
        move_sutures(turtle, vet, date(2027, 4, 8))
        (letter,) = send()

    assert "Thu 8 Apr 2027" in letter.body
    assert "Wed 7 Apr" not in letter.body


def test_what_the_carer_has_read_on_the_page_needs_no_letter(turtle, vet, carer):
    with at(MORNING + timedelta(hours=1)):
        move_sutures(turtle, vet, date(2027, 4, 7))
        say_known(turtle, by=carer.person, seen_plan=plan_in_force(turtle).pk)

        assert send() == []


def test_a_carer_whose_animal_has_moved_on_is_not_written_to(turtle, vet, hospital):
    with at(MORNING + timedelta(hours=1)):
        move_sutures(turtle, vet, date(2027, 4, 7))
        make.placement(turtle, make.carer("Nora Next", hospital), days_ago=0)

        assert send() == []


def test_a_plan_that_is_not_published_after_all_leaves_no_letter(turtle, vet):
    with at(MORNING + timedelta(hours=1)):
        with pytest.raises(Exception, match="Nothing has changed"):
            publish(turtle, by=vet)

        assert not Letter.objects.filter(kind="plan").exists()


def test_a_new_pack_is_a_letter_with_the_way_to_it(turtle, vet):
    with at(MORNING + timedelta(hours=1)):
        pack = make_pack(turtle, by=vet, paper="A4")
        (letter,) = send()

    assert letter.subject == "Bramble, European pond turtle: new pack, version 1"
    assert f"/patients/{turtle.case_number}/pack/{pack.version}/" in letter.body


def test_the_evening_before_a_visit_the_carer_is_reminded_of_it(turtle, vet):
    visit = PlannedDate.objects.filter(patient=turtle, place="clinic", on__gt=MORNING.date()).first()
    with at(f"{visit.on - timedelta(1)} 17:30"):
        letters = [each for each in send() if "tomorrow" in each.subject]

    assert len(letters) == 1
    assert "You cannot come? Phone 01632 960001." in letters[0].body


def test_a_visit_that_was_moved_in_time_reminds_nobody(turtle, vet):
    with at(MORNING + timedelta(hours=1)):
        move_sutures(turtle, vet, date(2027, 4, 7))
    with at("2027-04-06 16:59"):
        move_sutures(turtle, vet, date(2027, 4, 8))
    with at("2027-04-06 17:30"):
        assert [each for each in send() if "tomorrow" in each.subject] == []
    with at("2027-04-07 17:30"):
        assert [each for each in send() if "tomorrow" in each.subject]


def test_a_missing_report_is_asked_for_in_the_evening_but_not_on_the_first_day(turtle):
    with at("2027-03-01 19:30"):
        assert [each for each in send() if "no report" in each.subject] == []
    with at("2027-03-02 18:59"):
        assert [each for each in send() if "no report" in each.subject] == []
    with at("2027-03-02 19:00"):
        assert [each.subject for each in send() if "no report" in each.subject] == ["Bramble, European pond turtle: no report yet today"]
    with at("2027-03-02 19:30"):
        assert [each for each in send() if "no report" in each.subject] == []


def test_a_computer_that_was_off_in_the_evening_does_not_ask_for_yesterdays_report_in_the_morning(turtle):
    with at("2027-03-02 19:00"):
        write_reminders(now())
    with at("2027-03-03 08:00"):
        assert [each for each in send() if "no report" in each.subject] == []


def test_the_last_day_of_a_medicine_is_told_unless_it_was_stopped(turtle, vet):
    with at(MORNING + timedelta(hours=1)):
        make.order(turtle, by=vet, drug="Meloxicam", doses=3)
        make.order(turtle, by=vet, drug="Ceftazidime", doses=3, stopped_on=date(2027, 3, 2))
    with at("2027-03-02 10:00"):
        assert [each for each in send() if "last day" in each.subject] == []
    with at("2027-03-03 10:00"):
        (letter,) = [each for each in send() if "last day" in each.subject]

    assert letter.subject == "Bramble, European pond turtle: last day of Meloxicam"
    assert "Ceftazidime" not in letter.body


def test_who_wants_no_reminders_gets_none_and_still_hears_of_new_dates(turtle, vet, carer):
    MailChoice.objects.filter(person=carer.person).update(wants_reminders=False)
    with at("2027-03-02 19:30"):
        move_sutures(turtle, vet, date(2027, 4, 7))

        assert [each.subject for each in send()] == ["Bramble, European pond turtle: dates have changed"]


def test_reminders_that_had_nothing_to_say_are_not_kept_for_ever(turtle):
    with at("2027-03-02 10:00"):
        send()
        assert Letter.objects.filter(kind="course", state="lapsed").count() == 1
    with at("2027-03-11 08:00"):
        send()
        assert not Letter.objects.filter(kind="course").exists()
