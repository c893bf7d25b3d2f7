"""The carer's phone without signal, in a real browser: what was kept is there once when it has come, whatever happens between."""

from __future__ import annotations

import io
import random
import shutil
import time
import uuid
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.conftest import CHROMIUM, PHONE, Server, email_of, sign_in

pytestmark = pytest.mark.xdist_group("offline")


@pytest.fixture(scope="module")
def hospital(demo_server, tmp_path_factory) -> Server:
    """A hospital of our own to do harm to."""
    server = demo_server.copied_to(tmp_path_factory.mktemp("own")).start()
    yield server
    server.stop()


@pytest.fixture
def phone(chromium: Browser, hospital, people):
    """Pages on phones on which a carer is signed in and the pages are kept."""
    opened: list[BrowserContext] = []

    def make(key: str = "dilys", **options) -> Page:
        opened.append(new_phone(chromium, hospital, **options))
        return signed_in(opened[-1], people, key)

    yield make
    for context in opened:
        context.close()


def new_phone(chromium: Browser, hospital: Server, **options) -> BrowserContext:
    options = {"viewport": PHONE, "base_url": hospital.address, "locale": "en-GB", "timezone_id": "Europe/London"} | options
    return chromium.new_context(**options)


def signed_in(context: BrowserContext, people: dict, key: str) -> Page:
    page = context.new_page()
    sign_in(page, email_of(people, key), people["password"])
    page.goto("/my-animals/")
    page.locator("html[data-kept]").wait_for()
    return page


def animals(page: Page) -> list[str]:
    """Case numbers of the carer's animals."""
    page.goto("/my-animals/")
    sections = page.locator("section[id^=animal-]")
    sections.first.wait_for()
    return [each.removeprefix("animal-") for each in sections.evaluate_all("all => all.map(each => each.id)")]


def write(page: Page, case: str, worry: str) -> None:
    page.goto(f"/patients/{case}/today/")
    page.get_by_label("Anything that worries you").fill(worry)
    page.locator(".thumb-bar button").click()


def kept_answer(page: Page) -> None:
    expect(page.get_by_role("heading", name="Kept on this phone")).to_be_visible()


def stored(hospital: Server, worries: str) -> list[tuple]:
    """(key, made at, received at, author) of every report with such words, in the order of the hospital's list."""
    with closing(hospital.database()) as database:
        asked = "SELECT key, made_at, received_at, author_id FROM handover_logentry WHERE worries LIKE ? ORDER BY made_at, id"
        return database.execute(asked, [worries]).fetchall()


def bar(page: Page):
    return page.locator("#signal")


def test_a_report_written_without_signal_arrives_once_when_there_is_signal(phone, hospital):
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)

    write(page, case, "written on the sand bank")

    kept_answer(page)
    expect(bar(page)).to_contain_text("Not sent yet: 1 report")
    assert stored(hospital, "written on the sand bank") == []
    page.goto("/my-animals/")  # from what is kept
    expect(bar(page)).to_contain_text("No signal")
    page.context.set_offline(False)
    page.evaluate("sendReports()")
    expect(bar(page)).to_be_hidden()
    page.evaluate("sendReports()")
    assert len(stored(hospital, "written on the sand bank")) == 1


@pytest.mark.parametrize("place", ["today/", "coming/", "guide/", "reports/", "pack/"])
def test_the_pages_of_an_animal_open_without_signal(phone, place):
    page = phone()
    case = animals(page)[0]
    missing = []
    page.context.set_offline(True)
    page.on("requestfailed", lambda request: missing.append(request.url) if "/kept/" not in request.url else None)

    answer = page.goto(f"/patients/{case}/{place}")

    assert answer.status == 200
    expect(bar(page)).to_contain_text("No signal. This page is as it was on")
    assert page.locator(".phone-box a[href^='tel:']").count() >= 1
    assert missing == []


