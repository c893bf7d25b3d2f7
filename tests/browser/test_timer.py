"""The water timer: nothing that happens to a phone may lengthen the time in the water or lose it."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, email_of, needs_a_day_before_it_is_over, sign_in

pytestmark = pytest.mark.xdist_group("offline")  # with a demonstration in which nobody has reported yet

SUMS = Path(__file__).resolve().parents[2] / "handover" / "static" / "handover" / "watertime.js"
MINUTE = 60_000
AT_NINE = 1_800_000_000_000  # a moment; only differences count


# --- the sums ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sums(chromium):
    page = chromium.new_page()
    page.add_script_tag(content=SUMS.read_text())
    yield lambda *said: page.evaluate("said => WaterTime.read(...said)", list(said))
    page.close()


def run(**more) -> dict:
    return {"started_at": AT_NINE, "allowed_ms": 20 * MINUTE, "seen_ms": 0} | more


@pytest.mark.parametrize(("minutes_on", "state"), [(0, "running"), (18.9, "running"), (19.1, "soon"), (20, "over"), (45, "over")])
def test_the_end_is_the_start_and_the_minutes_allowed(sums, minutes_on, state):
    now = sums(run(), AT_NINE + minutes_on * MINUTE, minutes_on * MINUTE)

    assert now["state"] == state
    assert now["out_at"] == AT_NINE + 20 * MINUTE
    assert now["minutes"] == round(minutes_on)


def test_a_page_that_was_away_reads_the_start_again(sums):
    """The steady clock of a new page begins at nothing; the kept start says how long it has been."""
    now = sums(run(seen_ms=3 * MINUTE), AT_NINE + 12 * MINUTE, 0)

    assert now["minutes"] == 12
    assert not now["is_doubtful"]


def test_a_clock_that_is_set_back_lengthens_nothing(sums):
    while_watched = sums(run(), AT_NINE - 50 * MINUTE, 10 * MINUTE)
    after_a_restart = sums(run(seen_ms=10 * MINUTE), AT_NINE - 50 * MINUTE, 2 * MINUTE)

    assert (while_watched["minutes"], while_watched["is_doubtful"]) == (10, True)
    assert while_watched["out_at"] == AT_NINE - 50 * MINUTE + 10 * MINUTE  # ten minutes on, by the clock as it is now
    assert (after_a_restart["minutes"], after_a_restart["is_doubtful"]) == (12, True)


def test_a_clock_that_is_set_on_takes_it_out_early_and_never_late(sums):
    assert sums(run(), AT_NINE + 90 * MINUTE, 2 * MINUTE)["state"] == "over"


def test_a_start_of_yesterday_fills_in_no_minutes(sums):
    now = sums(run(), AT_NINE + 13 * 60 * MINUTE, 0)

    assert now["state"] == "over"
    assert now["is_forgotten"]
    assert now["minutes"] is None


# --- on a phone -------------------------------------------------------------------------------------------------------


@pytest.fixture
def phone(chromium, demo, people):
    """Dilys Marrow's phone, on which the clock obeys and what the phone would do is written down."""
    context = chromium.new_context(viewport=PHONE, base_url=demo, locale="en-GB", timezone_id="Europe/London", service_workers="block")
    page = context.new_page()
    page.add_init_script("navigator.vibrate = (pattern) => { (self.shaken ||= []).push(pattern); return true; };")
    page.clock.install(time=datetime.now(UTC))
    sign_in(page, email_of(people, "dilys"), people["password"])
    yield page
    context.close()


def case_numbers(page: Page) -> list[str]:
    page.goto("/my-animals/")
    return [each.get_attribute("id").removeprefix("animal-") for each in page.locator("section[id^=animal-]").all()]


def in_water_time(page: Page) -> list[str]:
    """Those of the carer's animals that may be in the water for some minutes today."""
    found = []
    for case in case_numbers(page):
        open_day(page, case)
        found += [case] if page.locator("[data-timer]:not([hidden])").count() else []
    return found


def allowed(page: Page) -> int:
    timer = page.locator("[data-timer]")
    return int(timer.get_attribute("data-minutes")) - int(timer.get_attribute("data-used"))


def open_day(page: Page, case: str) -> None:
    page.goto(f"/patients/{case}/today/")


def start(page: Page) -> None:
    needs_a_day_before_it_is_over(page.get_by_role("button", name="Send another report").count() == 0)
    page.get_by_role("button", name="Start: into the water").click()
    expect(page.get_by_role("button", name="Stop: out of the water")).to_be_visible()


