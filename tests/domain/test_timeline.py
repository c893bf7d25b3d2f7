"""Where everything of a plan lies on its picture."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.plans.timeline import LABELS, LONGEST_LABEL, WIDTH, Entry, timeline
from handover.schedule.problem import Closed

MONDAY = date(2027, 3, 1)
offsets = st.integers(0, 400)


def drawn(*entries, visits=(), closed=None):
    return timeline(entries, visits, MONDAY, closed or {})


def entry(on=10, opens=5, closes=15, label="Recheck", **fields):
    days = {name: MONDAY + timedelta(n) for name, n in (("on", on), ("opens", opens), ("closes", closes))}
    return Entry(label=label, state="coming", **days, **fields)


@given(st.lists(st.tuples(offsets, offsets, offsets).map(sorted), min_size=1, max_size=12))
def test_every_dot_lies_on_its_bar_and_everything_on_the_picture(days):
    picture = drawn(*(entry(on, opens, closes) for opens, on, closes in days))

    for line in picture.lines:
        assert line.window.x <= line.on_x <= line.window.x + line.window.width
        assert LABELS <= line.window.x
        assert line.window.x + line.window.width <= WIDTH
        assert picture.top < line.y < picture.height


@given(offsets, offsets)
def test_later_days_lie_further_right(one, other):
    first, second = drawn(entry(one, 0, 400), entry(other, 0, 400)).lines

    assert (first.on_x <= second.on_x) == (one <= other) or first.on_x == second.on_x


def test_closed_days_next_to_each_other_are_one_stripe():
    weekend = {"clinic": Closed(frozenset({5, 6}))}
    longer = {"clinic": Closed(frozenset({5, 6}), frozenset({date(2027, 3, 8)}))}

    assert len(drawn(entry(), closed=longer).closed) == len(drawn(entry(), closed=weekend).closed)
    assert drawn(entry(), closed=longer).closed[0].width == drawn(entry(), closed=weekend).closed[0].width


def test_a_season_is_a_band_in_its_row():
    (line,) = drawn(entry(season=(date(2027, 3, 5), date(2027, 3, 20)))).lines

    assert line.season.x <= line.on_x <= line.season.x + line.season.width


def test_what_was_due_long_ago_does_not_stretch_the_picture():
    picture = drawn(Entry("Old", MONDAY - timedelta(300), "late"), entry())

    assert picture.today.x - LABELS < 450


@pytest.mark.parametrize(
    ("label", "short"),
    [
        ("Recheck (no. 3)", "Recheck (no. 3)"),
        ("Bandage check and change · left hind limb (no. 12)", "Bandage check and change · left hin… (no. 12)"),
        ("Into the flight aviary or pre-release pen, for a long while", "Into the flight aviary or pre-release pen, f…"),
    ],
)
def test_a_long_label_keeps_the_number_that_tells_it_apart(label, short):
    (line,) = drawn(entry(label=label)).lines

    assert line.label == label
    assert line.short == short
    assert len(line.short) <= LONGEST_LABEL
