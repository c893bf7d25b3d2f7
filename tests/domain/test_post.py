"""When a letter may go. The clocks of Europe/London: forward on 28 March 2027, 01:00 UTC; back on 31 October 2027, 01:00 UTC
(IANA time zone database, read through the standard library's zoneinfo)."""

from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.hours import is_within, next_showing
from hospital.rules.post import PAUSES, may_go_at, next_try_after

LONDON = ZoneInfo("Europe/London")
NIGHT = (time(21), time(7))
MOMENTS = st.integers(0, 2 * 366 * 1440).map(lambda minutes: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes))
WALLS = st.integers(0, 1439).map(lambda minutes: time(*divmod(minutes, 60)))


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def test_a_letter_by_day_goes_at_once():
    assert may_go_at(at("2027-01-05 12:00"), LONDON, *NIGHT) == at("2027-01-05 12:00")


@pytest.mark.parametrize("asked", ["2027-01-05 21:00", "2027-01-05 23:59", "2027-01-06 00:00", "2027-01-06 06:59"])
def test_a_letter_at_night_waits_for_the_morning_on_both_sides_of_midnight(asked):
    assert may_go_at(at(asked), LONDON, *NIGHT) == at("2027-01-06 07:00")


def test_quiet_hours_are_those_of_the_hospitals_clocks_in_summer():
    assert may_go_at(at("2027-07-05 20:30"), LONDON, *NIGHT) == at("2027-07-06 06:00")


def test_the_night_on_which_the_clocks_go_forward_ends_an_hour_earlier():
    assert may_go_at(at("2027-03-27 22:00"), LONDON, *NIGHT) == at("2027-03-28 06:00")


def test_the_night_on_which_the_clocks_go_back_ends_an_hour_later():
    assert may_go_at(at("2027-10-30 22:00"), LONDON, *NIGHT) == at("2027-10-31 07:00")


def test_an_end_that_the_clocks_skip_is_over_when_they_have_skipped_it():
    waited = may_go_at(at("2027-03-28 00:30"), LONDON, time(0), time(1, 30))

    assert waited == at("2027-03-28 01:30")


def test_an_end_that_the_clocks_show_twice_still_lies_ahead_in_the_second_hour():
    second_one_o_clock = at("2027-10-31 01:00")

    assert may_go_at(second_one_o_clock, LONDON, time(0), time(1, 30)) == at("2027-10-31 01:30")


def test_somebody_without_quiet_hours_is_written_to_at_any_hour():
    assert may_go_at(at("2027-01-06 03:00"), LONDON, None, None) == at("2027-01-06 03:00")


@given(MOMENTS, WALLS, WALLS, st.sampled_from(["Europe/London", "Australia/Lord_Howe", "Asia/Kathmandu", "America/St_Johns"]))
def test_a_letter_waits_at_most_a_day_and_an_hour_and_then_may_go(asked, starts, ends, zone):
    allowed = may_go_at(asked, ZoneInfo(zone), starts, ends)

    assert asked <= allowed <= asked + timedelta(hours=25)
    is_skipped = allowed != asked and allowed.astimezone(ZoneInfo(zone)).time() != ends
    assert allowed == asked or starts == ends or is_skipped or not is_within(allowed.astimezone(ZoneInfo(zone)).time(), starts, ends)


@given(MOMENTS, WALLS)
def test_the_next_moment_that_a_clock_shows_a_time_lies_ahead(after, wall):
    shown = next_showing(wall, after, LONDON)

    assert after < shown <= after + timedelta(hours=25)


def test_tries_come_later_and_later_and_end():
    pauses = [next_try_after(tries) for tries in range(1, len(PAUSES) + 2)]

    assert pauses[-1] is None
    assert all(first < second for first, second in pairwise(pauses[:-1]))
    assert sum(pauses[:-1], timedelta()) < timedelta(days=2)