def test_it_survives_a_reload_and_a_killed_page_and_fills_in_the_minutes(phone):
    case = in_water_time(phone)[0]
    open_day(phone, case)
    minutes = allowed(phone)
    start(phone)
    expect(phone.locator("[data-say]")).to_have_text(re.compile(r"Take it out at \d\d:\d\d\."))
    out_at = phone.locator("[data-say]").inner_text()

    phone.clock.fast_forward(4 * MINUTE)
    phone.reload()
    expect(phone.locator("[data-say]")).to_have_text(out_at)
    phone.goto("about:blank")
    phone.clock.fast_forward(2 * MINUTE)
    open_day(phone, case)
    expect(phone.locator("[data-clock]")).to_have_text(re.compile(r"6:\d\d"))
    phone.get_by_role("button", name="Stop: out of the water").click()

    expect(phone.get_by_label("Minutes in water")).to_have_value("6")
    phone.reload()  # stopped, not sent yet
    expect(phone.get_by_label("Minutes in water")).to_have_value("6")
    assert minutes > 6


def test_it_says_when_time_is_up_and_shakes_the_phone(phone):
    open_day(phone, in_water_time(phone)[0])
    minutes = allowed(phone)
    start(phone)
    assert "may not ring: set its own alarm" in phone.locator("[data-awake]").inner_text()

    phone.clock.run_for((minutes * 60 - 30) * 1000)
    expect(phone.locator("[data-say]")).to_contain_text("less than a minute left")
    assert phone.evaluate("self.shaken") is None
    phone.clock.run_for(MINUTE)

    expect(phone.locator("[data-say]")).to_have_text("Time is up: take it out now.")
    assert phone.evaluate("self.shaken.length") >= 1


def test_a_clock_that_somebody_sets_back_does_not_keep_it_in_the_water(phone):
    open_day(phone, in_water_time(phone)[0])
    minutes = allowed(phone)
    start(phone)
    phone.clock.run_for(MINUTE)
    phone.evaluate("""() => { const real = Date.now; Date.now = () => real() - 3600000; }""")

    phone.clock.run_for(minutes * MINUTE)

    expect(phone.locator("[data-say]")).to_have_text("Time is up: take it out now.")
    phone.get_by_role("button", name="Stop: out of the water").click()
    expect(phone.locator("[data-say]")).to_contain_text("The clock of this phone was changed")


def test_two_animals_at_once_are_both_called_out(phone):
    """The demonstration's carers have one swimmer each, so the second one's start is kept here as its page keeps it."""
    first = in_water_time(phone)[0]
    second = next(each for each in case_numbers(phone) if each != first)
    open_day(phone, first)
    start(phone)
    phone.evaluate("""([first, second]) => {
      const name = Object.keys(localStorage).find((each) => each.endsWith(first));
      const run = JSON.parse(localStorage.getItem(name));
      const another = { ...run, animal: "Another", page: run.page.replace(first, second), allowed_ms: run.allowed_ms / 2 };
      localStorage.setItem(name.replace(first, second), JSON.stringify(another));
    }""", [first, second])  # fmt: skip
    expect(phone.locator("#in-water a")).to_contain_text("Another is in the water. Take it out at")

    phone.goto("/my-animals/")
    expect(phone.locator("#in-water a")).to_have_count(2)
    phone.clock.fast_forward(10 * 60 * MINUTE)

    assert all("take it out of the water now" in words for words in phone.locator("#in-water a").all_inner_texts())
    phone.locator(f"#in-water a[href*='{first}']").click()
    expect(phone.get_by_role("button", name="Stop: out of the water")).to_be_visible()


def test_minutes_that_are_used_or_written_already_are_not_given_again(phone):
    open_day(phone, in_water_time(phone)[0])
    minutes = allowed(phone)
    phone.get_by_label("Minutes in water").fill(str(minutes - 5))
    started = datetime.now(UTC)
    start(phone)
    out_at = re.search(r"\d\d:\d\d", phone.locator("[data-say]").inner_text())[0]
    phone.get_by_role("button", name="Stop: out of the water").click()
    phone.get_by_label("Minutes in water").fill(str(minutes))

    phone.get_by_role("button", name="Start: into the water").click()

    expect(phone.locator("[data-say]")).to_contain_text("It stays out of the water")
    expect(phone.get_by_role("button", name="Stop: out of the water")).to_be_hidden()
    soonest, latest = started + timedelta(minutes=4), datetime.now(UTC) + timedelta(minutes=6)
    local = phone.evaluate("moments => moments.map(at => new Date(at).toLocaleTimeString('en-GB', {hour: '2-digit', minute: '2-digit'}))",
                           [soonest.isoformat(), latest.isoformat()])  # fmt: skip
    assert local[0] <= out_at <= local[1] or local[0] > local[1]  # or past midnight
