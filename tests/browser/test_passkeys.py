"""A passkey from the first press to the last, in a real browser with the authenticator that Chromium offers for tests.

Published: W3C Web Authentication, section 11 (user agent automation): a virtual authenticator that keeps a resident key.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, email_of, sign_in
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
