"""A mailed code, passkeys, my account: what gets in, what does not, and what nobody learns from trying.

Published: RFC 8628 (6.1, the letters of a code that is typed), NIST SP 800-63B-4 (3.1.3: ten minutes, once; from memory), OWASP
ASVS 5.0 (6.5.1, 6.5.5, 6.6.2, 6.6.3, 7.2.4, 7.4.1; the project's list of bars).
"""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import connection
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from hospital.clock import now
from hospital.people import attempts, codes
from hospital.people.models import MailedCode, Person, SignedIn
from hospital.rules.codes import LETTERS, grouped, tidied
from tests import make
from tests.web.test_people import NOON, sign_in, words_of

ASK, ENTER = "/sign-in/mail-a-code/", "/sign-in/code/"


def ask(client, email: str, **more):
    return client.post(ASK, {"username": email} | more)


def enter(client, code: str, **more):
    return client.post(ENTER, {"code": code} | more)


def mailed_code() -> str:
    """The code in the newest mail."""
    return re.search(r"\b[A-Z]{4}-[A-Z]{4}\b", mail.outbox[-1].body).group()


def wrong_one(code: str) -> str:
    return ("C" if code[0] == "B" else "B") + code[1:]


# --- the code itself ----------------------------------------------------------------------------------------------


def test_a_code_has_the_letters_and_the_look_that_the_standard_proposes():
    """RFC 8628, 6.1: base-20 without vowels, eight letters ("WDJB-MJHT"), punctuation and case ignored when it is typed."""
    assert LETTERS == "BCDFGHJKLMNPQRSTVWXZ"
    assert grouped("WDJBMJHT") == "WDJB-MJHT"
    assert tidied(" wdjb – mjht ") == "WDJBMJHT"


def test_a_mailed_code_signs_in_and_leads_to_the_page_one_wanted(client, vet):
    response = ask(client, vet.email.upper(), next="/carers/")

    assert response.url == ENTER
    assert mail.outbox[-1].to == [vet.email]
    assert enter(client, mailed_code().lower().replace("-", " ")).url == "/carers/"
    assert client.get("/").url == reverse("boards:today")


def test_a_code_is_kept_as_a_hash_that_the_database_alone_does_not_open(client, vet):
    ask(client, vet.email)

    row = MailedCode.objects.get()
    code = mailed_code().replace("-", "")

    assert code not in str(row.__dict__)
    assert row.digest == codes._digest(row.key, code)


def test_a_code_works_once(client, vet):
    ask(client, vet.email)
    code = mailed_code()
    key = client.session["code"]["key"]
    enter(client, code)

    again = Client()
    ask(again, "nobody@example.org")
    stored = again.session
    stored["code"] = stored["code"] | {"key": key}
    stored.save()

    assert enter(again, code).status_code == 422
    assert "This code is no longer good. Ask for a new one." in words_of(enter(again, code))


def test_a_code_works_only_in_the_browser_that_asked_for_it(client, vet):
    other = Client()
    ask(client, vet.email)
    code = mailed_code()
    ask(other, vet.email)

    assert enter(other, code).status_code == 422
    assert enter(other, mailed_code()).status_code == 302
    assert enter(client, code).status_code == 302  # two devices, each with its own code


def test_without_having_asked_there_is_nothing_to_enter(client, db):
    assert client.get(ENTER).url == ASK
    assert enter(client, "BCDF-GHJK").url == ASK


@pytest.mark.parametrize(("minutes", "status"), [(9, 302), (11, 422)])
def test_a_code_is_good_for_ten_minutes(client, vet, minutes, status):
    with time_machine.travel(NOON, tick=False) as clock:
        ask(client, vet.email)
        clock.shift(timedelta(minutes=minutes))

        assert enter(client, mailed_code()).status_code == status


def test_after_five_wrong_tries_the_right_code_opens_nothing(client, vet):
    ask(client, vet.email)
    code = mailed_code()
    for _ in range(codes.MOST_WRONG):
        assert "That is not the code." in words_of(enter(client, wrong_one(code)))

    refused = enter(client, code)

    assert "This code is no longer good. Ask for a new one." in words_of(refused)
    assert client.get("/").url.startswith("/sign-in/")


