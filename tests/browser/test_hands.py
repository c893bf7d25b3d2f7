"""Pages that are used with gloves or one hand: the treatment sheet and the drawing of wounds, at phone width."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, case_of, email_of, needs_a_day_before_it_is_over, sign_in

pytestmark = pytest.mark.xdist_group("browser")
LEAST_PX = 44


@pytest.fixture
def hands(page, people):
    page.set_viewport_size(PHONE)
    sign_in(page, email_of(people, "ines"), people["password"])
    return page


def test_a_dose_is_signed_and_undone_with_the_thumb(hands):
    hands.goto("/treatment-sheet/?shift=whole")
    tap = hands.locator(".tap").filter(has=hands.get_by_role("button", name=re.compile("^Given"))).first
    button = tap.get_by_role("button", name=re.compile("^Given"))
    needs_a_day_before_it_is_over(button.count() > 0)
    box, before = button.bounding_box(), hands.locator(".tap").count()

    button.click()
    undo = hands.get_by_role("button", name="Undo").first
    expect(undo).to_be_visible()
    signed = hands.locator(".tap").count()
    undo_box = undo.bounding_box()
    undo.click()
    expect(hands.get_by_text("Taken back.")).to_be_visible()

    assert min(box["height"], box["width"], undo_box["height"]) >= LEAST_PX
    assert (signed, hands.locator(".tap").count()) == (before - 1, before)


def test_a_touch_marks_a_wound_where_it_was_touched(hands):
    case = case_of(hands, "Bramble")
    hands.goto(f"/patients/{case}/examinations/add/")
    hands.get_by_role("radio", name="No wound").check()
    hands.get_by_role("button", name="Save, then draw the wounds").click()
    hands.wait_for_url("**/drawing/")

    hands.get_by_role("radio", name="Bite").check()
    hands.locator("input[type=image][name=top]").click(position={"x": 150, "y": 36})

    expect(hands.get_by_text(re.compile("Bite, head"))).to_be_visible()
    mark = hands.locator(".drawing-marks g").first.get_attribute("transform")
    x, y = (int(each) for each in re.findall(r"\d+", mark))
    assert abs(x - 500) <= 10
    assert abs(y - 120) <= 10
