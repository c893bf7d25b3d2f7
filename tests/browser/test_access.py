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
    "/formulary/",
    "/formulary/groups/raptor/",
    "/formulary/rows/hedgehog.meloxicam/",
    "/formulary/add/",
    "/formulary/sums/?sum=percent&percent=2",
    "/formulary/waiting/",
    "/hospital/",
    "/calendar/",
    "/carers/match/",
    "/carers/limits/",
    "/carers/1/lend/",
    "/my-account/",
    "/my-account/password/",
    "/my-account/passkeys/add/",
    "/patients/{case}/",
    "/patients/{case}/edit/",
    "/patients/{case}/history/",
    "/patients/{case}/procedures/add/",
    "/patients/{case}/medications/order/",
    "/patients/{case}/feeding/",
    "/patients/{case}/feeding/food/",
    "/patients/{case}/feeding/fluids/",
    "/patients/{case}/feeding/food/stop/",
    "/patients/{case}/examinations/recheck/",
    "/patients/{case}/examinations/add/",
    "/theatre/",
    "/patients/{case}/theatre/plan/",
    "/patients/{case}/images/",
    "/patients/{case}/images/add/",
    "/patients/{case}/images/compare/",
    "/patients/{case}/outcome/",
    "/patients/{case}/place/",
    "/patients/{case}/plan/",
    "/patients/{case}/plan/replan/",
    "/patients/{case}/plan/what-if/",
    "/patients/{case}/plan/versions/",
    "/patients/{case}/pack/",
    "/patients/{case}/water/",
    "/patients/{case}/reports/",
    "/patients/{case}/paper/",
    "/patients/{case}/release/",
    "/patients/{case}/release/assess/",
    "/patients/{case}/release/day/",
    "/patients/{case}/release/day-sheet/",
    "/patients/{case}/samples/",
    "/patients/{case}/samples/add/",
    "/patients/{case}/examinations/drawings/",
    "/patients/{case}/examinations/problems/add/",
    "/treatment-sheet/",
    "/treatment-sheet/?shift=night",
    "/today/",
    "/fortnight/",
    "/late/",
    "/quiet/",
    "/clutches-due/",
    "/plans-to-settle/",
    "/checked-overnight/",
    "/reports/worrying/",
    "/release/",
    "/incubators/",
    "/incubators/1/",
    "/incubators/1/edit/",
    "/incubators/1/read/",
    "/incubators/1/file/",
    "/patients/{case}/clutches/",
    "/patients/{case}/clutches/begin/",
    "/register/",
    "/register/check/",
    "/register/rules/",
    "/register/count-sheet/",
    "/register/pages/open/",
    "/register/pages/1/",
    "/register/pages/1/use/",
    "/register/pages/1/receive/",
    "/register/pages/1/discard/",
    "/register/pages/1/transfer/",
    "/register/pages/1/count/",
    "/register/pages/1/lines/1/correct/",
]
CARER_PAGES = [
    "/my-animals/",
    "/my-account/",
    "/my-days-away/",
    "/calendar/",
    "/patients/{case}/accept/",
    "/patients/{case}/decline/",
    "/my-animals/not-sent/",
    "/my-animals/no-signal/",
    "/my-animals/on-the-phone/",
    "/patients/{case}/paper/",
    "/patients/{case}/today/",
    "/patients/{case}/guide/",
    "/patients/{case}/coming/",
    "/patients/{case}/reports/",
    "/patients/{case}/pack/",
]


def violations(page) -> list[str]:
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{v['id']}: {v['help']} — {node['html'][:160]}" for v in found for node in v["nodes"]]


@pytest.fixture(scope="module")
def carer(chromium, demo, people):
    """The carer who has Bramble."""
    context = chromium.new_context(viewport=PHONE, base_url=demo, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    sign_in(page, email_of(people, "dilys"), people["password"])
    yield page
    context.close()


@pytest.fixture(scope="module")
def vet(chromium, demo, people):
    """One browser session of a vet for the whole file."""
    context = chromium.new_context(viewport=DESK, base_url=demo, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    sign_in(page, email_of(people, "ines"), people["password"])
    yield page, case_of(page, "Bramble")
    context.close()


def faults_of(page, address: str) -> list[str]:
    """What is wrong with a page on a phone by night and at a desk by day: each size and each scheme once."""
    faults = []
    for size, scheme in ((PHONE, "dark"), (DESK, "light")):
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme)
        answer = page.goto(address)
        page.wait_for_load_state("networkidle")
        wide = page.evaluate("document.documentElement.scrollWidth")
        faults += [] if answer.status == 200 else [f"answers {answer.status}"]
        faults += [f"{size['width']} {scheme}: {fault}" for fault in violations(page)]
        faults += [f"{size['width']}: {wide} px wide"] if wide > size["width"] else []
    return faults


@pytest.mark.parametrize("address", STAFF_PAGES)
def test_no_page_of_the_staff_breaks_wcag_or_scrolls_sideways(vet, address):
    page, case = vet

    assert faults_of(page, address.format(case=case)) == []


@pytest.mark.parametrize("address", CARER_PAGES)
def test_no_page_of_a_carer_breaks_wcag_or_scrolls_sideways(carer, vet, address):
    _, case = vet

    assert faults_of(carer, address.format(case=case)) == []


@pytest.mark.parametrize("address", ["/sign-in/", "/sign-in/mail-a-code/", "/a/"])
def test_the_pages_before_signing_in_break_nothing(page, address):
    assert faults_of(page, address) == []


@pytest.mark.parametrize("address", ["/invitations/", "/invitations/invite/"])
def test_the_pages_of_invitations_break_nothing(page, people, address):
    sign_in(page, email_of(people, "ruth"), people["password"])

    assert faults_of(page, address) == []


def test_the_page_of_visits_together_breaks_nothing_and_shows_what_is_shared(vet):
    """Luca Harrow has several animals of one hospital in the demonstration."""
    page, _ = vet
    page.goto("/carers/")
    page.get_by_role("link", name="Luca Harrow", exact=True).first.click()
    address = page.get_by_role("link", name="Visits together").get_attribute("href")

    assert faults_of(page, address) == []
    assert page.locator("#drives tbody tr", has_text="one drive for all").count() >= 1


def test_the_page_on_which_a_second_vet_signs_breaks_nothing(vet):
    """Hazel's order waits in the demonstration; the one who ordered it and the one who may sign see different pages."""
    page, _ = vet
    page.goto("/formulary/waiting/")
    address = page.get_by_role("link", name="Look and decide").first.get_attribute("href")

    assert faults_of(page, address) == []
    assert page.get_by_role("button", name="Take this order back").count() == 1