def test_tomorrow_opens_tomorrows_page(phone):
    """The device's own day decides, by the hospital's zone: the carer may be without signal over midnight."""
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)
    page.clock.install(time=datetime.now(UTC) + timedelta(days=1))
    worker = page.evaluate("""async (number) => {
      const told = await (await (await caches.open("pages")).match("/my-animals/kept/")).json();
      return told.days[`/patients/${number}/today/`];
    }""", case)  # fmt: skip

    page.goto(f"/patients/{case}/today/{sorted(worker)[1]}/")

    expect(page.get_by_text("This is how the day stands now.")).to_be_visible()
    assert page.locator("input[name=on]").input_value() == sorted(worker)[1]


def test_a_page_that_is_not_kept_says_what_is(phone):
    page = phone()
    page.context.set_offline(True)

    page.goto("/my-days-away/")

    expect(page.get_by_role("heading", name="No signal")).to_be_visible()


def test_a_killed_page_loses_nothing(phone, hospital):
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)
    write(page, case, "then the battery went")
    kept_answer(page)

    page.close()
    other = page.context.new_page()
    page.context.set_offline(False)
    other.goto("/my-animals/")

    expect(bar(other)).to_be_hidden()
    assert len(stored(hospital, "then the battery went")) == 1


def test_a_browser_that_is_started_again_still_holds_the_report(chromium, hospital, people, tmp_path):
    kept = {"viewport": PHONE, "base_url": hospital.address, "executable_path": shutil.which("chromium"), "args": CHROMIUM}
    context = chromium.browser_type.launch_persistent_context(tmp_path, **kept)
    page = signed_in(context, people, "dilys")
    case = animals(page)[0]
    context.set_offline(True)
    write(page, case, "the phone was switched off")
    kept_answer(page)
    context.close()

    context = chromium.browser_type.launch_persistent_context(tmp_path, **kept)
    page = context.new_page()
    page.goto("/my-animals/")

    expect(bar(page)).to_be_hidden()
    page.locator("html[data-kept]").wait_for()
    assert len(stored(hospital, "the phone was switched off")) == 1
    context.close()


def test_a_reply_that_is_cut_stores_once(phone, hospital):
    """The server has stored it, the phone never hears: it sends again, and is told that it is there."""
    page = phone()
    case = animals(page)[0]
    cut = []

    def answer(route):
        if not cut:
            cut.append(route.fetch().status)
            return route.abort()
        return route.continue_()

    page.context.route("**/today/send/", answer)

    write(page, case, "the reply was cut")
    kept_answer(page)
    page.evaluate("sendReports()")

    expect(bar(page)).to_be_hidden()
    assert cut == [200]
    assert len(stored(hospital, "the reply was cut")) == 1


def test_a_strange_page_in_place_of_the_hospital_takes_nothing_away(phone, hospital):
    """A portal of a café answers everything with its own page and a 200: nothing is taken as sent."""
    page = phone()
    case = animals(page)[0]
    page.context.route("**/kept/", lambda route: route.fulfill(status=200, content_type="text/html", body="<h1>Free Wi-Fi</h1>"))
    page.context.route("**/today/send/", lambda route: route.fulfill(status=200, content_type="text/html", body="<h1>Free Wi-Fi</h1>"))

    write(page, case, "behind a portal")

    kept_answer(page)
    page.context.unroute_all()
    page.evaluate("sendReports()")
    expect(bar(page)).to_be_hidden()
    assert len(stored(hospital, "behind a portal")) == 1


def test_two_tabs_that_send_at_once_store_once(phone, hospital):
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)
    write(page, case, "two tabs")
    kept_answer(page)
    other = page.context.new_page()
    other.goto("/my-animals/")

    page.context.set_offline(False)
    other.evaluate("sendReports() && null")
    page.evaluate("Promise.all([sendReports(), Outbox.flush(), Outbox.flush()])")

    expect(bar(page)).to_be_hidden()
    assert len(stored(hospital, "two tabs")) == 1


