"""What if in a real browser: a date moved by mouse, by keyboard and by finger; and without any script."""

import re
from datetime import date, timedelta

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE, case_of, email_of, sign_in
from tests.browser.test_access import violations

pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture(scope="module")
def known(chromium, demo, people):
    """The case number of Bramble and the session of a vet, for every context of this file."""
    context = chromium.new_context(viewport=DESK, base_url=demo, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    sign_in(page, email_of(people, "ines"), people["password"])
    yield case_of(page, "Bramble"), context.storage_state()
    context.close()


def opened(chromium, demo, known, query="", **how):
    case, session = known
    context = chromium.new_context(
        **({"viewport": DESK} | how), base_url=demo, locale="en-GB", timezone_id="Europe/London", storage_state=session
    )
    page = context.new_page()
    page.goto(f"/patients/{case}/plan/what-if/{query}")
    return page


@pytest.fixture
def desk(chromium, demo, known):
    page = opened(chromium, demo, known)
    yield page
    page.context.close()


def last_track(page):
    """The last event of the picture that no rule holds to one day: it has room on either side."""
    return page.locator("[data-slider] [data-event]").last


def day_of(track) -> date:
    return date.fromisoformat(track.get_attribute("data-on"))


def test_arrow_keys_move_a_date_a_day_and_enter_asks(desk):
    track = last_track(desk)
    event, start = track.get_attribute("data-event"), day_of(track)
    track.focus()
    desk.keyboard.press("ArrowRight")
    desk.keyboard.press("ArrowRight")
    desk.keyboard.press("ArrowLeft")
    desk.keyboard.press("PageUp")
    assert str((start + timedelta(8)).day) in track.get_attribute("aria-valuetext")
    assert "Press Enter to ask" in desk.inner_text("#slider-say")

    desk.keyboard.press("Enter")
    expect(desk.locator("#supposed strong")).to_have_count(1)

    assert f"day-0-on={start + timedelta(8)}" in desk.url
    moved = desk.locator(f'[data-event="{event}"]')
    assert day_of(moved) == start + timedelta(8)
    expect(moved).to_be_focused()
    expect(desk.locator("#what-if-say")).not_to_be_empty()
    desk.go_back()
    expect(desk.locator("#supposed strong")).to_have_count(0)
    assert "day-0-on" not in desk.url


def test_escape_puts_a_date_back_and_asks_nothing(desk):
    track = last_track(desk)
    before, place = desk.url, track.locator(".chosen").get_attribute("cx")
    track.focus()
    desk.keyboard.press("ArrowRight")
    assert track.locator(".chosen").get_attribute("cx") != place

    desk.keyboard.press("Escape")

    assert track.locator(".chosen").get_attribute("cx") == place
    assert desk.inner_text("#slider-say") == "Put back."
    desk.keyboard.press("Enter")
    assert desk.url == before


def test_a_date_is_dragged_with_the_mouse_and_dragged_home_again(desk):
    track = last_track(desk)
    event, start = track.get_attribute("data-event"), day_of(track)

    drag(desk, track, 40)
    expect(desk.locator("#supposed strong")).to_have_count(1)
    moved = desk.locator(f'[data-event="{event}"]')
    assert day_of(moved) > start
    assert moved.locator(".was").count() == 1

    back = moved.locator(".was").bounding_box()
    drag(desk, moved, back["x"] + back["width"] / 2 - middle(moved)[0])
    expect(desk.locator("#supposed strong")).to_have_count(0)


def middle(track):
    box = track.locator(".chosen").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page, track, by):
    track.scroll_into_view_if_needed()
    x, y = middle(track)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by / 2, y + 3, steps=4)
    page.mouse.move(x + by, y + 3, steps=4)
    page.mouse.up()


def test_a_finger_moves_a_date_on_a_phone(chromium, demo, known):
    page = opened(chromium, demo, known, viewport=PHONE, has_touch=True, is_mobile=True)
    track = last_track(page)
    start = day_of(track)
    track.scroll_into_view_if_needed()
    box = track.locator(".grip").bounding_box()
    assert min(box["width"], box["height"]) >= 44
    x, y = middle(track)
    session = page.context.new_cdp_session(page)

    def touch(kind, *points):
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": px, "y": py} for px, py in points]})

    touch("touchStart", (x, y))
    for step in range(1, 9):
        touch("touchMove", (x + 4 * step, y + 1))
    touch("touchEnd")
    expect(page.locator("#supposed strong")).to_have_count(1)

    moved = re.search(r"day-0-on=([0-9-]+)", page.url)[1]
    assert date.fromisoformat(moved) > start
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.context.close()


def test_dots_of_neighbouring_rows_are_far_enough_apart_for_a_finger(chromium, demo, known):
    page = opened(chromium, demo, known, viewport=PHONE)
    tops = page.locator("[data-slider] .grip").evaluate_all("all => all.map(each => each.getBoundingClientRect().top)")

    assert all(below - above >= 44 for above, below in zip(tops, tops[1:], strict=False))
    page.context.close()


def test_without_script_the_form_asks_and_the_picture_is_a_picture(chromium, demo, known):
    page = opened(chromium, demo, known, java_script_enabled=False)
    event = last_track(page).get_attribute("data-event")
    start = day_of(last_track(page))
    page.get_by_text("Another day for something").first.click()
    page.locator("#id_day-0-event_id").select_option(event)
    page.locator("#id_day-0-on").fill(str(start + timedelta(7)))
    page.get_by_role("button", name="See what it does").click()

    assert f"day-0-on={start + timedelta(7)}" in page.url
    assert page.locator("#supposed strong").count() == 1
    assert page.locator("[data-slider]").get_attribute("role") == "img"
    page.get_by_role("link", name="Take out").click()
    assert page.locator("#supposed strong").count() == 0
    page.context.close()


def test_a_mistake_takes_the_focus_and_keeps_what_was_typed(desk):
    desk.get_by_text("The clinic closes on a day").first.click()
    desk.locator("#id_shut-0-on").fill("2020-01-01")
    desk.get_by_role("button", name="See what it does").click()

    expect(desk.locator("[data-error-summary]")).to_be_focused()
    assert desk.locator("#id_shut-0-on").input_value() == "2020-01-01"


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["1280", "360"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_supposed_plan_and_a_collision_break_no_rule_of_access(chromium, demo, known, size, scheme):
    page = opened(chromium, demo, known, viewport=size, color_scheme=scheme)
    event, start = last_track(page).get_attribute("data-event"), day_of(last_track(page))
    case, _ = known
    found = []
    for day in (start + timedelta(1), date.today() + timedelta(1)):  # noqa: DTZ011 the demonstration's own day is today's
        page.goto(f"/patients/{case}/plan/what-if/?day-0-event_id={event}&day-0-on={day}")
        found += violations(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]

    assert found == []
    page.context.close()


def test_what_would_move_a_date_is_there_when_its_reasons_are_opened(chromium, demo, known):
    page = opened(chromium, demo, known)
    page.get_by_role("link", name="The whole plan").click()
    page.locator("details.why summary").first.click()

    expect(page.get_by_role("heading", name="What would move it").first).to_be_visible()
    assert violations(page) == []
    page.context.close()
