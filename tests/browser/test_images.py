"""The viewer of images in a real browser: window, zoom, and a length drawn by mouse and by keys."""

import io
import re

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, case_of, email_of, sign_in

pytestmark = pytest.mark.xdist_group("browser")
# as handover/demo/shadows.py draws it: a bar of 25 mm from (100, 640) to (350, 640) of 1300 × 700 pixels, 10 pixels a millimetre
WIDTH, HEIGHT = 1300, 700


def ready(page):
    page.locator("[data-viewer][data-is-ready]").first.wait_for()


@pytest.fixture
def viewer(page, people):
    """The turtle's radiograph, with nothing measured on it yet, open for a vet."""
    page.set_default_timeout(8000)
    sign_in(page, email_of(people, "tobias"), people["password"])
    case = case_of(page, "Walnut")
    page.goto(f"/patients/{case}/images/")
    page.locator("figure a").first.click()
    ready(page)
    return page


def on_screen(page, x, y):
    """Where a pixel of the picture lies on the screen while the whole picture is shown."""
    page.locator("canvas").evaluate("canvas => canvas.scrollIntoView({ block: 'center', behavior: 'instant' })")
    box = page.locator("canvas").bounding_box()
    scale = min(box["width"] / WIDTH, box["height"] / HEIGHT)
    return (
        box["x"] + (box["width"] - WIDTH * scale) / 2 + x * scale,
        box["y"] + (box["height"] - HEIGHT * scale) / 2 + y * scale,
    )


def drag_line(page, start, end):
    first, last = on_screen(page, *start), on_screen(page, *end)
    page.mouse.move(*first)
    page.mouse.down()
    page.mouse.move(*last, steps=4)
    page.mouse.up()


def shade(page, x, y) -> int:
    """How light one pixel of the picture is on the screen."""
    at = on_screen(page, x, y)
    picture = Image.open(io.BytesIO(page.screenshot())).convert("L")
    return picture.getpixel((round(at[0]), round(at[1])))


def values(page, kind) -> list[float]:
    return [float(re.match(r"[\d.]+", v.get_attribute("data-value"))[0]) for v in page.locator(f"[data-drawn={kind}]").all()]


def test_a_length_drawn_by_mouse_is_what_the_marker_says(viewer):
    before = len(values(viewer, "length"))
    viewer.get_by_role("radio", name="Marker").click()
    drag_line(viewer, (100, 640), (350, 640))
    viewer.get_by_label("The marker's true length").fill("25")
    viewer.get_by_role("button", name="Work out and keep").click()
    expect(viewer.locator("[data-drawn=marker]").last).to_contain_text("25 mm")

    viewer.get_by_role("radio", name="Length").click()
    drag_line(viewer, (200, 100), (600, 400))  # legs of 400 and 300: 500 pixels, 50 mm
    viewer.get_by_role("button", name="Work out and keep").click()

    expect(viewer.locator("[data-drawn=length]")).to_have_count(before + 1)
    assert values(viewer, "length")[-1] == pytest.approx(50, abs=0.3)  # half a pixel of the screen at each end
    expect(viewer.locator("#drawn")).to_contain_text("by the marker")


def test_an_angle_is_set_point_by_point(viewer):
    viewer.get_by_role("radio", name="Angle").click()
    for point in ((500, 100), (300, 100), (300, 300)):
        viewer.mouse.click(*on_screen(viewer, *point))
    viewer.get_by_role("button", name="Work out and keep").click()

    expect(viewer.locator("[data-drawn=angle]")).to_have_count(1)
    assert values(viewer, "angle") == [pytest.approx(90, abs=0.5)]


def test_words_are_put_by_keys_alone(viewer):
    viewer.get_by_role("radio", name="Window").focus()
    viewer.keyboard.press("ArrowLeft")  # round to the last: words
    expect(viewer.get_by_role("radio", name="Words")).to_be_focused()
    viewer.locator("canvas").focus()
    for key in ("ArrowRight", "Shift+ArrowDown", "Enter"):
        viewer.keyboard.press(key)
    viewer.get_by_label(re.compile("^Words")).fill("set by keys")
    viewer.keyboard.press("Enter")

    expect(viewer.locator("[data-drawn=words]")).to_contain_text("set by keys")