def test_four_wrong_tries_leave_the_right_one(client, vet):
    ask(client, vet.email)
    for _ in range(codes.MOST_WRONG - 1):
        enter(client, wrong_one(mailed_code()))

    assert enter(client, mailed_code()).status_code == 302


def test_a_code_brings_another_key_of_the_session(client, vet):
    ask(client, vet.email)
    before = client.session.session_key

    enter(client, mailed_code())

    assert client.session.session_key != before


# --- limits -------------------------------------------------------------------------------------------------------


def test_three_codes_for_an_address_in_a_quarter_of_an_hour_and_then_none(client, vet):
    with time_machine.travel(NOON, tick=False) as clock:
        answers = [ask(Client(), vet.email).status_code for _ in range(4)]
        assert answers == [302, 302, 302, 422]
        assert len(mail.outbox) == 3

        clock.shift(timedelta(minutes=16))
        assert ask(client, vet.email).status_code == 302


def test_one_network_address_gets_forty_codes_an_hour_for_all_addresses_together(db):
    answers = [ask(Client(), f"somebody{n}@example.org").status_code for n in range(41)]

    assert answers == [302] * 40 + [422]
    assert ask(Client(REMOTE_ADDR="192.0.2.7"), "another@example.org").status_code == 302


def test_a_hundred_wrong_passwords_from_one_network_stop_it_for_everybody_but_only_there(vet):
    for _ in range(attempts.WRONG_FROM_A_NETWORK.most):
        attempts.WRONG_FROM_A_NETWORK.count("127.0.0.1")


    assert "Too many tries" in words_of(sign_in(Client(), vet))
    assert sign_in(Client(REMOTE_ADDR="192.0.2.7"), vet).status_code == 302


def test_a_locked_password_leaves_the_code(client, vet):
    for _ in range(attempts.MOST):
        sign_in(client, vet, "wrong")
    ask(client, vet.email)

    assert enter(client, mailed_code()).status_code == 302


def test_a_thousand_guesses_at_one_account_from_many_addresses_get_fifteen_tries(vet):
    """OWASP ASVS 6.3.1: the counts stay under the documented numbers whatever the addresses are."""
    looked_at = 0
    for n in range(200):
        attacker = Client(REMOTE_ADDR=f"198.51.100.{n}")
        if ask(attacker, vet.email).status_code != 302:
            continue
        looked_at += sum("That is not the code." in words_of(enter(attacker, "BBBB-BBBB")) for _ in range(7))

    assert looked_at == attempts.CODES.most * codes.MOST_WRONG


@pytest.mark.parametrize(
    ("claimed", "behind_proxy", "found"),
    [
        ("", False, "127.0.0.1"),
        ("203.0.113.9", False, "127.0.0.1"),
        ("203.0.113.9", True, "203.0.113.9"),
        ("10.9.9.9, 203.0.113.9", True, "203.0.113.9"),
        ("2001:db8:1:2:3:4:5:6", True, "2001:db8:1:2::/64"),
        ("nonsense", True, "unknown"),
    ],
)
def test_what_a_client_claims_about_its_address_counts_only_from_our_own_proxy(settings, claimed, behind_proxy, found):
    settings.BEHIND_PROXY = behind_proxy
    headers = {"X-Forwarded-For": claimed} if claimed else {}

    assert attempts.network_of(RequestFactory().get("/", headers=headers)) == found


# --- nobody learns who has an account -----------------------------------------------------------------------------


def test_a_known_and_an_unknown_address_get_the_same_answers(client, vet):
    other = Client()
    asked = [ask(client, vet.email), ask(other, "nobody@example.org")]
    typed = [enter(client, "BBBB-BBBB"), enter(other, "BBBB-BBBB")]

    assert {(each.status_code, each.url) for each in asked} == {(302, ENTER)}
    assert words_of(typed[0]).replace(vet.email, "") == words_of(typed[1]).replace("nobody@example.org", "")


def test_a_known_and_an_unknown_address_cost_the_same_work(client, vet):
    """As many statements and one letter for either: what takes the time is the same."""
    with CaptureQueriesContext(connection) as known:
        codes.ask_for_code(vet.email, network="192.0.2.1")
    with CaptureQueriesContext(connection) as unknown:
        codes.ask_for_code("nobody@example.org", network="192.0.2.2")

    assert len(known) == len(unknown) > 0
    assert [len(each.to) for each in mail.outbox] == [1, 1]


