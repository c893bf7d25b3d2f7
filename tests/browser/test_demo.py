"""The demonstration opens, and its pages are there for each role."""

import pytest

from tests.browser.conftest import PHONE, email_of, sign_in

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