def test_a_wrong_number_is_refused_and_the_line_is_kept(viewer):
    viewer.get_by_role("radio", name="Marker").click()
    drag_line(viewer, (100, 640), (350, 640))
    viewer.get_by_label("The marker's true length").fill("wide")
    viewer.get_by_role("button", name="Work out and keep").click()

    expect(viewer.locator("#drawn")).to_contain_text("Give millimetres as a number")
    expect(viewer.get_by_label("The marker's true length")).to_have_value("wide")
    assert viewer.locator("#draw-form [name=points]").input_value() != "[]"


def test_the_window_moves_by_slider_by_drag_and_by_key_and_comes_back(viewer):
    stored = shade(viewer, 650, 60)
    viewer.get_by_role("slider", name="Level").fill("4000")
    darker_level = shade(viewer, 650, 60)
    viewer.get_by_role("button", name="As stored").click()
    again = shade(viewer, 650, 60)
    drag_line(viewer, (400, 100), (400, 500))
    dragged = shade(viewer, 900, 280)

    assert again == pytest.approx(stored, abs=2)
    assert darker_level != stored
    viewer.get_by_role("button", name="As stored").click()
    assert shade(viewer, 900, 280) > dragged
    viewer.locator("canvas").focus()
    before = viewer.get_by_role("slider", name="Level").input_value()
    viewer.keyboard.press(".")
    assert float(viewer.get_by_role("slider", name="Level").input_value()) > float(before)


def test_the_screen_shows_the_stored_levels_through_the_window(viewer):
    """The marker is far above any window's upper end, and the corner below its lower: white and black."""
    assert shade(viewer, 225, 650) > 250
    assert shade(viewer, 1290, 10) < 20


def test_two_dates_stand_side_by_side_and_nothing_spills_on_a_phone(page, people):
    sign_in(page, email_of(people, "ines"), people["password"])
    page.goto(f"/patients/{case_of(page, 'Teasel')}/images/")
    page.get_by_role("button", name="Compare").click()
    ready(page)

    expect(page.locator("[data-viewer][data-is-ready]")).to_have_count(2)
    expect(page.locator(".viewer-pair")).to_contain_text("4.5 mm")
    page.set_viewport_size(PHONE)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_window_zoom_and_move_of_one_date_are_those_of_the_other_until_they_are_parted(page, people):
    page.set_default_timeout(8000)
    sign_in(page, email_of(people, "ines"), people["password"])
    page.goto(f"/patients/{case_of(page, 'Teasel')}/images/")
    page.get_by_role("button", name="Compare").click()
    expect(page.locator("[data-viewer][data-is-ready]")).to_have_count(2)
    left, right = page.locator("[data-viewer]").all()
    level, canvas = right.get_by_role("slider", name="Level"), right.locator("canvas")
    stored, whole = level.input_value(), canvas.screenshot()

    left.locator("canvas").focus()
    for key in ("+", "+", "ArrowRight", ".", "."):
        page.keyboard.press(key)
    expect(level).not_to_have_value(stored)
    zoomed = canvas.screenshot()
    assert zoomed != whole
    assert float(level.input_value()) > float(stored)

    link = page.get_by_role("checkbox", name="Window, zoom and move both together")
    link.focus()
    page.keyboard.press("Space")
    left.get_by_role("button", name="Whole picture").click()
    left.get_by_role("button", name="As stored").click()
    page.wait_for_timeout(200)
    assert canvas.screenshot() == zoomed

    link.check()
    expect(level).to_have_value(stored)


def test_without_scripts_the_picture_is_there_and_the_page_says_what_is_not(chromium, demo, people):
    context = chromium.new_context(base_url=demo, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, email_of(people, "ines"), people["password"])
    page.goto(f"/patients/{case_of(page, 'Teasel')}/images/")
    page.locator("figure a").first.click()

    expect(page.locator(".viewer img")).to_be_visible()
    expect(page.locator("noscript .note")).to_be_visible()
    expect(page.locator("#drawn")).to_contain_text("callus")
    context.close()
