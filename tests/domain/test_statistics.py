"""Shares and time in care against published values, R and scipy."""

from __future__ import annotations

import math
import random
import warnings

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from hospital.rules.statistics import Days, at_day, course, median_days, share

# --- shares ---


@pytest.mark.parametrize(
    ("some", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilsons_interval_is_that_of_newcombe_1998_table_1_method_3(some, total, low, high):
    """Statistics in Medicine 17:857-872; the table from memory, confirmed by scipy below."""
    found = share(some, total)

    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)


def test_wilsons_interval_is_that_of_a_statistics_help_pages_example():
    """statulator.com, "Confidence interval for a single proportion", worked example: 12 of 150."""
    found = share(12, 150)

    assert (found.low, found.high) == pytest.approx((0.046, 0.135), abs=5e-4)


@given(st.integers(1, 5000).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total))))
def test_wilsons_interval_is_scipys(pair):
    some, total = pair

    found, theirs = share(some, total), stats.binomtest(some, total).proportion_ci(method="wilson")

    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    assert found.low <= found.value <= found.high


def test_a_share_of_nothing_is_none_and_one_of_too_many_is_refused():
    assert share(0, 0) is None

    for wrong in [(3, 2), (-1, 4), (0, -1)]:
        with pytest.raises(ValueError, match="no share"):
            share(*wrong)


# --- one ending ---

# Freireich et al. 1963, weeks of remission on 6-mercaptopurine and on placebo (Blood 21:699), from memory and the same as
# MASS::gehan in R. A remission that goes on (here None) in the week of another's end was under watch in that week.
TREATED = [(6, "x")] * 3 + [(t, "x") for t in (7, 10, 13, 16, 22, 23)] + [(t, None) for t in (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)]
PLACEBO = [(t, "x") for t in (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)]


def test_freireichs_patients_stay_in_remission_as_published():
    steps = course(TREATED)

    assert [(step.day, step.at_risk) for step in steps] == [(6, 21), (7, 17), (10, 15), (13, 12), (16, 11), (22, 7), (23, 6)]
    expected = [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179]
    assert [step.still.value for step in steps] == pytest.approx(expected, abs=1e-6)


def test_half_of_freireichs_patients_have_relapsed_by_week_23_or_8():
    """Medians as published. The ends of the intervals are those of R 4.2.2, survival 3.5-3, conf.type = "log-log"."""
    assert median_days(course(TREATED)) == Days(23, 13, None)
    assert median_days(course(PLACEBO)).value == 8


# --- several endings ---

# Cases made up; what is expected of them was worked out by R 4.2.2 with survival 3.5-3:
#   summary(survfit(Surv(days, factor(end, c("c", "d", "e", "r"))) ~ 1, conf.type = "log-log"))
# "c" goes on. Ties between endings, and between an ending and a case that goes on, are on purpose.
DAYS = (0, 1, 1, 2, 2, 2, 3, 5, 5, 8, 8, 8, 12, 12, 15, 20, 20, 20, 31, 31, 40, 40, 55, 60, 60, 75, 90, 90, 120, 130)
ENDS = "d d e d d e r e c r r d r c r r r d r c r r d r r c r c r c".replace(" ", "")
CASES = [(day, None if end == "c" else end) for day, end in zip(DAYS, ENDS, strict=True)]
BY_R = {  # day: at risk, still, dead, euthanased, released, then the interval of released
    3: (24, 0.76666666667, 0.13333333333, 0.06666666667, 0.03333333333, 0.002494567194, 0.1451380673),
    8: (21, 0.62857142857, 0.16825396825, 0.1, 0.10317460317, 0.026217686955, 0.2424935403),
    20: (15, 0.44523809524, 0.20535714286, 0.1, 0.24940476190, 0.110220756188, 0.4170859446),
    60: (7, 0.20406746032, 0.24617063492, 0.1, 0.44976190476, 0.259497719216, 0.6229547786),
    120: (2, 0.07652529762, 0.24617063492, 0.1, 0.57730406746, 0.356599337875, 0.7462389061),
}
STILL_BY_R = {1: (0.721192902258, 0.9666070370), 20: (0.260243442569, 0.6148559246), 120: (0.007140134799, 0.2627332318)}


