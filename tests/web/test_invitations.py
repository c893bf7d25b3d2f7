"""Asking a carer or a colleague to join: once, for a week, by the coordinator; and saying yes."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import time_machine
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client

from hospital.people.models import Invitation, Person, SignedIn
from tests import make
from tests.web.test_people import NOON, sign_in, words_of

PASSWORD = "herons wait in the reeds"


def invite(client, email: str = "new@example.org", role: str = "carer"):
    return client.post("/invitations/invite/", {"email": email, "role": role})


def link() -> str:
    """The path of the link in the newest mail."""
    return re.search(r"https?://[^/]+(/join/\S+/)", mail.outbox[-1].body).group(1)


def say_yes(address: str, client: Client | None = None, **said):
    return (client or Client()).post(address, {"name": "Nell New", "phone": "", "password": ""} | said)


@pytest.fixture
def asked(client, coordinator) -> str:
    """The link that a new carer was mailed."""
    client.force_login(coordinator)
    invite(client)
    return link()


@pytest.mark.parametrize("address", ["/invitations/", "/invitations/invite/"])
def test_only_coordinators_invite(client, vet, nurse, carer, coordinator, address):
    answers = []
    for person in (vet, nurse, carer.person, coordinator):
        client.force_login(person)
        answers.append(client.get(address).status_code)

    assert answers == [403, 403, 403, 200]
    assert Client().get(address).url.startswith("/sign-in/")


def test_somebody_new_says_yes_and_is_signed_in_as_what_they_were_asked_for(asked, hospital):
    guest = Client()
    assert say_yes(asked, guest, password=PASSWORD).url == "/"

    person = Person.objects.get(email="new@example.org")
    assert [(m.hospital, m.role) for m in person.memberships.all()] == [(hospital, "carer")]
    assert guest.get("/").url == "/my-animals/"
    assert SignedIn.objects.get(person=person).by == "invitation"
    assert sign_in(Client(), person, PASSWORD).status_code == 302


def test_without_a_password_the_account_has_none_that_works(asked):
    say_yes(asked)

    person = Person.objects.get(email="new@example.org")

    assert not person.has_usable_password()
    assert sign_in(Client(), person, "").status_code == 200


def test_an_invitation_works_once(asked):
    say_yes(asked)

    assert say_yes(asked, name="Second").status_code == 404
    assert Person.objects.filter(name="Second").count() == 0


def test_opening_the_link_uses_nothing_up(asked):
    """Programs that check mail open links."""
    for _ in range(3):
        assert Client().get(asked).status_code == 200

    assert say_yes(asked).status_code == 302


@pytest.mark.parametrize(("days", "status"), [(6, 200), (8, 404)])
def test_an_invitation_is_good_for_a_week(client, coordinator, days, status):
    with time_machine.travel(NOON, tick=False) as clock:
        client.force_login(coordinator)
        invite(client)
        clock.shift(timedelta(days=days))

        assert Client().get(link()).status_code == status


def test_sent_again_the_old_link_opens_nothing(client, asked):
    client.post(f"/invitations/{Invitation.objects.get().pk}/resend/")

    assert link() != asked
    assert Client().get(asked).status_code == 404
    assert say_yes(link()).status_code == 302


def test_withdrawn_the_link_opens_nothing_at_once(client, asked):
    open_page = Client()
    open_page.get(asked)

    client.post(f"/invitations/{Invitation.objects.get().pk}/withdraw/")

    assert say_yes(asked, open_page).status_code == 404
    assert "Nobody has been asked" in words_of(client.get("/invitations/"))


def test_another_hospitals_invitation_is_not_there(client, asked):
    elsewhere = make.hospital(name="Upland Branch", slug="upland")
    other = Client()
    other.force_login(make.person("Olive Other", elsewhere, "coordinator"))

    for verb in ("resend", "withdraw"):
        assert other.post(f"/invitations/{Invitation.objects.get().pk}/{verb}/").status_code == 404
    assert "new@example.org" not in words_of(other.get("/invitations/"))


def test_somebody_with_an_account_gets_another_role_and_keeps_the_password(client, coordinator, vet):
    client.force_login(coordinator)
    invite(client, vet.email, "coordinator")

    page = words_of(Client().get(link()))
    assert "You have an account already." in page
    assert say_yes(link(), name="Somebody Else", password=PASSWORD).url == "/sign-in/"

    vet.refresh_from_db()
    assert (vet.name, vet.check_password(make.PASSWORD)) == ("Vera Vet", True)
    assert set(vet.memberships.values_list("role", flat=True)) == {"vet", "coordinator"}


def test_posting_more_than_the_form_asks_changes_nothing(asked):
    say_yes(asked, role="vet", email="other@example.org", is_active="")

    assert list(Person.objects.get(email="new@example.org").memberships.values_list("role", flat=True)) == ["carer"]


@pytest.mark.parametrize(
    ("said", "sentence"), [({"name": ""}, "Write your name."), ({"password": "short"}, "at least 12 characters")]
)
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_used_up(asked, said, sentence):
    refused = say_yes(asked, **said)

    assert refused.status_code == 422
    assert sentence in words_of(refused)
    assert say_yes(asked).status_code == 302


def test_nobody_is_invited_twice_or_to_what_they_are(client, coordinator, carer):
    client.force_login(coordinator)
    invite(client)

    assert "invited already" in words_of(invite(client, "NEW@example.org"))
    assert "is that already here" in words_of(invite(client, carer.person.email, "carer"))
    assert len(mail.outbox) == 1


def test_mail_that_does_not_go_leaves_the_invitation_to_be_sent_again(client, coordinator, monkeypatch):
    def refuse(self, messages):
        raise ConnectionRefusedError

    client.force_login(coordinator)
    with monkeypatch.context() as patched:
        patched.setattr(EmailBackend, "send_messages", refuse)
        invite(client)

    page = words_of(client.get("/invitations/"))
    assert "could not be sent" in page
    assert "new@example.org" in page


def test_the_link_is_kept_as_a_hash_only(asked):
    secret = asked.split("/")[2]

    assert len(secret) >= 43  # 256 bits in base64url
    assert secret not in str(Invitation.objects.values())