@pytest.mark.parametrize("hours", [-7, 30])
def test_a_clock_that_is_hours_wrong_keeps_the_report(phone, hospital, hours):
    page = phone()
    case = animals(page)[0]
    page.clock.install(time=datetime.now(UTC) + timedelta(hours=hours))
    words = f"clock off by {hours} hours"

    write(page, case, words)

    page.wait_for_url("**/reports/**")
    assert len(stored(hospital, words)) == 1


def test_somebody_else_on_the_same_phone_neither_reads_nor_sends_it(phone, hospital, people):
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)
    write(page, case, "dilys alone")
    kept_answer(page)
    page.context.clear_cookies()
    page.context.set_offline(False)

    page.goto("/sign-in/")
    sign_in(page, email_of(people, "hamid"), people["password"])
    page.goto("/my-animals/not-sent/")
    page.locator("html[data-kept]").wait_for()

    expect(page.get_by_text("This phone also holds reports of somebody else.").first).to_be_visible()
    assert "dilys alone" not in page.locator("#main").text_content()
    assert stored(hospital, "dilys alone") == []
    kept = page.evaluate("caches.open('pages').then((pages) => pages.keys()).then((all) => all.map((each) => each.url))")
    assert not [address for address in kept if case in address]


def test_signing_out_asks_while_something_waits(phone):
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)
    write(page, case, "asked before going")
    kept_answer(page)

    page.locator(".person-menu summary").click()
    page.get_by_role("button", name="Sign out").click()

    expect(page.get_by_role("heading", name="Sign out with reports not sent?")).to_be_visible()
    expect(page.get_by_text("1 report is not sent yet. It stays on this phone")).to_be_visible()
    page.get_by_role("button", name="Stay signed in").click()
    page.context.set_offline(False)
    page.evaluate("sendReports()")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/**")
    assert page.evaluate("caches.has('pages')") is False


def test_a_report_for_an_animal_that_has_left_is_kept_and_explained(phone, hospital):
    page = phone()
    case = animals(page)[0]
    page.context.set_offline(True)
    page.goto(f"/patients/{case}/today/")
    page.locator("form[data-report]").evaluate("form => { form.action = form.action.replace('today/send', 'nothing/send'); }")
    page.get_by_label("Anything that worries you").fill("nobody's animal")
    page.locator(".thumb-bar button").click()
    kept_answer(page)

    page.context.set_offline(False)
    page.evaluate("sendReports()")

    expect(bar(page)).to_contain_text("1 report needs you")
    page.goto("/my-animals/not-sent/")
    expect(page.get_by_text("does not find this animal under your name")).to_be_visible()
    expect(page.get_by_text("nobody's animal")).to_be_visible()
    assert page.get_by_role("link", name="Write it again").get_attribute("href").startswith(f"/patients/{case}/today/#again=")


def test_a_mistake_comes_back_at_its_box_and_nothing_is_lost(phone):
    page = phone()
    case = animals(page)[0]
    page.goto(f"/patients/{case}/today/")
    page.get_by_label("Weight (g)").fill("heavy")
    page.get_by_label("Anything that worries you").fill("typed before the mistake")

    page.locator(".thumb-bar button").click()

    expect(page.locator("[data-error-summary]")).to_be_visible()
    expect(page.get_by_label("Anything that worries you")).to_have_value("typed before the mistake")
    expect(bar(page)).to_be_hidden()


def a_photograph() -> bytes:
    """Noise, so that it stays large when it is packed."""
    file = io.BytesIO()
    Image.frombytes("RGB", (900, 700), random.Random(7).randbytes(900 * 700 * 3)).save(file, "JPEG", quality=90)
    return file.getvalue()


def test_a_photograph_goes_on_where_it_was_cut_off(phone, hospital):
    page = phone()
    case = animals(page)[0]
    parts = []

    def answer(route):
        parts.append(int(route.request.url.split("from=")[1].split("&")[0]))
        return route.abort() if len(parts) in (2, 4) else route.continue_()

    page.context.route("**/photo/part/**", answer)
    page.goto(f"/patients/{case}/today/")
    page.get_by_label("Anything that worries you").fill("with a photograph")
    page.get_by_label("Photograph of the wound").set_input_files({"name": "wound.jpg", "mimeType": "image/jpeg", "buffer": a_photograph()})

    page.locator(".thumb-bar button").click()
    page.wait_for_url("**/reports/**")
    for _ in range(3):
        page.evaluate("sendReports()")

    assert parts[0] == 0
    assert sorted(set(parts)) == list(dict.fromkeys(parts))  # it went on, never back
    assert len(parts) == len(set(parts)) + 2  # the two that were cut came again, no other
    [(key, *_)] = stored(hospital, "with a photograph")
    shown = page.request.get(f"/patients/{case}/reports/{uuid.UUID(key)}/photo/")
    assert Image.open(io.BytesIO(shown.body())).size == (900, 700)


# --- the storm --------------------------------------------------------------------------------------------------------

REPORTS = 1000
CARERS = ("dilys", "hamid", "femi", "luca")
ADD = """async ([person, address, on, words, moments]) => {
  for (const [n, made_at] of moments) {
    const key = crypto.randomUUID();
    const fields = [["key", key], ["made_at", made_at], ["on", on], ["worries", `${words} ${n}`]];
    const rest = { animal: "", page: "", words: [], answer_address: "", photo_address: "", photo: null };
    await Outbox.add({ key, person, fields, address, on, made_at, ...rest });
  }
}"""


def test_a_storm_of_a_thousand_reports_arrives_whole_and_once(chromium, hospital, people):
    """Cut lines, lost replies, closed pages and a server that is killed: every report that a phone kept is stored once, in order."""
    seed = random.Random(20270305)
    phones = [(key, signed_in(new_phone(chromium, hospital), people, key)) for key in CARERS]
    places = [(key, page, animals(page)) for key, page in phones]
    written, killed, rounds = 0, 0, 0
    start = datetime.now(UTC) - timedelta(minutes=30)

    def harm(route):
        dice = seed.random()
        if dice < 0.03:
            return route.abort()  # cut before it came
        if dice < 0.06:
            try:
                route.fetch()  # it came; the reply is cut
            except Exception:  # the server is down: there is nothing to cut
                pass
            return route.abort()
        return route.continue_()

    for _key, page, _cases in places:
        page.context.route("**/today/send/", harm)
    while written < REPORTS or rounds < 12:
        key, page, cases = places[rounds % len(places)]
        rounds += 1
        many = min(REPORTS - written, 60)
        moments = [[n, (start + timedelta(milliseconds=700 * n)).isoformat()] for n in range(written, written + many)]
        if rounds % 7 == 0:
            page.goto("/my-animals/")  # whatever it was doing is cut off
        person, on = page.evaluate("document.body.dataset.person"), start.date().isoformat()
        page.context.set_offline(seed.random() < 0.4)
        page.evaluate(ADD, [person, f"/patients/{seed.choice(cases)}/today/send/", on, f"storm {key}", moments])
        written += many
        page.evaluate("sendReports() && null")
        if rounds % 5 == 4:
            hospital.kill()
            killed += 1
            hospital.start()
    for _key, page, _cases in places:
        page.context.set_offline(False)
        page.context.unroute_all()
        page.goto("/my-animals/")
        until = time.monotonic() + 240
        while page.evaluate("Outbox.counts(document.body.dataset.person).then((each) => each.waiting + each.refused)"):
            page.evaluate("sendReports()")
            assert time.monotonic() < until, "something never arrived"

    rows = stored(hospital, "storm %")

    assert killed >= 2
    assert len(rows) == len({key for key, *_ in rows}) == REPORTS
    assert [row[1] for row in rows] == sorted(row[1] for row in rows)
    for _key, page, _cases in places:
        held = page.evaluate("Outbox.all().then((all) => all.filter((row) => row.state === 'stored').map((row) => row.key))")
        author = int(page.evaluate("document.body.dataset.person"))
        assert {uuid.UUID(key) for key in held} >= {uuid.UUID(key) for key, _made, _received, by in rows if by == author}
        page.context.close()
