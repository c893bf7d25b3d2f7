"""The carer's phone without signal, in a real browser: what is written is there once when it has come, whatever happens between."""

from __future__ import annotations

import itertools
import random

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.conftest import PHONE, email_of, sign_in

pytestmark = pytest.mark.xdist_group("offline")


@pytest.fixture
def phone(chromium: Browser, demo, people):
    """Contexts of phones on which a carer is signed in and the pages are kept."""
    opened: list[BrowserContext] = []

    def make(key: str = "dilys") -> Page:
        context = chromium.new_context(viewport=PHONE, base_url=demo, locale="en-GB", timezone_id="Europe/London", has_touch=True)
        opened.append(context)
        page = context.new_page()
        sign_in(page, email_of(people, key), people["password"])
        page.goto("/my-animals/")
        page.evaluate("navigator.serviceWorker.ready.then(() => null)")
        page.locator("html[data-kept]").wait_for()
        return page

    yield make
    for context in opened:
        context.close()


def animals(page: Page) -> list[str]:
    """Case numbers of the carer's animals."""
    page.goto("/my-animals/")
    ids = page.locator("section[id^=animal-]").evaluate_all("all => all.map(each => each.id)")
    return [each.removeprefix("animal-") for each in ids]


def reports_of(page: Page, case: str) -> str:
    page.goto(f"/patients/{case}/reports/?all=1")
    return page.inner_text("main")


def write(page: Page, case: str, worry: str) -> None:
    page.goto(f"/patients/{case}/today/")
    page.get_by_label("Anything that worries you").fill(worry)
    page.locator(".thumb-bar button").click()


def bar(page: Page):
    return page.locator("#signal")


def test_a_report_written_without_signal_arrives_once_when_there_is_signal(phone):
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)

    write(page, case, "written on the river bank")

    expect(page.get_by_role("heading", name="Kept on this phone")).to_be_visible()
    expect(bar(page)).to_contain_text("Not sent yet: 1 report")
    page.goto("/my-animals/")  # from what is kept
    expect(bar(page)).to_contain_text("No signal")
    page.context.set_offline(False)
    page.evaluate("sendReports()")
    expect(bar(page)).to_be_hidden()
    assert reports_of(page, case).count("written on the river bank") == 1
