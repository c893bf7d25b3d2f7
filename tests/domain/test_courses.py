"""Dose times against python-dateutil's recurrence rules, an independent reading of RFC 5545."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise, product
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import HOURLY, rrule
from dateutil.tz import resolve_imaginary
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.doses import doses_in_course
from hospital.rules.dosetimes import (
    LateDose,
    dose_times,
    is_too_soon,
    next_dose,
    remaining_times,
    washout_ends,
)

clock_face = datetime.fromisoformat

# One day before each change of time of 2027 (IANA tz database), in both hemispheres.
# Lord Howe moves by half an hour.
CHANGES = {
    "Europe/London": (clock_face("2027-03-27"), clock_face("2027-10-30")),
    "America/New_York": (clock_face("2027-03-13"), clock_face("2027-11-06")),
    "Australia/Sydney": (clock_face("2027-10-02"), clock_face("2027-04-03")),
    "America/Santiago": (clock_face("2027-09-04"), clock_face("2027-04-03")),
    "Australia/Lord_Howe": (clock_face("2027-10-02"), clock_face("2027-04-03")),
}
ALL_CHANGES = [(zone, start) for zone, starts in CHANGES.items() for start in starts]
LONDON = ZoneInfo("Europe/London")


def london(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2027, 5, day, hour, minute, tzinfo=LONDON)


@pytest.mark.parametrize(("zone", "day_before"), ALL_CHANGES)
def test_the_days_chosen_really_do_change_the_clock(zone, day_before):
    before, after = ((day_before + timedelta(days)).replace(tzinfo=ZoneInfo(zone)).utcoffset() for days in (0, 2))

    assert before != after


@pytest.mark.parametrize(("zone", "day_before"), ALL_CHANGES)
def test_doses_fall_where_a_recurrence_rule_puts_them(zone, day_before):
    for every_hours, hour in product((4, 6, 8, 12, 24, 36, 48, 72), (0, 2, 8, 20)):
        naive = day_before.replace(hour=hour, minute=15)

        ours = dose_times(naive.replace(tzinfo=ZoneInfo(zone)), every_hours, 9)

        rule = rrule(HOURLY, dtstart=naive, interval=every_hours, count=9)
        theirs = [resolve_imaginary(at.replace(tzinfo=ZoneInfo(zone))) for at in rule]
        assert [at.isoformat() for at in ours] == [at.isoformat() for at in theirs]


@pytest.mark.parametrize("every_hours", [12, 24, 48])
@pytest.mark.parametrize(("zone", "day_before"), ALL_CHANGES)
def test_a_change_of_time_moves_no_dose_on_the_clock_face(zone, day_before, every_hours):
    first_at = day_before.replace(hour=8, tzinfo=ZoneInfo(zone))

    hours = {at.hour for at in dose_times(first_at, every_hours, 6)}

    assert hours == ({8, 20} if every_hours == 12 else {8})


@pytest.mark.parametrize("every_hours", [1, 2, 3])
@pytest.mark.parametrize(("zone", "day_before"), ALL_CHANGES)
def test_short_intervals_count_elapsed_hours(zone, day_before, every_hours):
    first_at = day_before.replace(hour=22, tzinfo=ZoneInfo(zone))

    times = [at.astimezone(UTC) for at in dose_times(first_at, every_hours, 8)]

    gaps = {later - earlier for earlier, later in pairwise(times)}
    assert gaps == {timedelta(hours=every_hours)}


def test_a_clock_time_that_is_skipped_is_moved_on_and_the_next_dose_is_not():
    first_at = datetime(2027, 3, 27, 1, 30, tzinfo=LONDON)

    assert [at.strftime("%d %H:%M") for at in dose_times(first_at, 24, 3)] == [
        "27 01:30",
        "28 02:30",
        "29 01:30",
    ]


def test_a_clock_time_that_comes_twice_means_the_first():
    first_at = datetime(2027, 10, 30, 1, 30, tzinfo=LONDON)

    assert dose_times(first_at, 24, 2)[1].utcoffset() == timedelta(hours=1)


def test_a_dose_every_hour_is_twenty_four_a_day():
    assert doses_in_course(1, 1) == len(dose_times(london(3, 8), 1, 24)) == 24


def test_a_course_of_one_dose_is_that_dose():
    assert dose_times(london(3, 8), 12, 1) == (london(3, 8),)


def test_a_late_dose_shifts_the_others_only_if_the_rule_of_the_drug_says_so():
    given_at = [london(3, 8), london(3, 23)]  # the second was due at 20:00

    kept = remaining_times(london(3, 8), 12, 4, given_at, LateDose.KEEP_TIMES)
    shifted = remaining_times(london(3, 8), 12, 4, given_at, LateDose.SHIFT)

    assert kept == (london(4, 8), london(4, 20))
    assert shifted == (london(4, 11), london(4, 23))


def test_a_dose_given_early_or_missed_shifts_nothing():
    given_at = [london(3, 7, 30), None]

    assert remaining_times(london(3, 8), 12, 4, given_at, LateDose.SHIFT) == (london(4, 8), london(4, 20))


def test_doses_that_are_late_again_and_again_shift_again_and_again():
    given_at = [london(3, 9), london(3, 22)]  # one hour late, then one more

    assert remaining_times(london(3, 8), 12, 3, given_at, LateDose.SHIFT) == (london(4, 10),)


def test_a_dose_is_late_by_the_times_as_shifted_before():
    given_at = [london(3, 8), london(3, 21), london(4, 10)]  # due 08:00, 20:00, then 09:00

    assert remaining_times(london(3, 8), 12, 4, given_at, LateDose.SHIFT) == (london(4, 22),)


def test_a_dose_on_time_after_a_shift_shifts_no_further():
    given_at = [london(3, 9), london(3, 21)]

    assert remaining_times(london(3, 8), 12, 3, given_at, LateDose.SHIFT) == (london(4, 9),)


@pytest.mark.parametrize("every_hours", [8, 12, 24, 72])
@pytest.mark.parametrize(("zone", "day_before"), ALL_CHANGES)
def test_doses_after_a_late_one_follow_it_on_the_clock_face_over_a_change_of_time(zone, day_before, every_hours):
    """The second dose comes 95 minutes late; the rest recur from it as a recurrence rule would put them, or from the first."""
    first_at = day_before.replace(hour=7) - timedelta(hours=every_hours)
    late = day_before.replace(hour=8, minute=35)
    in_zone = [at.replace(tzinfo=ZoneInfo(zone)) for at in (first_at, late)]

    for rule, start, skipped in ((LateDose.SHIFT, late, 1), (LateDose.KEEP_TIMES, first_at, 2)):
        ours = remaining_times(in_zone[0], every_hours, 6, in_zone, rule)

        recurring = rrule(HOURLY, dtstart=start, interval=every_hours, count=4 + skipped)
        theirs = [resolve_imaginary(at.replace(tzinfo=ZoneInfo(zone))) for at in recurring]
        assert [at.isoformat() for at in ours] == [at.isoformat() for at in theirs[skipped:]]


def test_a_dose_is_late_from_the_first_minute():
    on_time, late = ([at] for at in (london(3, 8), london(3, 8, 1)))

    assert remaining_times(london(3, 8), 12, 2, on_time, LateDose.SHIFT) == (london(3, 20),)
    assert remaining_times(london(3, 8), 12, 2, late, LateDose.SHIFT) == (london(3, 20, 1),)


def test_a_dose_before_its_time_over_a_change_of_the_clock_is_not_late():
    """By the clock 08:00 is an hour before 09:00, though 24 hours after yesterday's 09:00 it is 10:00 in elapsed time."""
    first_at = datetime(2027, 3, 27, 9, tzinfo=LONDON)
    given_at = [first_at, datetime(2027, 3, 28, 8, tzinfo=LONDON)]

    assert remaining_times(first_at, 24, 3, given_at, LateDose.SHIFT) == (datetime(2027, 3, 29, 9, tzinfo=LONDON),)


