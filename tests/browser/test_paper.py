"""A paper log typed in with the keyboard alone, in a real browser."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import email_of, sign_in
from tests.browser.test_twenty_seconds import hospital  # noqa: F401  (a hospital of our own to write into)

pytestmark = pytest.mark.xdist_group("browser")


def open_week(page: Page):
    """The rows to fill in of the first animal in care that has at least three days of this week unlogged."""
    page.goto("/patients/")
    links = page.locator("main a[href^='/patients/']").evaluate_all("all => [...new Set(all.map((each) => each.pathname))]")
    for link in [each for each in links if len(each.split("/")) == 4]:
        page.goto(f"{link}paper/")
        rows = page.locator(".paper-grid tbody tr:has(td select)")
        if rows.count() >= 3:
            return rows
    raise AssertionError("every day of every animal is logged")


def test_a_week_is_typed_without_a_mouse(chromium, hospital, people):  # noqa: F811
    context = chromium.new_context(base_url=hospital.address, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    sign_in(page, email_of(people, "ruth"), people["password"])
    rows = open_week(page)
    rows.first.locator("select").first.focus()

    page.keyboard.type("Ate s")  # by its first letters
    page.keyboard.press("Tab")
    page.keyboard.type("day-old chicks")
    page.keyboard.press("Enter")  # the same question, the next day
    page.keyboard.type("two mice")
    page.keyboard.press("Control+ArrowLeft")
    focused = page.evaluate("document.activeElement.name")
    page.keyboard.press("Control+ArrowRight")
    while page.evaluate("document.activeElement.tagName") != "BUTTON":
        page.keyboard.press("Enter")
    page.keyboard.press("Enter")

    expect(page.get_by_text("2 days are copied from paper.")).to_be_visible()
    assert focused.endswith("-eaten")
    assert page.get_by_text("copied from paper by").count() == 2
    context.close()