def test_the_letter_to_an_unknown_address_holds_no_code_and_no_code_opens(client, db):
    ask(client, "nobody@example.org")

    assert "no account has it" in mail.outbox[-1].body
    assert not re.search(r"[A-Z]{4}-[A-Z]{4}", mail.outbox[-1].body)
    assert Person.objects.count() == 0


def test_a_closed_account_is_answered_like_an_unknown_one(client, vet):
    Person.objects.filter(pk=vet.pk).update(is_active=False)
    ask(client, vet.email)

    assert "no account has it" in mail.outbox[-1].body


def test_mail_that_does_not_work_is_said_to_everybody_alike(client, vet, monkeypatch):
    def refuse(self, messages):
        raise ConnectionRefusedError

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)

    told = [words_of(ask(Client(), email)) for email in (vet.email, "nobody@example.org")]

    assert all("Mail does not work here just now." in each for each in told)


@pytest.mark.parametrize("elsewhere", ["https://elsewhere.example/", "//elsewhere.example"])
def test_a_code_leads_to_no_other_site(client, vet, elsewhere):
    ask(client, vet.email, next=elsewhere)

    assert enter(client, mailed_code()).url == "/"


# --- passkeys: what a device did not sign -------------------------------------------------------------------------


def passkey_state(client) -> str:
    page = client.get("/sign-in/", headers={"host": "localhost"}).content.decode()
    return re.search(r'name="state" value="([^"]+)"', page).group(1)


@pytest.mark.parametrize("answer", ["", "{}", "nonsense", "[]", '{"id": "x", "rawId": "eA", "type": "public-key", "response": {}}', "null"])
def test_an_answer_that_no_device_gave_signs_nobody_in(client, vet, answer):
    sent = {"state": passkey_state(client), "answer": answer}

    client.post("/sign-in/passkey/", sent, headers={"host": "localhost"})

    assert client.get("/").url.startswith("/sign-in/")
    assert re.search("The device gave no answer|The answer of the device did not fit", words_of(client.get("/sign-in/")))


def test_a_challenge_is_good_for_ten_minutes_and_once(client, db):
    with time_machine.travel(NOON, tick=False) as clock:
        state = passkey_state(client)
        for wait, sentence in [(0, "did not fit"), (0, "took too long"), (11, "took too long")]:
            clock.shift(timedelta(minutes=wait))
            client.post("/sign-in/passkey/", {"state": state, "answer": json.dumps({})}, headers={"host": "localhost"})

            assert sentence in words_of(client.get("/sign-in/"))


def test_at_a_bare_number_the_page_says_where_passkeys_work(client, db):
    page = words_of(client.get("/sign-in/", headers={"host": "127.0.0.1:8113"}))

    assert "Passkeys need a name in the address bar" in page
    assert "Use a passkey" not in page


# --- my account ---------------------------------------------------------------------------------------------------


def test_everybody_who_is_signed_in_reaches_their_account(client, vet, coordinator, carer, stranger):
    for person in (vet, coordinator, carer.person, stranger):
        client.force_login(person)

        page = words_of(client.get("/my-account/"))

        assert person.email in page
        assert "No passkey yet." in page


def test_a_forgotten_password_is_set_anew_after_a_mailed_code(client, vet):
    ask(client, vet.email, next="/my-account/password/")
    assert enter(client, mailed_code()).url == "/my-account/password/"

    client.post("/my-account/password/", {"password": "otters swim at dusk"})

    assert sign_in(Client(), vet, "otters swim at dusk").status_code == 302
    assert sign_in(Client(), vet).status_code == 200
    assert mail.outbox[-1].subject == "A new password was set"


@pytest.mark.parametrize(
    ("password", "sentence"), [("short", "at least 12 characters"), ("password1234", "too common"), ("", "Write a new password.")]
)
def test_a_password_that_would_be_guessed_is_refused_at_its_field(client, vet, password, sentence):
    sign_in(client, vet)

    refused = client.post("/my-account/password/", {"password": password})

    assert refused.status_code == 422
    assert sentence in words_of(refused)