def test_times_stored_in_utc_are_read_in_the_zone_of_the_course():
    given_at = [london(3, 9).astimezone(UTC)]

    assert remaining_times(london(3, 8), 12, 2, given_at, LateDose.SHIFT)[0].isoformat() == "2027-05-03T21:00:00+01:00"


def test_a_finished_course_has_no_doses_to_come():
    assert remaining_times(london(3, 8), 12, 1, [london(3, 8)], LateDose.KEEP_TIMES) == ()


def test_the_next_dose_is_worked_from_the_dose_given():
    assert next_dose(london(3, 9), 12) == london(3, 21)


@pytest.mark.parametrize(("minutes", "expected"), [(359, True), (360, False)])
def test_less_than_half_the_interval_between_two_doses_is_too_soon(minutes, expected):
    assert is_too_soon(london(3, 8), london(3, 8) + timedelta(minutes=minutes), 12) is expected


def test_washout_runs_in_elapsed_hours_over_a_change_of_time():
    last_dose_at = datetime(2027, 3, 27, 12, tzinfo=LONDON)

    ends = washout_ends(last_dose_at, Decimal(24), half_lives=1)

    assert ends.isoformat() == "2027-03-28T13:00:00+01:00"


@pytest.mark.parametrize(("zone", "day_before"), ALL_CHANGES)
def test_washout_is_as_long_in_every_zone_whatever_the_clock_does(zone, day_before):
    """Five half-lives of 35 hours are 175 hours (half-life: Cerreta et al. 2018, see fixtures/published/courses.toml)."""
    last_dose_at = day_before.replace(hour=20, tzinfo=ZoneInfo(zone))

    ends = washout_ends(last_dose_at, Decimal(35))

    assert ends.astimezone(UTC) - last_dose_at.astimezone(UTC) == timedelta(hours=175)
    assert ends.tzinfo == last_dose_at.tzinfo


