"""The post: what is due goes once, what fails is tried again and then shown, and nobody is woken for what can wait.

The mail itself is read back by the standard library's parser. Message-ID and its shape: RFC 5322, 3.6.4 (dot-atom on both
sides); Auto-Submitted: RFC 3834, 5.
"""

import os
import re
import smtplib
import threading
from datetime import time, timedelta
from email import message_from_bytes, policy

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import call_command

from hospital.clock import now, pretending
from hospital.mail.actions import write
from hospital.mail.models import Letter, MailChoice
from hospital.mail.sending import LEASE, Words, _end, send_due, take
from tests import make

pytestmark = pytest.mark.django_db
NOON, NIGHT = make.at("2027-01-05 12:00"), make.at("2027-01-05 23:00")
WRITERS = {"news": lambda letter: Words(f"News {letter.facts['n']}", "Something has changed.")}
State = Letter.State


class Refusing(EmailBackend):
    """A mail server that answers as it is told to."""

    fault: Exception = OSError("no route to host")

    def send_messages(self, messages):
        raise self.fault


class NoSuchMailbox(Refusing):
    fault = smtplib.SMTPRecipientsRefused({"x": (550, b"5.1.1 unknown")})


@pytest.fixture
def send(settings):
    def send(at=NOON, writers=WRITERS, **more):
        with pretending(at):
            return send_due(writers, **more)

    return send


@pytest.fixture
def letter(hospital, carer):
    def letter(n=1, at=NOON, **more):
        with pretending(at):
            return write("news", n, hospital=hospital, to=carer.person, facts={"n": n}, **more)

    return letter


def state_of(letter):
    return Letter.objects.get(pk=letter.pk).state


def test_a_letter_goes_once_however_often_it_is_asked_for(letter, send):
    first, again = letter(), letter()

    assert first.pk == again.pk
    assert (send(), send(NOON + timedelta(days=1))) == ({"sent": 1}, {})
    assert len(mail.outbox) == 1


def test_the_mail_names_hospital_and_reader_and_says_that_a_computer_wrote_it(letter, send, carer, hospital):
    letter()

    send()

    read = message_from_bytes(mail.outbox[0].message().as_bytes(), policy=policy.default)
    assert read["To"].addresses[0].addr_spec == carer.person.email
    assert read["To"].addresses[0].display_name == "Carl Carer"
    assert read["From"].addresses[0].display_name == "Test Hospital"
    assert re.fullmatch(r"<news\.1\.\d+@[\w.-]+>", read["Message-ID"])
    assert read["Auto-Submitted"] == "auto-generated"
    assert "Something has changed." in read.get_content()
    assert hospital.phone in read.get_content()


def test_a_line_break_in_a_subject_cannot_make_a_second_header(letter, send):
    letter()

    send(writers={"news": lambda _: Words("News\nBcc: all@example.org", "")})

    assert mail.outbox[0].message()["Subject"] == "News Bcc: all@example.org"
    assert mail.outbox[0].recipients() == [mail.outbox[0].to[0]]


def test_what_is_no_longer_true_is_not_sent(letter, send):
    stale = letter()

    assert send(writers={"news": lambda _: None}) == {"lapsed": 1}
    assert (state_of(stale), mail.outbox) == (State.LAPSED, [])


def test_nobody_is_written_to_whose_account_is_closed(letter, send, carer):
    letter()
    carer.person.is_active = False
    carer.person.save()

    assert send() == {"lapsed": 1}


def test_a_letter_waits_for_its_time(letter, send):
    letter(not_before=NOON + timedelta(minutes=1))

    assert send() == {}
    assert send(NOON + timedelta(minutes=1)) == {"sent": 1}


def test_at_night_a_letter_waits_for_seven_and_an_urgent_one_does_not(letter, send):
    letter(1, NIGHT)
    letter(2, NIGHT, is_urgent=True)

    assert send(NIGHT) == {"sent": 1, "waiting": 1}
    assert [each.subject for each in mail.outbox] == ["News 2"]
    assert send(make.at("2027-01-06 06:59")) == {}
    assert send(make.at("2027-01-06 07:00")) == {"sent": 1}


