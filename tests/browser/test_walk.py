"""One animal's whole path in a real browser: vet, coordinator and carer each do their part on the demonstration."""

import io

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import BrowserContext, Page

from tests.browser.conftest import DESK, PHONE, email_of, sign_in

pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture
def session(chromium, demo, people):
    """A signed-in page for a person of the demonstration, kept for the whole walk."""
    opened: dict[str, Page] = {}
    contexts: list[BrowserContext] = []

    def page_of(key: str, viewport: dict = DESK) -> Page:
        if key not in opened:
            contexts.append(chromium.new_context(viewport=viewport, base_url=demo, locale="en-GB", timezone_id="Europe/London"))
            opened[key] = contexts[-1].new_page()
            sign_in(opened[key], email_of(people, key), people["password"])
        return opened[key]

    yield page_of
    for context in contexts:
        context.close()


def test_one_animals_whole_path(session, demo):
    case = a_turtle_is_admitted(session)
    the_admission_is_listed(session, case)
    the_vet_records_and_a_plan_appears(session, case)
    a_dose_is_worked_out_from_the_weight(session, case)
    the_plan_is_published_and_the_animal_goes_to_a_carer(session, case)
    the_pack_is_printed_and_its_code_leads_to_the_log(session, case, demo)
    the_carer_takes_over_and_reports(session, case)
    a_worry_reaches_the_board_and_tells_the_carer_to_phone(session, case)
    a_recheck_leads_to_the_plan(session, case)
    an_outcome_closes_the_case(session, case)


def a_turtle_is_admitted(session) -> str:
    """By the quick form; answers the case number that it gives at once."""
    page = session("ines")
    page.goto("/admit/")
    page.get_by_label("Search the species", exact=False).first.fill("pond turtle")
    page.get_by_role("radio", name="European pond turtle", exact=False).first.check()
    page.get_by_role("radio", name="Needs a vet now").check()
    page.get_by_label("Weight (g)").fill("540")
    page.get_by_label("Finder's name").fill("Walk Finderson")
    page.get_by_role("button", name="Admit and give a case number").click()
    page.wait_for_url("**/admitted/")
    return page.url.split("/patients/")[1].split("/")[0]


def words(page: Page) -> str:
    """The page's text, no-break spaces made plain."""
    return page.inner_text("main").replace("\xa0", " ")


def the_admission_is_listed(session, case):
    page = session("ines")

    page.goto("/patients/")

    assert case in page.inner_text("main")


def the_vet_records_and_a_plan_appears(session, case):
    page = session("ines")
    page.goto(f"/patients/{case}/procedures/add/")
    page.get_by_label("Procedure", exact=True).select_option("wound-closure")
    page.get_by_label("Wound", exact=True).fill("left hind limb")
    page.get_by_label("Material").select_option("nylon")
    page.get_by_role("button", name="Save procedure").click()
    page.wait_for_url(f"**/patients/{case}/**")

    page.goto(f"/patients/{case}/plan/")

    assert "Sutures or staples out" in page.inner_text("main")


def a_dose_is_worked_out_from_the_weight(session, case):
    page = session("ines")
    page.goto(f"/patients/{case}/medications/order/")
    page.get_by_label("Medicine").fill("ceftazidime")
    page.get_by_label("Dose per kg").fill("20")
    page.get_by_role("textbox", name="Strength").fill("100")
    page.get_by_label("How given").select_option("muscle")
    page.get_by_label("Every").fill("72")
    page.get_by_label("Number of doses").fill("5")
    page.get_by_role("button", name="Order this medicine").click()
    page.wait_for_url(f"**/patients/{case}/")

    assert "10.8 mg" in words(page)  # 0.540 kg × 20 mg per kg


def the_plan_is_published_and_the_animal_goes_to_a_carer(session, case):
    vet, coordinator = session("ines"), session("ruth")
    vet.goto(f"/patients/{case}/plan/replan/")
    vet.get_by_role("button", name="Publish").first.click()
    vet.wait_for_url(f"**/patients/{case}/plan/")
    coordinator.goto(f"/patients/{case}/place/")
    coordinator.get_by_role("radio", name="Luca Harrow").check()
    coordinator.get_by_label("Note").fill("Agreed by phone")
    coordinator.get_by_role("button", name="Place it with this carer").click()
    coordinator.wait_for_url(f"**/patients/{case}/**")

    coordinator.goto(f"/patients/{case}/")

    assert "Luca Harrow" in coordinator.inner_text("main")


def the_pack_is_printed_and_its_code_leads_to_the_log(session, case, demo):
    page = session("ruth")
    page.goto(f"/patients/{case}/pack/")
    page.get_by_role("button", name="Make the pack").click()
    page.get_by_role("link", name="Open the PDF").wait_for()
    file = page.get_by_role("link", name="Open the PDF").get_attribute("href")
    pdf = page.request.get(file).body()
    assert pdf.startswith(b"%PDF")
    assert b"Finderson" not in pdf

    twin = page.get_by_role("link", name="Read it on the screen").get_attribute("href")
    page.goto(twin)
    codes = zxingcpp.read_barcodes(Image.open(io.BytesIO(page.screenshot(full_page=True))))
    assert codes, "no code can be read on the page"
    carer = session("luca", PHONE)
    carer.goto(codes[0].text.replace(codes[0].text.split("/a/")[0], demo))

    assert case in carer.url or "taken" in carer.inner_text("main")


def the_carer_takes_over_and_reports(session, case):
    page = session("luca", PHONE)
    page.goto("/my-animals/")
    assert "Finderson" not in page.content()
    page.goto(f"/patients/{case}/accept/")
    page.get_by_role("button", name="I have the animal").click()
    page.wait_for_url("**/my-animals/")
    page.goto(f"/patients/{case}/today/")

    page.get_by_role("button", name="Send the report").click()
    page.wait_for_url("**/reports/**")

    assert "fine" in page.inner_text("main").lower() or "thank" in page.inner_text("main").lower()


def a_worry_reaches_the_board_and_tells_the_carer_to_phone(session, case):
    carer, coordinator = session("luca", PHONE), session("ruth")
    carer.goto(f"/patients/{case}/today/")
    carer.get_by_role("checkbox", name="Wound open or gaping").check()
    carer.get_by_label("Anything that worries you").fill("The walk's wound gapes")
    carer.get_by_role("button", name="Send another report").click()
    carer.wait_for_url("**/reports/**")
    assert "phone" in carer.inner_text("main").lower()
    assert carer.locator("main a[href^='tel:']").count() >= 1

    coordinator.goto("/today/")

    assert "The walk's wound gapes" in coordinator.inner_text("main")


def a_recheck_leads_to_the_plan(session, case):
    page = session("ines")
    page.goto(f"/patients/{case}/examinations/recheck/")
    page.get_by_role("radio", name="Open again").check()
    page.get_by_label("Findings").fill("Two sutures gone")
    page.get_by_role("button", name="Save recheck").click()

    page.wait_for_url(f"**/patients/{case}/plan/replan/")

    assert page.locator("h1").count() == 1


def an_outcome_closes_the_case(session, case):
    page = session("ines")
    page.goto(f"/patients/{case}/outcome/")
    page.get_by_role("radio", name="Transferred").check()
    page.get_by_label("Reason").fill("To a hospital nearer its pond")
    page.get_by_label("Place", exact=False).first.fill("Upland Branch")
    page.get_by_role("button", name="Check before saving").click()
    page.get_by_role("button", name="Save and close the case").click()
    page.wait_for_url(f"**/patients/{case}/")

    page.goto("/patients/closed/")

    assert case in page.inner_text("main")