def test_a_part_of_a_second_of_washout_is_a_whole_one():
    ends = washout_ends(london(3, 8), Decimal("0.0001"), half_lives=1)

    assert ends == london(3, 8) + timedelta(seconds=1)  # 0.36 s


@pytest.mark.parametrize(
    "nonsense",
    [
        lambda: dose_times(clock_face("2027-05-03T08:00"), 12, 2),
        lambda: dose_times(london(3, 8), 0, 2),
        lambda: dose_times(london(3, 8), 12, 0),
        lambda: remaining_times(london(3, 8), 12, 1, [None, None], LateDose.SHIFT),
        lambda: washout_ends(london(3, 8), Decimal(0)),
        lambda: washout_ends(london(3, 8), 13.5),
        lambda: washout_ends(london(3, 8), Decimal(24), half_lives=0),
        lambda: next_dose(clock_face("2027-05-03T08:00"), 12),
    ],
)
def test_nonsense_is_refused(nonsense):
    with pytest.raises(ValueError, match=r"\.$"):
        nonsense()


zones = st.sampled_from([ZoneInfo(zone) for zone in CHANGES])
moments = st.datetimes(clock_face("2020-01-01"), clock_face("2035-01-01"), timezones=zones).map(
    lambda at: at.astimezone(UTC).astimezone(at.tzinfo)
)  # no clock time that was skipped


@settings(max_examples=30, deadline=None)
@given(moments, st.integers(1, 96), st.integers(1, 30))
def test_the_doses_of_a_course_are_as_many_as_ordered_in_order_and_never_two_at_once(first_at, every_hours, count):
    times = [at.astimezone(UTC) for at in dose_times(first_at, every_hours, count)]

    assert len(times) == count
    assert all(later > earlier for earlier, later in pairwise(times))


@settings(max_examples=30, deadline=None)
@given(moments, st.integers(4, 96), st.integers(0, 6), st.sampled_from(LateDose))
def test_doses_given_on_time_leave_the_course_as_it_was(first_at, every_hours, done, late_dose):
    course = dose_times(first_at, every_hours, 8)

    assert remaining_times(first_at, every_hours, 8, course[:done], late_dose) == course[done:]
