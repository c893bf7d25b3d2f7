"""The treatment sheet's sums: each planned moment once, in one state; nights, and the two changes of the clock."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.sheet import GRACE, LATE_UNTIL, State, Written, entries, hours, meal_moments, meal_times, shift_of, state_at

ZONE = ZoneInfo("Europe/Berlin")
AT = datetime(2027, 1, 5, 12, tzinfo=ZONE)


@pytest.mark.parametrize(
    ("minutes_ago", "state"),
    [(-1, State.COMING), (0, State.DUE), (59, State.DUE), (60, State.LATE), (359, State.LATE), (360, State.MISSED)],
)
def test_what_nobody_wrote_of_is_coming_due_late_or_missed(minutes_ago, state):
    assert state_at(AT - timedelta(minutes=minutes_ago), AT) is state


def test_the_first_written_answers_the_first_planned():
    due = [AT - timedelta(hours=12), AT, AT + timedelta(hours=12)]
    written = [Written(State.REFUSED, AT), Written(State.GIVEN, AT - timedelta(hours=11))]

    assert [each.state for each in entries(due, written, AT)] == [State.GIVEN, State.REFUSED, State.COMING]


moments = st.integers(-3000, 3000).map(lambda minutes: AT + timedelta(minutes=minutes))
kinds = st.sampled_from([State.GIVEN, State.REFUSED, State.MISSED])
written_lists = st.lists(st.builds(Written, kinds, moments, key=st.integers(1, 99)), max_size=6)
ZONES = ["Europe/Berlin", "Australia/Sydney", "America/New_York", "Asia/Kathmandu"]
LAWS = settings(max_examples=80, deadline=None)


@LAWS
@given(st.lists(moments, max_size=8), written_lists, st.randoms(use_true_random=False))
def test_every_planned_moment_stands_once_and_the_order_of_what_was_written_does_not_matter(due, written, random):
    planned = sorted(due)
    found = entries(planned, written, AT)
    shuffled = entries(planned, random.sample(written, len(written)), AT)

    assert [each.due_at for each in found] == planned
    assert sum(each.written is not None for each in found) == min(len(planned), len(written))
    if len({(each.at, each.key) for each in written}) == len(written):
        assert shuffled == found


@LAWS
@given(moments, st.timedeltas(timedelta(0), timedelta(hours=20)), st.timedeltas(timedelta(0), timedelta(hours=20)))
def test_time_only_ever_moves_a_state_on(due, first, more):
    order = [State.COMING, State.DUE, State.LATE, State.MISSED]
    earlier, later = state_at(due, due - GRACE + first), state_at(due, due - GRACE + first + more)

    assert order.index(earlier) <= order.index(later)


# The days on which these zones change their clocks are checked against dateutil, an independent reader of the zone data.
CHANGES = [
    ("Europe/Berlin", date(2027, 3, 28), 11), ("Europe/Berlin", date(2027, 10, 31), 13), ("Australia/Sydney", date(2027, 4, 4), 13),
    ("Australia/Sydney", date(2027, 10, 3), 11), ("Europe/Berlin", date(2027, 7, 1), 12),
]  # fmt: skip


@pytest.mark.parametrize(("name", "on", "expected"), CHANGES)
def test_a_night_has_as_many_hours_as_pass(name, on, expected):
    starts_at, ends_at = shift_of(on - timedelta(days=1), 20, 8, ZoneInfo(name))
    found = hours(starts_at, ends_at)
    other = tz.gettz(name)
    until, since = datetime.combine(on, time(8), other), datetime.combine(on - timedelta(days=1), time(20), other)
    passed = until.astimezone(UTC) - since.astimezone(UTC)

    assert len(found) == expected == passed / timedelta(hours=1)
    assert sum(each.is_again for each in found) == (1 if expected == 13 else 0)
    labels = [each.starts_at.hour for each in found]
    assert (2 not in labels) == (expected == 11)
    assert labels.count(2) == {11: 0, 12: 1, 13: 2}[expected]


@LAWS
@given(st.integers(0, 400), st.sampled_from(ZONES), st.integers(0, 1439))
def test_every_moment_of_a_day_lies_in_one_hour_of_its_sheet(day, name, minute):
    zone = ZoneInfo(name)
    starts_at, ends_at = shift_of(date(2027, 1, 1) + timedelta(day), 8, 8, zone)
    moment = (starts_at.astimezone(UTC) + timedelta(minutes=minute)).astimezone(zone)
    found = hours(starts_at, ends_at)

    if moment.astimezone(UTC) < ends_at.astimezone(UTC):
        assert sum(hour.holds(moment) for hour in found) == 1
    assert all(a.ends_at == b.starts_at for a, b in zip(found, found[1:], strict=False))


@pytest.mark.parametrize(
    ("times", "clock"),
    [(1, ["09:00"]), (2, ["08:00", "20:00"]), (3, ["08:00", "14:00", "20:00"]), (4, ["08:00", "12:00", "16:00", "20:00"])],
)
def test_meals_have_their_times(times, clock):
    assert [f"{each:%H:%M}" for each in meal_times(times)] == clock


@LAWS
@given(st.integers(1, 24))
def test_so_many_meals_a_day_have_so_many_times_in_order(times):
    found = meal_times(times)

    assert len(set(found)) == times
    assert list(found) == sorted(found)


@pytest.mark.parametrize("times", [0, 25])
def test_no_meals_and_too_many_are_refused(times):
    with pytest.raises(ValueError, match="Between 1 and 24"):
        meal_times(times)


def test_every_third_day_is_counted_from_the_first_meal_and_a_night_joins_two_days():
    starts_at, ends_at = datetime(2027, 1, 4, 20, tzinfo=ZONE), datetime(2027, 1, 8, 8, tzinfo=ZONE)

    fed = meal_moments(1, 3, date(2027, 1, 3), starts_at, ends_at)

    assert fed == (datetime(2027, 1, 6, 9, tzinfo=ZONE),)


def test_what_is_due_as_the_clock_goes_forward_is_not_lost():
    """02:30 does not exist on that day: it moves on by the skipped hour (RFC 5545, section 3.3.5)."""
    starts_at, ends_at = shift_of(date(2027, 3, 27), 20, 8, ZONE)

    fed = meal_moments(16, 1, date(2027, 1, 1), starts_at, ends_at)

    assert len(fed) == len([each for each in meal_times(16) if each >= time(20) or each < time(8)])
    assert all(starts_at <= each < ends_at for each in fed)


def test_the_bounds_are_an_hour_and_six():
    assert (GRACE, LATE_UNTIL) == (timedelta(hours=1), timedelta(hours=6))