@pytest.mark.parametrize("day", BY_R)
def test_the_chances_of_several_endings_are_those_of_r(day):
    step = at_day(course(CASES), day)

    ended = {end: step.ended[end].value for end in "der"}
    found = (step.at_risk, step.still.value, *ended.values(), step.ended["r"].low, step.ended["r"].high)
    assert found == pytest.approx(BY_R[day], abs=1e-9)


@pytest.mark.parametrize("day", STILL_BY_R)
def test_the_interval_of_those_who_stay_is_that_of_r(day):
    still = at_day(course(CASES), day).still

    assert (still.low, still.high) == pytest.approx(STILL_BY_R[day], abs=1e-9)


def test_the_median_and_its_interval_are_those_of_r():
    assert median_days(course(CASES)) == Days(20, 8, 55)


durations = st.lists(st.tuples(st.integers(0, 60), st.sampled_from([None, "died", "released", "held"])), min_size=1, max_size=80)


@given(durations)
def test_with_one_ending_the_curve_is_scipys(cases):
    ended = [day for day, end in cases if end]
    going_on = [day for day, end in cases if not end]
    if not ended:
        assert course(cases) == []
        return
    theirs = stats.ecdf(stats.CensoredData(uncensored=numpy.array(ended), right=numpy.array(going_on))).sf

    steps = course([(day, end and "x") for day, end in cases])

    for step in steps:
        assert step.still.value == pytest.approx(float(theirs.evaluate(step.day)), abs=1e-12)
        if 0 < step.still.value < 1 - 1e-12:
            low, high = (float(each.evaluate(step.day)) for each in _ends(theirs))
            assert (step.still.low, step.still.high) == pytest.approx((low, high), abs=1e-9)


def _ends(curve):
    with numpy.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # scipy says that it has none at 0 and 1, where we ask for none
        found = curve.confidence_interval(0.95, method="log-log")
    return found.low, found.high


@given(durations)
def test_whoever_is_still_there_and_all_endings_make_up_the_whole(cases):
    for step in course(cases):
        assert step.still.value + sum(each.value for each in step.ended.values()) == pytest.approx(1, abs=1e-12)
        assert all(each.low is None or each.low <= each.value <= each.high for each in step.ended.values())


@given(durations.filter(lambda cases: all(end for _, end in cases)))
def test_when_all_have_ended_the_chances_are_plain_shares(cases):
    steps = course(cases)

    for end in {end for _, end in cases}:
        by_then = sum(1 for day, own in cases if own == end and day <= 30)
        step = at_day(steps, 30)
        assert (step.ended[end].value if step else 0) == pytest.approx(by_then / len(cases), abs=1e-12)


def test_the_chance_by_a_day_covers_the_truth_nineteen_times_in_twenty():
    """A world in which each animal is released at a rate of 3 % a day and dies at 1 %: by day 20 so many are released."""
    rng, truth, held = random.Random("coverage"), 0.75 * (1 - math.exp(-0.04 * 20)), 0
    for _ in range(400):
        cases = []
        for _ in range(60):
            day, watched = rng.expovariate(0.04), rng.uniform(10, 60)
            cases.append((round(min(day, watched) * 1000), ("released" if rng.random() < 0.75 else "died") if day < watched else None))
        found = at_day(course(cases), 20_000).ended["released"]
        held += found.low <= truth <= found.high

    assert 0.92 <= held / 400 <= 0.98


def test_less_than_no_days_is_refused():
    with pytest.raises(ValueError, match="less than no days"):
        course([(-1, None)])
