"""Body weight: change, trend and alarm. Published figures are in tests/acceptance."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.weights import (
    ALARMS,
    Level,
    Weighing,
    WeightAlarm,
    alarm_for,
    calls_below_g,
    change_percent,
    g_from_pounds,
    gain_g_per_kg_per_day,
    good_for_days,
    has_changed,
    is_slip,
    is_stale,
    jackson_ratio,
    loss_percent,
    standing,
    trend_g_per_day,
)

D = Decimal
FIRST = date(2027, 3, 1)
WEEK_AND_MONTH = WeightAlarm("x", D(3), 7, D(8), 30, "", "")
ANY_AGE = WeightAlarm("x", D(5), None, D(10), None, "", "")


def weighed(*pairs: tuple[int, str]) -> list[Weighing]:
    return [Weighing(FIRST + timedelta(days), D(weight_g)) for days, weight_g in pairs]


def test_a_change_is_a_share_of_the_earlier_weight():
    assert change_percent(D(500), D(450)) == -10
    assert change_percent(D(450), D(500)) > 11


def test_a_gain_is_no_loss():
    assert loss_percent(D(450), D(500)) == 0
    assert loss_percent(D(500), D(480)) == 4


@pytest.mark.parametrize(("to_g", "expected"), [("551", True), ("550", False), ("450", False), ("449", True)])
def test_a_dose_is_checked_again_when_the_weight_has_changed_by_more_than_the_share(to_g, expected):
    assert has_changed(D(500), D(to_g)) is expected


@pytest.mark.parametrize(("days", "expected"), [(7, False), (8, True), (-1, False)])
def test_a_weight_is_stale_when_it_is_older_than_the_days_allowed(days, expected):
    assert is_stale(FIRST, FIRST + timedelta(days), 7) is expected


@pytest.mark.parametrize(
    ("newest", "level", "loss"),
    [
        ("971", Level.NONE, "2.9"),
        ("970", Level.TODAY, "3"),
        ("920", Level.NOW, "8"),
        ("1010", Level.NONE, "0"),
    ],
)
def test_an_alarm_sounds_from_its_share_on(newest, level, loss):
    stands = standing(weighed((0, "1000"), (7, newest)), WEEK_AND_MONTH)

    assert (stands.level, stands.loss_percent) == (level, D(loss))


def test_a_slow_fall_is_seen_by_the_longer_window_only():
    slow = weighed((0, "1000"), (7, "980"), (14, "960"), (21, "940"), (28, "918"))

    assert standing(slow, WEEK_AND_MONTH).level is Level.NOW
    assert standing(slow[:-1], WEEK_AND_MONTH).level is Level.NONE


def test_the_heaviest_weight_of_a_window_counts():
    assert (
        standing(weighed((0, "990"), (3, "1000"), (6, "985"), (7, "969")), WEEK_AND_MONTH).level
        is Level.TODAY
    )


def test_the_last_day_of_a_window_is_within_it():
    assert standing(weighed((0, "1000"), (3, "970"), (7, "969")), WEEK_AND_MONTH).level is Level.TODAY
    assert standing(weighed((0, "1000"), (3, "970"), (8, "969")), WEEK_AND_MONTH).level is Level.NONE


def test_without_a_weight_in_the_window_the_one_before_counts_however_old():
    assert standing(weighed((0, "1000"), (90, "900")), WEEK_AND_MONTH).level is Level.NOW


def test_against_any_age_both_admission_and_last_weight_count():
    slowly_below_admission = weighed((0, "100"), (5, "97"), (10, "94"))
    below_last_weight = weighed((0, "100"), (5, "120"), (10, "113"))

    assert standing(slowly_below_admission, ANY_AGE).level is Level.TODAY
    assert standing(below_last_weight, ANY_AGE).level is Level.TODAY


def test_one_weight_alone_says_nothing():
    assert standing(weighed((0, "100")), ANY_AGE).level is Level.NONE
    assert standing([], ANY_AGE).level is Level.NONE


def test_the_nearest_group_of_a_lineage_gives_the_alarm():
    assert alarm_for(("turtle-freshwater", "chelonian", "reptile", "animal")).group == "chelonian"
    assert alarm_for(("rodent", "mammal", "animal")).group == "animal"
    assert alarm_for(()).group == "animal"


@pytest.mark.parametrize("alarm", ALARMS, ids=lambda alarm: alarm.group)
def test_every_alarm_says_where_it_is_from_and_calls_now_for_more_than_it_calls_today(alarm):
    assert alarm.source
    assert alarm.how_known
    assert 0 < alarm.today_percent < alarm.now_percent


def test_the_trend_of_two_weights_is_their_slope():
    assert trend_g_per_day(weighed((0, "100"), (4, "110"))) == D("2.5")


def test_the_trend_of_three_weights_is_the_middle_of_their_slopes():
    assert trend_g_per_day(weighed((0, "100"), (1, "102"), (2, "110"))) == 5  # 2, 8 and 5 g a day


def test_one_mistyped_weight_does_not_turn_the_trend():
    steady = weighed((0, "100"), (1, "102"), (2, "104"), (3, "106"), (4, "108"))

    mistyped = [*steady[:2], Weighing(steady[2].on, D(1040)), *steady[3:]]

    assert trend_g_per_day(mistyped) == trend_g_per_day(steady) == 2


def test_weights_of_a_single_day_have_no_trend():
    assert trend_g_per_day(weighed((0, "100"), (0, "104"))) is None
    assert trend_g_per_day([]) is None


def test_pounds_and_ounces_are_exact_unless_a_rounded_factor_is_named():
    """The international pound of 1959: 0.45359237 kg."""
    assert g_from_pounds(D(1)) == D("453.59237")
    assert g_from_pounds(D(0), D(8)) == D("226.796185")
    assert g_from_pounds(D(110), pounds_per_kg=D("2.2")) == 50000


@pytest.mark.parametrize(
    "nonsense",
    [
        lambda: change_percent(D(0), D(5)),
        lambda: change_percent(D(5), D(-1)),
        lambda: gain_g_per_kg_per_day(D(5), D(6), 0),
        lambda: jackson_ratio(D(5), D(0)),
    ],
)
def test_nonsense_is_refused(nonsense):
    with pytest.raises(ValueError, match=r"\.$"):
        nonsense()


weights_g = st.decimals(D(5), D(5000), places=1)
weighings_of_days = st.builds(Weighing, st.integers(0, 60).map(lambda day: FIRST + timedelta(day)), weights_g)
series = st.lists(weighings_of_days, max_size=8)
one_a_day = st.lists(weighings_of_days, max_size=8, unique_by=lambda each: each.on)
FAST = settings(max_examples=30, deadline=None)


@FAST
@given(one_a_day, st.randoms(use_true_random=False), st.sampled_from([WEEK_AND_MONTH, ANY_AGE]))
def test_the_order_of_weighings_does_not_matter(weighings, random, alarm):
    shuffled = random.sample(weighings, len(weighings))

    assert standing(shuffled, alarm) == standing(weighings, alarm)
    assert trend_g_per_day(shuffled) == trend_g_per_day(weighings)


@FAST
@given(weights_g, st.lists(st.decimals(D(0), D(20), places=1), min_size=1, max_size=6))
def test_an_animal_that_never_loses_never_sounds_an_alarm(start_g, gains):
    rising = [Weighing(FIRST + timedelta(day), start_g + sum(gains[:day])) for day in range(len(gains) + 1)]

    assert standing(rising, WEEK_AND_MONTH).level is Level.NONE
    assert standing(rising, ANY_AGE).level is Level.NONE
    assert trend_g_per_day(rising) >= 0


@FAST
@given(series, st.decimals(D("0.1"), D("9"), places=1))
def test_the_trend_scales_with_the_weights(weighings, factor):
    trend, scaled = (
        trend_g_per_day([Weighing(each.on, each.weight_g * by) for each in weighings])
        for by in (D(1), factor)
    )

    assert (trend is None) == (scaled is None)
    assert trend is None or abs(scaled - trend * factor) < D("1e-20")


@pytest.mark.parametrize(
    ("lineage", "days"),
    [
        (("turtle-freshwater", "chelonian", "reptile", "animal"), 14),
        (("passerine", "bird", "animal"), 3),
        (("snake", "reptile", "animal"), 30),
        (("fox", "medium-mammal", "mammal", "animal"), 7),
        (("hedgehog", "small-mammal", "mammal", "animal"), 3),
        ((), 14),
    ],
)
def test_a_weight_is_good_for_the_days_of_the_nearest_group(lineage, days):
    """The longest usual interval between weighings of each group, at least three days: common practice, no source."""
    assert good_for_days(lineage) == days


@pytest.mark.parametrize(
    ("newest", "earlier", "slipped"),
    [
        ("8120", ["812"], True),
        ("81.2", ["812"], True),
        ("812", [], False),
        ("812", ["8120", "812"], False),  # the slip was an earlier one
        ("8110", ["8120", "812"], False),  # weighed again, and it agrees
        ("4059.9", ["812"], False),
        ("4060", ["812"], True),
        ("162.4", ["812"], True),
        ("162.5", ["812"], False),
    ],
)
def test_a_weight_five_times_off_every_earlier_one_is_a_slip(newest, earlier, slipped):
    assert is_slip(D(newest), [D(each) for each in earlier]) is slipped


def test_of_two_weighings_of_one_day_the_later_one_is_the_newest():
    assert standing(weighed((0, "1000"), (0, "890")), ANY_AGE).level is Level.NOW
    assert standing(weighed((0, "890"), (0, "1000")), ANY_AGE).level is Level.NONE


@FAST
@given(st.lists(weighings_of_days, min_size=1, max_size=8), st.integers(0, 30), st.sampled_from([WEEK_AND_MONTH, ANY_AGE]))
def test_the_weights_to_call_at_are_those_at_which_the_alarm_rings(weighings, later, alarm):
    on = max(each.on for each in weighings) + timedelta(later)
    today_g, now_g = calls_below_g(weighings, on, alarm)
    cent = D("0.01")

    for grams, expected in ((now_g, Level.NOW), (now_g + cent, None), (min(today_g, now_g), Level.NOW)):
        level = standing([*sorted(weighings, key=lambda each: each.on), Weighing(on, grams)], alarm).level
        assert level is expected if expected else level is not Level.NOW
    assert standing([*sorted(weighings, key=lambda each: each.on), Weighing(on, max(today_g, now_g) + cent)], alarm).level is Level.NONE
