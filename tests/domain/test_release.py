"""Release criteria against evidence. These criteria are made up; the real ones are rows of a protocol."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handover.schedule.release import (
    Criterion,
    Evidence,
    Found,
    Needs,
    Trend,
    Weighed,
    assess,
    earliest_release,
)

TODAY = date(2027, 6, 10)
EVIDENCE = Evidence(on=TODAY)


def in_days(days: int) -> date:
    return TODAY + timedelta(days)


def criterion(needs: Needs, target: str, of: str = "") -> Criterion:
    return Criterion(of or f"c-{needs}", "turtle-freshwater", needs, target, "", "", "")


SUTURES_OUT = criterion(Needs.EVENT, "suture_removal")
HEAVY = criterion(Needs.WEIGHT, "600")
GAINING = criterion(Needs.TREND, "0")
SWIMS = criterion(Needs.TEST, "swim_test")
SUMMER = criterion(Needs.SEASON, "04-01/09-30")
FIT = criterion(Needs.JUDGEMENT, "fit", of="fit")


def assessed(criterion: Criterion, evidence: Evidence, days: dict | None = None):
    return assess([criterion], evidence, days or {})[0]


def test_an_event_done_is_met_on_its_day():
    found = assessed(SUTURES_OUT, replace(EVIDENCE, done={"suture_removal": in_days(-3)}))

    assert (found.is_met, found.by, found.seen_on) == (True, "suture_removal", in_days(-3))


def test_what_is_dated_ahead_is_no_evidence_yet():
    ahead = replace(
        EVIDENCE,
        done={"suture_removal": in_days(1)},
        findings=(Found("swim_test", True, in_days(1), "Ines"),),
    )

    assert [each.is_met for each in assess([SUTURES_OUT, SWIMS], ahead, {})] == [False, None]


def test_an_event_to_come_is_unmet_until_its_planned_day():
    found = assessed(SUTURES_OUT, EVIDENCE, {"suture_removal": in_days(5)})

    assert (found.is_met, found.earliest) == (False, in_days(5))


def test_a_planned_day_that_has_passed_undone_is_no_promise():
    found = assessed(SUTURES_OUT, EVIDENCE, {"suture_removal": in_days(-1)})

    assert (found.is_met, found.earliest) == (False, None)


@pytest.mark.parametrize(("weight_g", "is_met"), [("600", True), ("599.9", False), ("640", True)])
def test_a_weight_is_met_from_its_figure_on(weight_g, is_met):
    found = assessed(HEAVY, replace(EVIDENCE, weighed=Weighed(Decimal(weight_g), in_days(-1))))

    assert (found.is_met, found.figure) == (is_met, Decimal(weight_g))


@pytest.mark.parametrize(("age", "is_met"), [(14, True), (15, None), (-1, None)])
def test_an_old_weight_is_no_evidence(age, is_met):
    found = assessed(HEAVY, replace(EVIDENCE, weighed=Weighed(Decimal(700), in_days(-age))))

    assert found.is_met is is_met


def test_the_trend_tells_when_a_weight_will_be_reached():
    evidence = replace(
        EVIDENCE, weighed=Weighed(Decimal(580), in_days(-2)), trend=Trend(Decimal("1.9"), in_days(-2))
    )

    found = assessed(HEAVY, evidence)

    assert found.earliest == in_days(9)  # 20 g at 1.9 g a day: eleven days from the weighing


def test_a_weight_that_the_trend_has_reached_by_now_could_be_met_today():
    evidence = replace(
        EVIDENCE, weighed=Weighed(Decimal(598), in_days(-7)), trend=Trend(Decimal(1), in_days(-7))
    )

    assert assessed(HEAVY, evidence).earliest == TODAY


@pytest.mark.parametrize("g_per_day", ["0", "-2", "0.001"])
def test_a_weight_that_is_not_on_its_way_has_no_day(g_per_day):
    evidence = replace(EVIDENCE, weighed=Weighed(Decimal(580), TODAY), trend=Trend(Decimal(g_per_day), TODAY))

    assert assessed(HEAVY, evidence).earliest is None


def test_a_weight_without_a_trend_has_no_day():
    assert assessed(HEAVY, replace(EVIDENCE, weighed=Weighed(Decimal(580), TODAY))).earliest is None


@pytest.mark.parametrize(("g_per_day", "is_met"), [("0", True), ("0.5", True), ("-0.1", False)])
def test_a_trend_of_at_least_its_figure_is_met(g_per_day, is_met):
    found = assessed(GAINING, replace(EVIDENCE, trend=Trend(Decimal(g_per_day), TODAY)))

    assert (found.is_met, found.figure) == (is_met, Decimal(g_per_day))


def test_nothing_is_met_for_want_of_evidence():
    found = assess([SUTURES_OUT, HEAVY, GAINING, SWIMS, FIT], EVIDENCE, {})

    assert [each.is_met for each in found] == [False, None, None, None, None]


def test_the_latest_finding_counts_and_on_one_day_the_worse():
    passed_then_failed = (
        Found("swim_test", True, in_days(-9), "Ines"),
        Found("swim_test", False, in_days(-2), "Tom"),
    )
    same_day = (Found("swim_test", False, TODAY, "Tom"), Found("swim_test", True, TODAY, "Ines"))

    for findings in (passed_then_failed, same_day, same_day[::-1]):
        found = assessed(SWIMS, replace(EVIDENCE, findings=findings), {"swim_test": in_days(4)})
        assert (found.is_met, found.by, found.earliest) == (False, "Tom", in_days(4))


def test_a_judgement_is_found_by_the_criterion_and_awaited_at_the_assessment():
    judged = (Found("fit", True, in_days(-1), "Ines"),)

    assert assessed(FIT, replace(EVIDENCE, findings=judged)).by == "Ines"
    assert assessed(FIT, EVIDENCE, {"release_assessment": in_days(7)}).earliest == in_days(7)


@pytest.mark.parametrize(
    ("on", "is_southern", "is_met", "earliest"),
    [
        (date(2027, 4, 1), False, True, None),
        (date(2027, 9, 30), False, True, None),
        (date(2027, 10, 1), False, False, date(2028, 4, 1)),
        (date(2027, 3, 31), False, False, date(2027, 4, 1)),
        (date(2027, 3, 31), True, True, None),
        (date(2027, 4, 1), True, False, date(2027, 10, 1)),
        (date(2027, 12, 25), True, True, None),
    ],
)
def test_a_season_is_half_a_year_later_in_the_south(on, is_southern, is_met, earliest):
    found = assessed(SUMMER, Evidence(on=on, is_southern=is_southern))

    assert (found.is_met, found.earliest) == (is_met, earliest)


def test_a_season_from_29_february_opens_on_1_march_in_other_years():
    found = assessed(criterion(Needs.SEASON, "02-29/05-31"), Evidence(on=date(2027, 1, 5)))

    assert found.earliest == date(2027, 3, 1)


def test_the_earliest_release_waits_for_the_last_open_criterion_and_the_assessment():
    days = {"suture_removal": in_days(5), "release_assessment": in_days(19)}

    assert earliest_release([SUTURES_OUT, SUMMER], EVIDENCE, days) == in_days(19)
    assert earliest_release([SUTURES_OUT, SUMMER], EVIDENCE, {"suture_removal": in_days(5)}) == in_days(5)


def test_the_earliest_release_is_today_when_all_is_met():
    evidence = replace(EVIDENCE, done={"suture_removal": in_days(-30)})

    assert earliest_release([SUTURES_OUT, SUMMER], evidence, {}) == TODAY


def test_a_season_that_is_shut_by_the_time_moves_the_release_to_its_next_opening():
    days = {"suture_removal": date(2027, 10, 10)}

    assert earliest_release([SUTURES_OUT, SUMMER], EVIDENCE, days) == date(2028, 4, 1)


def test_a_criterion_that_cannot_be_dated_leaves_the_release_open():
    assert earliest_release([SUTURES_OUT, SUMMER], EVIDENCE, {}) is None


def test_seasons_that_never_meet_leave_the_release_open():
    seasons = [SUMMER, criterion(Needs.SEASON, "11-01/12-31")]

    assert earliest_release(seasons, EVIDENCE, {}) is None


def test_seasons_that_overlap_only_over_new_year_are_met_there():
    seasons = [criterion(Needs.SEASON, "11-01/01-31"), criterion(Needs.SEASON, "01-10/06-30")]

    assert earliest_release(seasons, EVIDENCE, {}) == date(2028, 1, 10)


@pytest.mark.parametrize(
    ("needs", "target"),
    [
        (Needs.WEIGHT, "heavy"),
        (Needs.WEIGHT, "NaN"),
        (Needs.TREND, ""),
        (Needs.SEASON, "summer"),
        (Needs.SEASON, "04-31/09-30"),
        (Needs.SEASON, "04-01"),
    ],
)
def test_a_target_that_cannot_be_read_is_refused_by_the_name_of_its_criterion(needs, target):
    with pytest.raises(ValueError, match=f"c-{needs}"):
        criterion(needs, target)


def test_a_criterion_comes_back_from_its_json_form():
    content = {
        "id": "c-weight",
        "group": "turtle-freshwater",
        "needs": "weight",
        "target": "600",
        "wording": "",
        "source": "",
        "how_known": "",
    }

    assert Criterion.from_json(content) == HEAVY


some_days = st.integers(-20, 400).map(in_days)
plans = st.fixed_dictionaries(
    {}, optional=dict.fromkeys(("suture_removal", "swim_test", "release_assessment"), some_days)
)
evidences = st.builds(
    Evidence,
    on=st.just(TODAY),
    done=st.fixed_dictionaries({}, optional={"suture_removal": st.integers(-60, 0).map(in_days)}),
    weighed=st.none()
    | st.builds(Weighed, st.integers(300, 900).map(Decimal), st.integers(-20, 0).map(in_days)),
    trend=st.none() | st.builds(Trend, st.integers(-5, 9).map(Decimal), st.just(TODAY)),
    is_southern=st.booleans(),
)
ALL = [SUTURES_OUT, HEAVY, SWIMS, SUMMER]
some_criteria = st.lists(st.sampled_from(ALL), unique=True)


@settings(max_examples=30, deadline=None)
@given(some_criteria, evidences, plans)
def test_no_release_is_dated_before_any_of_its_criteria_can_be_met(criteria, evidence, days):
    release_on = earliest_release(criteria, evidence, days)

    found = assess(criteria, evidence, days)
    if release_on is None:
        assert any(each.earliest is None and not each.is_met for each in found)
    else:
        assert release_on >= max([TODAY, *(each.earliest for each in found if not each.is_met)])
        assert all(
            assessed(each, replace(evidence, on=release_on)).is_met
            for each in criteria
            if each.needs is Needs.SEASON
        )


@settings(max_examples=30, deadline=None)
@given(some_criteria, evidences, plans)
def test_one_more_criterion_never_brings_the_release_forward(criteria, evidence, days):
    fewer, more = (earliest_release(some, evidence, days) for some in (criteria[1:], criteria))

    assert more is None or (fewer is not None and fewer <= more)
