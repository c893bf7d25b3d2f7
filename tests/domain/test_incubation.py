"""Thermal time against published values, a general numerical library, and laws that hold for every log."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.incubation import (
    PUBLISHED,
    Piece,
    Published,
    Rate,
    Stay,
    earliest_in,
    forecast,
    pieces_of,
    published_for,
    rates,
    total,
)

LAID = datetime(2027, 6, 1, 12, tzinfo=UTC)
D, DAY, HOUR = Decimal, timedelta(days=1), timedelta(hours=1)
# Mitchell et al. 2006, Frontiers in Zoology 3:9, Table 2: days to hatch of tuatara at constant temperatures (read).
TUATARA = Published(
    ("Sphenodon",), "reptile", ((D("18.3"), 263, 263), (D("20.9"), 182, 182), (D("22.1"), 160, 160), (D("23.1"), 152, 152)), (152, 263),
    "Mitchell et al. 2006, Frontiers in Zoology 3:9, Table 2", "read",
)  # fmt: skip


def days_at(temperature_c, published=TUATARA):
    found = forecast(LAID, LAID, [], D(temperature_c), published)
    return (found.earliest - LAID) / DAY, found.latest and (found.latest - LAID) / DAY


@pytest.mark.parametrize(("temperature_c", "days"), [("18.3", 263), ("20.9", 182), ("22.1", 160), ("23.1", 152)])
def test_at_a_published_temperature_it_takes_the_published_days(temperature_c, days):
    assert days_at(temperature_c) == (pytest.approx(days, abs=1e-4), pytest.approx(days, abs=1e-4))


def test_between_two_temperatures_the_rate_is_interpolated_not_the_days():
    """1 / mean of 1/182 and 1/160 is 170.29; the mean of the days would be 171."""
    assert days_at("21.5")[0] == pytest.approx(170.29, abs=0.005)


def test_nothing_is_extrapolated_below_the_coolest_published_temperature():
    earliest, latest = days_at("17.0")

    assert earliest == pytest.approx(263, abs=1e-4)  # no faster than at the coolest
    assert latest is None  # nor does anybody know that it ends


def test_degree_days_of_the_published_example():
    """University of California IPM, "A simple way to calculate degree-days": mean 64 °F above 53 °F is 11 a day (read)."""
    above_53 = Rate(((Fraction(53), Fraction(0)), (Fraction(100), Fraction(47))), Fraction(0))

    assert total([Piece(LAID, LAID + DAY, Fraction(64), Fraction(64))], above_53) == 11


def test_a_ramp_through_the_threshold_has_its_closed_form():
    """From 43 to 63 in a day: above 53 for half a day, by 5 on average."""
    above_53 = Rate(((Fraction(53), Fraction(0)), (Fraction(100), Fraction(47))), Fraction(0))

    assert total([Piece(LAID, LAID + DAY, Fraction(43), Fraction(63))], above_53) == Fraction(5, 2)


logs = st.lists(
    st.tuples(st.integers(0, 30 * 24).map(lambda h: LAID + h * HOUR), st.integers(170, 240).map(lambda t: D(t) / 10)),
    min_size=1, max_size=40, unique_by=lambda reading: reading[0],
)  # fmt: skip


def pieces(readings, target="21.0", days=30, bridge=timedelta(days=60)):
    return pieces_of(Stay(LAID, LAID + days * DAY, D(target), tuple(readings)), bridge)


@settings(max_examples=25, deadline=None)
@given(logs)
def test_the_sum_is_that_of_the_trapezium_rule_of_a_general_library(readings):
    """numpy on a grid of a minute, over the same straight lines."""
    fastest, _ = rates(TUATARA.at)
    ours = total(pieces(readings), fastest)

    minutes = numpy.arange(0, 30 * 1440 + 1)
    known = sorted(((at - LAID) / timedelta(minutes=1), float(c)) for at, c in readings)
    inside = numpy.interp(minutes, *zip(*known, strict=True))
    kept = numpy.where((minutes < known[0][0]) | (minutes > known[-1][0]), 21.0, inside)
    knots = [(float(c), 1 / fewest) for c, fewest, _most in TUATARA.at]
    there = numpy.trapezoid(numpy.interp(kept, *zip(*knots, strict=True)), minutes / 1440)

    assert float(ours) == pytest.approx(there, rel=2e-3)


@settings(max_examples=50, deadline=None)
@given(logs, st.randoms())
def test_the_order_in_which_readings_come_does_not_matter(readings, chance):
    shuffled = list(readings)
    chance.shuffle(shuffled)

    assert pieces(shuffled) == pieces(readings)


@settings(max_examples=50, deadline=None)
@given(logs, st.integers(1, 70), st.sampled_from(["18.3", "21.0", "23.1"]))
def test_warmer_never_hatches_later(readings, tenths, target):
    now = LAID + 30 * DAY
    warmer = [(at, c + D(tenths) / 10) for at, c in readings]
    before = forecast(LAID, now, pieces(readings, target), D(target), TUATARA)
    after = forecast(LAID, now, pieces(warmer, target), D(target), TUATARA)

    assert after.earliest <= before.earliest + timedelta(seconds=1)  # moments are rounded to the second
    assert after.latest <= before.latest + timedelta(seconds=1)


@settings(max_examples=50, deadline=None)
@given(st.integers(170, 240), st.integers(170, 240), st.integers(1, 9))
def test_a_reading_on_the_line_between_two_changes_nothing(first, last, tenth):
    """A line of ten hours, and the same line with one more reading on it."""
    ends = [(LAID, D(first) / 10), (LAID + 10 * HOUR, D(last) / 10)]
    between = (LAID + tenth * HOUR, (D(first) * (10 - tenth) + D(last) * tenth) / 100)

    for rate in rates(TUATARA.at):
        assert total(pieces(ends, days=1), rate) == total(pieces([*ends, between], days=1), rate)


def test_a_gap_of_more_than_twelve_hours_is_filled_by_the_target_and_said():
    readings = [(LAID, D("18.3")), (LAID + 12 * HOUR, D("18.3")), (LAID + 25 * HOUR, D("18.3"))]
    made = pieces_of(Stay(LAID, LAID + 25 * HOUR, D("23.1"), tuple(readings)))

    assert [(each.from_c, each.is_assumed) for each in made] == [(Fraction("18.3"), False), (Fraction("23.1"), True)]
    assert forecast(LAID, LAID + 25 * HOUR, made, D("23.1"), TUATARA).assumed_hours == 13


def test_a_stay_has_no_hole_and_no_overlap_whatever_its_log():
    readings = [(LAID - 3 * HOUR, D(20)), (LAID + 3 * HOUR, D(22)), (LAID + 40 * HOUR, D(21))]
    made = pieces_of(Stay(LAID, LAID + 30 * HOUR, D(21), tuple(readings)))

    assert (made[0].starts, made[-1].ends) == (LAID, LAID + 30 * HOUR)
    assert all(one.ends == other.starts for one, other in zip(made, made[1:], strict=False))
    assert made[0].from_c == 21  # halfway from 20 to 22


def test_the_softshell_hatches_within_its_published_days():
    """Oh & Kim 2017, Dev Reprod 21(1) (read): 53 to 55 days at 31.2 to 32.1 °C."""
    softshell = published_for("Pelodiscus sinensis")

    assert days_at("31.6", softshell) == (pytest.approx(53), pytest.approx(55))


def test_days_alone_are_not_moved_by_the_temperature():
    snapper = published_for("Chelydra serpentina")
    found = forecast(LAID, LAID + DAY, pieces([(LAID, D("18.0"))], days=1), D(28), snapper)

    assert (found.earliest - LAID, found.latest - LAID, found.done_percent) == (42 * DAY, 56 * DAY, None)


def test_a_species_without_figures_has_none_and_a_related_one_says_from_when_to_watch():
    assert published_for("Trachemys scripta") is None
    assert earliest_in(("turtle-freshwater", "chelonian")).names == ("Chelydra serpentina",)
    assert earliest_in(("waterbird",)) is None
    assert published_for("Emydura macquarii").days == (45, 75)  # by its genus


@pytest.mark.parametrize("published", PUBLISHED, ids=lambda each: each.source)
def test_every_figure_names_its_source_and_how_it_is_known(published):
    assert published.source
    assert published.how_known in ("read", "memory")
    assert published.days[0] <= published.days[1]


def test_figures_by_which_warmer_eggs_take_longer_are_refused():
    with pytest.raises(ValueError, match="warmer eggs never take longer"):
        Published(("x",), "y", ((D(20), 50, 60), (D(22), 55, 60)), (50, 60), "s", "read")
