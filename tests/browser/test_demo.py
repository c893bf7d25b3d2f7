"""The demonstration opens, and its pages are there for each role."""

import pytest

from tests.browser.conftest import DESK, PHONE, email_of, sign_in

pytestmark = pytest.mark.xdist_group("browser")  # all browser tests share one demonstration, on one worker


def test_a_vet_reads_a_patient_and_its_plan(page, people):
    sign_in(page, email_of(people, "ines"), people["password"])
    page.goto("/patients/")
    page.get_by_role("link", name="Bramble").first.click()
    case = page.url.rstrip("/").split("/")[-1]

    answer = page.goto(f"/patients/{case}/plan/")

    assert answer.status == 200
    assert page.locator("h1").count() == 1


@pytest.mark.parametrize("address", ["/patients/", "/patients/closed/", "/admit/", "/carers/", "/protocols/"])
def test_no_page_scrolls_sideways_on_a_phone(page, people, address):
    page.set_viewport_size(PHONE)
    sign_in(page, email_of(people, "ruth"), people["password"])

    answer = page.goto(address)

    assert answer.status == 200
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


@pytest.fixture
def coordinator(page, people):
    sign_in(page, email_of(people, "ruth"), people["password"])
    return page


def test_the_stories_are_on_the_board(coordinator):
    coordinator.goto("/today/")

    words = coordinator.inner_text("main").lower()

    assert "one end of the wound gapes" in words  # the worrying report of the swan
    assert "tawny owl" in words  # its sutures are late
    assert "barn owl" in words  # its plan collides
    assert "femi larkspur" in words  # has gone quiet


def test_two_animals_can_go_and_one_waits_for_spring(coordinator):
    coordinator.goto("/release/")

    words = coordinator.inner_text("main").lower()
    can_go = words[words.index("can go now") : words.index("could go within")]

    assert "herring gull" in can_go
    assert "kestrel" in can_go
    assert "waits for its season" in words


def test_years_of_closed_cases_are_listed(coordinator):
    coordinator.goto("/patients/closed/")

    assert coordinator.locator("main tbody tr").count() >= 20


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_task_is_started_with_the_keyboard_alone(page, people, size):
    page.set_viewport_size(size)
    sign_in(page, email_of(people, "ines"), people["password"])
    page.goto("/today/")

    page.keyboard.press("Control+K")
    page.keyboard.type("weigh bramble")
    page.locator(".find-list a").first.wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")

    page.wait_for_url("**/weigh/")
    assert "Bramble" in page.inner_text("main")
