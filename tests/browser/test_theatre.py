"""A day in theatre with gloves on, in a real browser: every button and box of the record is large enough, and few presses do."""

import pytest

from tests.browser.conftest import PHONE, email_of, sign_in

pytestmark = pytest.mark.xdist_group("browser")

TOO_SMALL = """[...document.querySelectorAll('#theatre-record :is(a, button, .button, .stepper input)')]
    .filter((each) => each.offsetParent && (each.getBoundingClientRect().height < 44 || each.getBoundingClientRect().width < 44))
    .map((each) => each.outerHTML.slice(0, 90))"""


@pytest.fixture
def theatre(chromium, demo, people):
    context = chromium.new_context(viewport=PHONE, base_url=demo, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    sign_in(page, email_of(people, "ines"), people["password"])
    yield page
    context.close()


def test_a_theatre_day_with_gloves(theatre):
    page = theatre
    page.goto("/theatre/")
    page.get_by_role("button", name="Start").first.click()

    page.get_by_role("button", name="More: Heart rate").click()
    page.get_by_role("button", name="More: Heart rate").click()
    page.get_by_role("textbox", name="Temperature").fill("39,4")
    page.get_by_role("button", name="Save the reading").click()

    page.get_by_role("cell", name="39.4").wait_for()
    assert page.evaluate(TOO_SMALL) == []


def test_a_reading_that_did_not_reach_the_hospital_says_so_and_is_kept(theatre):
    page = theatre
    page.goto("/theatre/")
    page.get_by_role("link", name="Adder").click()
    page.get_by_role("textbox", name="Heart rate").fill("46")
    page.context.set_offline(True)

    page.get_by_role("button", name="Save the reading").click()

    page.get_by_text("Not saved.").wait_for()
    assert page.get_by_role("textbox", name="Heart rate").input_value() == "46"