def test_one_letter_a_day_holds_all_that_happened(letter, send, carer):
    MailChoice.objects.create(person=carer.person, how="daily", daily_at=time(18))
    for n in (1, 2):
        letter(n)
    urgent = letter(3, is_urgent=True)

    assert send() == {"folded": 2, "sent": 1}
    assert state_of(urgent) == State.SENT
    letter(4, NOON + timedelta(hours=1))
    assert send(make.at("2027-01-05 17:59")) == {"folded": 1}
    assert send(make.at("2027-01-05 18:00")) == {"sent": 1}
    assert mail.outbox[-1].subject == "Today’s letter: 3 things"
    assert all(f"News {n}" in mail.outbox[-1].body for n in (1, 2, 4))
    assert set(Letter.objects.values_list("state", flat=True)) == {State.SENT}


def test_what_comes_after_the_daily_letter_is_in_tomorrows(letter, send, carer):
    MailChoice.objects.create(person=carer.person, how="daily", daily_at=time(18))
    letter(1)
    send()
    send(make.at("2027-01-05 18:00"))
    letter(2, make.at("2027-01-05 18:01"))

    send(make.at("2027-01-05 18:01"))
    send(make.at("2027-01-06 18:00"))

    assert [each.subject for each in mail.outbox] == ["Today’s letter: News 1", "Today’s letter: News 2"]


def test_a_daily_letter_with_nothing_left_to_tell_is_not_sent(letter, send, carer):
    MailChoice.objects.create(person=carer.person, how="daily")
    letter()
    send()

    assert send(make.at("2027-01-05 18:00"), writers={"news": lambda _: None}) == {"lapsed": 1}
    assert mail.outbox == []


def test_a_mail_server_that_is_away_is_tried_later_and_the_letter_arrives(letter, send):
    tried = letter()

    assert send(connection=Refusing()) == {"waiting": 1}
    assert send(NOON + timedelta(seconds=59)) == {}
    assert send(NOON + timedelta(minutes=1)) == {"sent": 1}
    assert Letter.objects.get(pk=tried.pk).tries == 2


def test_after_the_last_try_a_person_must_look(letter, send):
    lost, at = letter(is_urgent=True), NOON

    for _ in range(8):
        send(at, connection=Refusing())
        at += timedelta(days=1)

    lost.refresh_from_db()
    assert (lost.state, lost.tries) == (State.FAILED, 8)
    assert "no route to host" in lost.error
    assert send(at) == {}


def test_a_mailbox_that_does_not_exist_is_not_tried_for_two_days(letter, send, carer):
    NoSuchMailbox.fault = smtplib.SMTPRecipientsRefused({carer.person.email: (550, f"<{carer.person.email}> unknown".encode())})
    gone = letter()

    assert send(connection=NoSuchMailbox()) == {"failed": 1}
    assert carer.person.email not in Letter.objects.get(pk=gone.pk).error


def test_one_letter_that_cannot_be_put_into_words_does_not_stop_the_others(letter, send):
    letter(1)
    letter(2)

    def writer(letter):
        return Words("News", "") if letter.facts["n"] == 2 else 1 / 0

    assert send(writers={"news": writer}) == {"waiting": 1, "sent": 1}


def test_a_letter_that_a_sender_has_taken_is_nobody_elses_until_its_lease_runs_out(letter):
    mine = letter()

    assert [each.pk for each in take(NOON)] == [mine.pk]
    assert take(NOON + LEASE) == []
    assert [each.pk for each in take(NOON + LEASE + timedelta(seconds=1))] == [mine.pk]


def test_a_sender_that_lost_its_lease_does_not_overwrite_what_the_next_one_wrote(letter, send):
    letter()
    late = take(NOON)[0]
    send(NOON + LEASE + timedelta(seconds=1))

    _end(late, State.WAITING)
    assert state_of(late) == State.SENT


# --- pages --------------------------------------------------------------------------------------------------------


