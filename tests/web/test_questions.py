"""Questions about an animal: asked once, seen by those two sides only, answered, read, closed."""

import uuid
from io import BytesIO

import pytest
from django.core import mail
from django.urls import reverse
from PIL import Image

from handover.letters.words import WRITERS
from handover.questions.models import Message, Question
from hospital.mail.models import MailChoice
from hospital.mail.sending import send_due
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def turtle(vet, carer, coordinator):
    patient = make.patient(vet, name="Bramble")
    make.placement(patient, carer, by=vet)
    for person in (carer.person, coordinator):
        MailChoice.objects.create(person=person, quiet_from=None, quiet_until=None)
    return patient


def url(name, patient, *args):
    return reverse(f"questions:{name}", args=[patient.case_number, *args])


def ask(client, patient, words="May it have snails?", key=None, **more):
    return client.post(url("ask", patient), {"key": key or uuid.uuid4(), "words": words, **more})


def say(client, question, words, **more):
    return client.post(url("say", question.patient, question.key), {"key": uuid.uuid4(), "words": words, **more})


def send():
    mail.outbox.clear()
    send_due(WRITERS)
    return mail.outbox


@pytest.fixture
def question(client, turtle, carer):
    client.force_login(carer.person)
    assert ask(client, turtle).status_code == 302
    return Question.objects.get()


def test_a_carer_asks_from_todays_page_and_is_told_to_phone_when_it_is_urgent(client, turtle, carer):
    client.force_login(carer.person)

    page = client.get(url("questions", turtle)).content.decode()

    assert url("questions", turtle) in client.get(reverse("logs:day", args=[turtle.case_number])).content.decode()
    assert "Do not write: phone 01632 960001 now." in page
    ask(client, turtle)
    assert "May it have snails?" in client.get(url("questions", turtle)).content.decode()


def test_a_question_sent_twice_is_asked_once(client, turtle, carer):
    client.force_login(carer.person)
    key = uuid.uuid4()

    ask(client, turtle, key=key)
    ask(client, turtle, key=key)

    assert (Question.objects.count(), Message.objects.count()) == (1, 1)


def test_the_same_key_with_other_words_is_not_lost_and_not_taken_for_the_first(client, turtle, carer):
    client.force_login(carer.person)
    key = uuid.uuid4()
    ask(client, turtle, key=key)

    again = ask(client, turtle, "Something else?", key=key)

    assert again.status_code == 422
    assert "Something else?" in again.content.decode()
    assert Message.objects.get().words == "May it have snails?"


def test_a_phone_that_kept_a_question_is_told_that_it_is_stored(client, turtle, carer):
    client.force_login(carer.person)
    key = str(uuid.uuid4())
    sent = {"path": url("ask", turtle), "data": {"key": key, "words": "May it?"}, "headers": {"Accept": "application/json"}}

    assert client.post(**sent).json() == {"status": "stored", "key": key}
    assert client.post(**sent).json() == {"status": "stored", "key": key}
    sent["data"] = {"key": key, "words": ""}
    refused = client.post(**sent)
    assert (refused.status_code, refused.json()["errors"]) == (422, ["Write your question."])


def test_an_empty_question_is_refused_at_its_box(client, turtle, carer):
    client.force_login(carer.person)

    answer = ask(client, turtle, "  ")

    assert answer.status_code == 422
    assert "Write your question." in answer.content.decode()


def test_the_hospital_sees_what_waits_on_the_board_on_the_patients_page_and_in_a_letter(client, question, coordinator, vet):
    (letter,) = send()
    assert letter.to == [f"Cora Coordinator <{coordinator.email}>"]
    assert "Carl Carer asks about" in letter.subject
    assert "May it have snails?" in letter.body

    client.force_login(vet)
    board = client.get(reverse("boards:today")).content.decode()
    assert "May it have snails?" in board
    assert "question waiting" in board
    assert "May it have snails?" in client.get(reverse("questions:waiting")).content.decode()
    card = client.get(url("card", question.patient), headers={"HX-Request": "true"}).content.decode()
    assert "Waits for an answer" in card


def test_an_answer_reaches_the_carer_on_every_page_and_by_letter_until_it_is_read(client, question, vet, carer):
    client.force_login(vet)
    say(client, question, "Yes, without the shell.")

    assert [each.to[0] for each in send()] == [f"Carl Carer <{carer.person.email}>"]
    assert "Yes, without the shell." in mail.outbox[0].body
    client.force_login(carer.person)
    assert "The hospital has answered a question of yours" in client.get(reverse("logs:mine")).content.decode()
    assert "The hospital has answered: read it" in client.get(reverse("logs:day", args=[question.patient.case_number])).content.decode()
    client.post(url("read", question.patient, question.key))
    assert "The hospital has answered" not in client.get(reverse("logs:mine")).content.decode()


def test_what_was_answered_before_the_letter_went_is_asked_of_nobody(client, question, vet, carer):
    client.force_login(vet)
    say(client, question, "Yes.")
    client.force_login(carer.person)
    client.post(url("read", question.patient, question.key))

    assert send() == []


def test_asking_further_waits_again_and_keeps_the_first_hour_of_waiting(client, question, vet, carer):
    first = question.waits_since
    say(client, question, "And slugs?")
    question.refresh_from_db()
    assert question.waits_since == first

    client.force_login(vet)
    say(client, question, "Both.")
    question.refresh_from_db()
    assert question.waits_since is None


def test_a_question_is_closed_by_the_hospital_and_opened_by_a_new_message(client, question, vet, carer):
    client.force_login(vet)
    client.post(url("close", question.patient, question.key))
    question.refresh_from_db()
    assert (question.closed_by, question.waits_since) == (vet, None)
    assert "No question waits." in client.get(reverse("questions:waiting")).content.decode()

    client.force_login(carer.person)
    say(client, question, "It is about something else.")
    question.refresh_from_db()
    assert (question.closed_at, question.waits_since is not None) == (None, True)


def test_a_photograph_is_made_safe_and_shown_to_the_two_sides(client, question, vet, carer, stranger):
    picture = BytesIO()
    Image.new("RGB", (40, 30), "red").save(picture, "PNG")
    picture.seek(0)
    picture.name = "shell.png"
    say(client, question, "Look", photo=picture)
    address = url("photo", question.patient, Message.objects.last().key)

    shown = client.get(address)
    assert (shown.status_code, shown["Content-Type"], shown["X-Content-Type-Options"]) == (200, "image/jpeg", "nosniff")
    client.force_login(stranger)
    assert client.get(address).status_code == 404


def test_strangers_and_the_next_carer_do_not_read_what_somebody_else_asked(client, question, stranger, hospital, carer):
    client.force_login(stranger)
    assert client.get(url("questions", question.patient)).status_code == 404
    assert say(client, question, "Hello").status_code == 404

    other = make.carer("Nora Next", hospital)
    make.placement(question.patient, other, days_ago=0)
    client.force_login(other.person)
    assert "May it have snails?" not in client.get(url("questions", question.patient)).content.decode()
    assert say(client, question, "Hello").status_code == 404
    client.force_login(carer.person)
    assert ask(client, question.patient).status_code == 404


def test_each_side_does_only_what_is_its_own(client, question, vet, carer):
    assert client.post(url("close", question.patient, question.key)).status_code == 403
    assert client.get(reverse("questions:waiting")).status_code == 403
    client.force_login(vet)
    assert ask(client, question.patient).status_code == 403
    assert client.post(url("read", question.patient, question.key)).status_code == 403
