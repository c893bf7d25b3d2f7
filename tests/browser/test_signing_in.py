"""Signing in by passkey and by mailed code, a form that outlives its session, the code on a pack: in a real browser.

The passkeys are kept by the authenticator that Chromium offers for tests.

Published: W3C Web Authentication, section 11 (user agent automation): a virtual authenticator that keeps a resident key.
"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, case_of, email_of, sign_in
from tests.browser.test_access import violations


@pytest.fixture
def phone(chromium, demo_server) -> Page:
    """A phone that can make passkeys, at a name: the standard knows no passkey for 127.0.0.1."""
    address = f"http://localhost:{demo_server.port}"
    context = chromium.new_context(viewport=PHONE, base_url=address, locale="en-GB")
    faults: list[str] = []
    context.on("weberror", lambda error: faults.append(str(error.error)))
    context.on("console", lambda message: faults.append(message.text) if "Content Security Policy" in message.text else None)
    page = context.new_page()
    page.authenticator = context.new_cdp_session(page)
    page.authenticator.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
        "isUserVerified": True, "automaticPresenceSimulation": True,
    }  # fmt: skip
    page.key = page.authenticator.send("WebAuthn.addVirtualAuthenticator", {"options": options})["authenticatorId"]
    yield page
    context.close()
    assert faults == []


def add_passkey(page: Page, name: str) -> None:
    page.goto("/my-account/passkeys/add/")
    page.get_by_label("What shall it be called?").fill(name)
    page.get_by_role("button", name="Make the passkey").click()
    expect(page.get_by_text(f"“{name}” is added")).to_be_visible()


def test_a_passkey_is_made_signs_in_without_typing_and_is_removed(phone, people):
    sign_in(phone, email_of(people, "dilys"), people["password"])
    phone.goto("/my-account/")
    assert violations(phone) == []
    add_passkey(phone, "Blue phone")
    phone.goto("/my-account/")
    expect(phone.get_by_text("not used yet")).to_be_visible()

    phone.context.clear_cookies()
    phone.goto("/sign-in/")  # the browser offers the passkey below the address, and here takes it at once
    expect(phone.get_by_role("heading", name="My animals")).to_be_visible()

    phone.goto("/my-account/")
    expect(phone.get_by_text("last used")).to_be_visible()
    phone.get_by_role("button", name="Remove Blue phone").click()
    expect(phone.get_by_text("No passkey yet.")).to_be_visible()


def test_a_passkey_that_was_removed_signs_nobody_in(phone, people):
    sign_in(phone, email_of(people, "dilys"), people["password"])
    add_passkey(phone, "Lost phone")
    phone.goto("/my-account/")
    phone.get_by_role("button", name="Remove Lost phone").click()

    phone.context.clear_cookies()
    phone.goto("/sign-in/")

    expect(phone.get_by_text("This passkey is not known here.").first).to_be_visible()


def test_without_a_passkey_the_button_says_so_and_the_password_works(phone, people):
    phone.goto("/sign-in/")
    phone.get_by_role("button", name="Use a passkey").click()
    expect(phone.get_by_text("No passkey was used.")).to_be_visible()

    sign_in(phone, email_of(people, "dilys"), people["password"])
    expect(phone.get_by_role("heading", name="My animals")).to_be_visible()


def test_a_mailed_code_signs_in(page, demo_server, people):
    """The demonstration prints its mail where it runs."""
    page.set_viewport_size(PHONE)
    page.goto("/sign-in/")
    page.get_by_label("E-mail address").fill(email_of(people, "hamid"))
    page.get_by_role("button", name="Mail me a code instead").click()
    expect(page.get_by_role("heading", name="Type the code")).to_be_visible()
    assert violations(page) == []

    code = re.findall(r"^    ([A-Z]{4}-[A-Z]{4})$", (demo_server.folder / "log").read_text(), re.M)[-1]
    page.get_by_label("Code from the mail").fill(code.lower())
    page.get_by_role("button", name="Sign in").click()

    expect(page.get_by_role("heading", name="My animals")).to_be_visible()


def test_a_form_sent_after_the_session_had_ended_is_there_again(page, people):
    sign_in(page, email_of(people, "ruth"), people["password"])
    page.goto("/hospital/edit/")
    page.get_by_label("Clinic hours").fill("Every day but Sunday, 9 to 17")
    page.context.clear_cookies(name="sessionid")
    page.get_by_role("button", name="Save the details").click()

    expect(page.get_by_text("What you wrote is kept")).to_be_visible()
    page.get_by_label("E-mail address").fill(email_of(people, "ruth"))
    page.get_by_label("Password").fill(people["password"])
    page.get_by_role("button", name="Sign in").click()

    expect(page.get_by_text("You had been signed out.").first).to_be_visible()
    expect(page.get_by_label("Clinic hours")).to_have_value("Every day but Sunday, 9 to 17")
    page.get_by_role("button", name="Save the details").click()
    expect(page.get_by_text("The hospital's details were saved.")).to_be_visible()


def test_whoever_holds_the_pack_reports_by_its_code(page, context, chromium, demo, people):
    sign_in(page, email_of(people, "ines"), people["password"])
    page.goto(f"/patients/{case_of(page, 'Bramble')}/pack/")
    page.get_by_role("link", name="Read it on the screen").click()
    code = re.search(r"Or type ([0-9A-Z-]{14})", page.content()).group(1)

    holder = chromium.new_context(viewport=PHONE, base_url=demo, locale="en-GB").new_page()
    holder.goto("/a/")
    holder.get_by_label("Code on the cover of the pack").fill(code.lower())
    holder.get_by_role("button", name="Open today’s page").click()
    expect(holder.get_by_text("You report by the code on the pack")).to_be_visible()
    assert violations(holder) == []
    assert holder.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    holder.get_by_label("What it ate").fill("worms")
    holder.get_by_role("button", name=re.compile("Send (the|another) report")).click()
    expect(holder.get_by_role("heading", name="Your report is stored")).to_be_visible()
    holder.context.close()
