"""Every page of the path under axe (WCAG 2.2 AA), on a phone and at a desk, by day and by night."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import DESK, PHONE, case_of, email_of, sign_in

pytestmark = pytest.mark.xdist_group("browser")

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
STAFF_PAGES = [
    "/patients/",
    "/patients/closed/",
    "/admit/",
    "/carers/",
    "/protocols/",
    "/hospital/",
    "/patients/{case}/",
    "/patients/{case}/edit/",
    "/patients/{case}/history/",
    "/patients/{case}/procedures/add/",
    "/patients/{case}/medications/order/",
    "/patients/{case}/examinations/recheck/",
    "/patients/{case}/examinations/add/",
    "/patients/{case}/outcome/",
    "/patients/{case}/place/",
    "/patients/{case}/plan/",
    "/patients/{case}/plan/replan/",
    "/patients/{case}/plan/versions/",
]


def violations(page) -> list[str]:
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{v['id']}: {v['help']} — {node['html'][:160]}" for v in found for node in v["nodes"]]


@pytest.fixture(scope="module")
def vet(chromium, demo, people):
    """One browser session of a vet for the whole file."""
    context = chromium.new_context(viewport=DESK, base_url=demo, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    sign_in(page, email_of(people, "ines"), people["password"])
    yield page, case_of(page, "Bramble")
    context.close()


@pytest.mark.parametrize("address", STAFF_PAGES)
def test_no_page_of_the_staff_breaks_wcag_or_scrolls_sideways(vet, address):
    page, case = vet
    faults = []
    for size in (PHONE, DESK):
        for scheme in ("light", "dark"):
            page.set_viewport_size(size)
            page.emulate_media(color_scheme=scheme)
            answer = page.goto(address.format(case=case))
            assert answer.status == 200
            page.wait_for_load_state("networkidle")
            wide = page.evaluate("document.documentElement.scrollWidth")
            faults += [f"{size['width']} {scheme}: {fault}" for fault in violations(page)]
            faults += [f"{size['width']}: {wide} px wide"] if wide > size["width"] else []

    assert faults == []


def test_the_sign_in_page_breaks_nothing(page):
    page.goto("/sign-in/")

    assert violations(page) == []
