"""The five-minute grid, the chart of an anaesthetic, the ASA classes."""

from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.anaesthesia import PHYSICAL_STATUS, mark, marks, minutes_between, missed, next_check_at
from hospital.theatre.chart_svg import SHAPES, anaesthetic_chart
from tests.make import at

moments = st.datetimes()
NAMES = ("heart", "breaths", "spo2", "etco2", "temperature", "vaporiser", "oxygen")


def chart(**series):
    return anaesthetic_chart([(name, series.get(name, [])) for name in NAMES], [("A", at("2027-03-01 10:02"))])


def test_the_grid_has_a_mark_every_five_minutes_from_the_one_before_the_beginning():
    grid = marks(at("2027-03-01 10:02"), at("2027-03-01 10:19"))

    assert [f"{each:%H:%M}" for each in grid] == ["10:00", "10:05", "10:10", "10:15"]


@given(moments)
def test_a_mark_is_at_most_five_minutes_old_and_its_own_mark(moment):
    assert timedelta(0) <= moment - mark(moment) < timedelta(minutes=5)
    assert mark(mark(moment)) == mark(moment)


def test_marks_without_a_reading_are_missed_except_the_one_that_is_being_read():
    gone = missed(at("2027-03-01 10:00"), at("2027-03-01 10:17"), {at("2027-03-01 10:05")})

    assert [f"{each:%H:%M}" for each in gone] == ["10:00", "10:10"]


def test_the_next_look_counts_from_the_last_one():
    out, looked = at("2027-03-01 11:00"), at("2027-03-01 11:10")

    assert next_check_at(out, [], 15) == at("2027-03-01 11:15")
    assert next_check_at(out, [looked], 15) == at("2027-03-01 11:25")
    assert minutes_between(out, looked) == 10


# American Society of Anesthesiologists, Physical Status Classification System, as reprinted in Trials 2012;13:160, table 1: read.
@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("1", "A normal healthy patient"),
        ("2", "A patient with mild systemic disease"),
        ("3", "A patient with severe systemic disease"),
        ("4", "A patient with severe systemic disease that is a constant threat to life"),
        ("5", "A moribund patient who is not expected to survive without the operation"),
    ],
)
def test_the_classes_say_what_the_society_says(number, text):
    assert PHYSICAL_STATUS[number] == text


def test_a_chart_of_nothing_is_not_drawn():
    assert chart() is None


def test_the_highest_figure_lies_highest_and_the_lowest_lowest():
    read = [(at("2027-03-01 10:05"), 60), (at("2027-03-01 10:10"), 80), (at("2027-03-01 10:15"), 70)]

    (strip,) = chart(heart=read).strips

    assert [point.y for point in strip.points] == [strip.bottom, strip.top, strip.middle]
    assert (strip.low, strip.high) == (60, 80)


def test_a_figure_that_never_moves_lies_in_the_middle():
    (strip,) = chart(spo2=[(at("2027-03-01 10:05"), 97), (at("2027-03-01 10:10"), 97)]).strips

    assert {point.y for point in strip.points} == {strip.middle}


def test_a_missed_mark_breaks_the_line():
    read = [(at(f"2027-03-01 10:{minute}"), Decimal("31.5")) for minute in ("05", "10", "25", "30")]

    (strip,) = chart(temperature=read).strips

    assert len(strip.points) == 4
    assert [run.count(",") for run in strip.runs] == [2, 2]


def test_every_figure_keeps_its_own_sign_whatever_else_was_read():
    alone = chart(oxygen=[(at("2027-03-01 10:05"), 1)]).strips[0].shape

    assert len(set(SHAPES.values())) == len(NAMES)
    assert alone == SHAPES["ring"]


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 400)), min_size=1, max_size=40, unique_by=lambda pair: pair[0]))
def test_every_point_lies_inside_its_strip_and_time_runs_to_the_right(read):
    series = [(at("2027-03-01 10:00") + timedelta(minutes=5 * n), value) for n, value in sorted(read)]

    drawn = chart(heart=series)

    (strip,) = drawn.strips
    assert all(drawn.left <= point.x <= drawn.right and strip.top <= point.y <= strip.bottom for point in strip.points)
    assert [point.x for point in strip.points] == sorted({point.x for point in strip.points})