def test_a_password_may_be_long_and_hold_anything(client, vet):
    sign_in(client, vet)
    client.post("/my-account/password/", {"password": "🦔 " * 100})

    assert sign_in(Client(), vet, "🦔 " * 100).status_code == 302


@pytest.mark.parametrize("address", ["/my-account/password/", "/my-account/passkeys/add/"])
def test_what_changes_signing_in_asks_once_more_after_ten_minutes(client, vet, address):
    with time_machine.travel(NOON, tick=False) as clock:
        sign_in(client, vet)
        assert client.get(address).status_code == 200

        clock.shift(timedelta(minutes=11))
        asked = client.get(address)
        assert "again=1" in asked.url
        assert "Sign in once more" in words_of(client.get(asked.url))

        assert sign_in(client, vet, next=address, again="1").url == address
        assert client.get(address).status_code == 200


def test_a_new_password_signs_out_everywhere_else(client, vet):
    phone = Client()
    sign_in(phone, vet)
    sign_in(client, vet)

    client.post("/my-account/password/", {"password": "otters swim at dusk"})

    assert phone.get("/my-account/").status_code == 302
    assert client.get("/my-account/").status_code == 200


def test_somebody_elses_passkey_is_not_there(client, vet, nurse):
    kept = vet.passkeys.create(name="Vera's phone", credential_id="x", credential="x", made_at=now())
    sign_in(client, nurse)

    for verb in ("name", "remove"):
        assert client.post(f"/my-account/passkeys/{kept.pk}/{verb}/", {"name": "mine"}).status_code == 404


def test_a_passkey_is_renamed_and_removed(client, vet):
    kept = vet.passkeys.create(name="Old phone", credential_id="x", credential="x", made_at=now())
    sign_in(client, vet)

    client.post(f"/my-account/passkeys/{kept.pk}/name/", {"name": "Blue phone"})
    assert "Blue phone" in words_of(client.get("/my-account/"))

    client.post(f"/my-account/passkeys/{kept.pk}/remove/")
    assert "No passkey yet." in words_of(client.get("/my-account/"))
    assert mail.outbox[-1].subject == "A passkey was removed"


# --- where one is signed in ---------------------------------------------------------------------------------------

PHONE = "Mozilla/5.0 (Android 14; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0"


def test_each_place_is_listed_with_how_and_where(client, vet):
    sign_in(Client(headers={"User-Agent": PHONE}), vet)
    sign_in(client, vet)

    page = words_of(client.get("/my-account/"))

    assert "Firefox on Android" in page
    assert page.count("· Password ·") == 2


def test_signing_out_elsewhere_ends_the_others_at_once_and_leaves_this(client, vet, nurse):
    phone, colleague = Client(), Client()
    sign_in(phone, vet)
    sign_in(colleague, nurse)
    sign_in(client, vet)

    client.post("/my-account/sign-out-elsewhere/")

    assert [each.get("/my-account/").status_code for each in (phone, client, colleague)] == [302, 200, 200]
    assert Session.objects.count() == 2


def test_another_device_is_told_by_mail_and_a_known_one_is_not(vet):
    sign_in(Client(), vet)
    sign_in(Client(), vet)
    assert mail.outbox == []

    sign_in(Client(headers={"User-Agent": PHONE}), vet)
    sign_in(Client(headers={"User-Agent": PHONE}), vet)

    assert [each.subject for each in mail.outbox] == ["Somebody signed in on another device (Firefox on Android)"]


def test_a_copied_cookie_is_nothing_after_signing_out(client, vet):
    sign_in(client, vet)
    thief = Client()
    thief.cookies.update(client.cookies)
    assert thief.get("/my-account/").status_code == 200

    client.post("/sign-out/")

    assert thief.get("/my-account/").status_code == 302
    assert SignedIn.objects.get().ended_at is not None


def test_a_day_of_use_is_noted_once(client, vet):
    with time_machine.travel(NOON, tick=False) as clock:
        make_session = sign_in(client, vet)
        assert make_session.status_code == 302
        clock.shift(timedelta(hours=11))
        client.get("/my-account/")
        clock.shift(timedelta(hours=2))
        client.get("/my-account/")

    assert make.PASSWORD not in str(SignedIn.objects.values())
    assert SignedIn.objects.get().seen_on == NOON.date()