def failed(letter, send):
    lost = letter()
    send(connection=NoSuchMailbox())
    return lost


def test_a_coordinator_sees_what_was_not_delivered_first_by_name_and_without_the_address(client, coordinator, letter, send, carer):
    failed(letter, send)
    client.force_login(coordinator)

    page = client.get("/post/").content.decode()

    assert "Not delivered (1)" in page
    assert "to Carl Carer" in page
    assert carer.person.email not in page


def test_a_coordinator_reads_what_was_sent(client, coordinator, letter, send, carer):
    sent = letter()
    send()
    client.force_login(coordinator)

    page = client.get(f"/post/{sent.pk}/").content.decode()

    assert "Something has changed." in page
    assert carer.person.email not in page


def test_a_letter_that_failed_can_be_tried_again_or_told_otherwise(client, coordinator, letter, send):
    lost = failed(letter, send)
    client.force_login(coordinator)

    client.post(f"/post/{lost.pk}/again/")
    assert state_of(lost) == State.WAITING
    send(now() + timedelta(minutes=1), connection=NoSuchMailbox())
    client.post(f"/post/{lost.pk}/settle/")

    lost.refresh_from_db()
    assert (lost.state, lost.settled_by) == (State.SETTLED, coordinator)
    assert "no longer among those" in client.post(f"/post/{lost.pk}/again/", follow=True).content.decode()


def test_an_empty_post_says_so(client, coordinator):
    client.force_login(coordinator)

    assert "No letter has been sent yet." in client.get("/post/").content.decode()
    assert "Every letter could be delivered." in client.get("/post/?show=failed").content.decode()
    assert "No letter waits." in client.get("/post/?show=waiting").content.decode()


def test_the_post_is_the_coordinators_and_of_one_hospital(client, vet, carer, stranger, letter):
    mine = letter()
    other = make.person("Olga Other", stranger.memberships.get().hospital, "coordinator")

    for who, status in ((vet, 403), (carer.person, 403), (other, 404)):
        client.force_login(who)
        assert client.get(f"/post/{mine.pk}/").status_code == status
        assert client.post(f"/post/{mine.pk}/settle/").status_code == status


def test_a_carer_chooses_one_letter_a_day(client, carer):
    client.force_login(carer.person)
    assert 'value="21:00"' in client.get("/my-letters/").content.decode()

    said = {"how": "daily", "daily_at": "19:30", "quiet_from": "", "quiet_until": "", "seen_version": 1}
    assert client.post("/my-letters/", said).status_code == 302

    kept = MailChoice.objects.get(person=carer.person)
    assert (kept.how, kept.daily_at, kept.quiet_from, kept.wants_reminders) == ("daily", time(19, 30), None, False)


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"quiet_until": ""}, "Give both times"),
        ({"quiet_until": "21:00"}, "The two times are the same"),
        ({"daily_at": "late"}, "Give the time as hours and minutes"),
        ({"how": "never"}, "Choose how letters come"),
    ],
)
def test_a_choice_that_cannot_be_is_refused_with_what_was_typed_kept(client, carer, said, sentence):
    client.force_login(carer.person)
    right = {"how": "each", "daily_at": "18:00", "quiet_from": "21:00", "quiet_until": "06:45", "seen_version": 1}

    answer = client.post("/my-letters/", right | said)

    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not MailChoice.objects.exists()


def test_a_choice_of_two_phones_at_once_is_not_overwritten_unseen(client, carer):
    client.force_login(carer.person)
    said = {"how": "each", "daily_at": "18:00", "quiet_from": "21:00", "quiet_until": "06:45", "seen_version": 1}
    client.post("/my-letters/", said)
    client.post("/my-letters/", said)

    assert client.post("/my-letters/", said | {"how": "daily"}).status_code == 409


def test_a_sender_whose_parent_is_gone_ends():
    gone = os.getppid() + 1
    sender = threading.Thread(target=call_command, args=("sendmail",), kwargs={"loop": True, "with_parent": gone}, daemon=True)

    sender.start()
    sender.join(timeout=20)

    assert not sender.is_alive()
