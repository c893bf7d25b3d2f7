"""What a carer is told at once: the limits are common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handover.schedule.answers import (
    PHONE_NOW,
    PHONE_TODAY,
    Answer,
    Because,
    Call,
    Cause,
    Report,
    UnfedLimit,
    feedback,
    unfed_limit,
)
from handover.schedule.watertime import Allowance, Reason, Sign

TODAY = Allowance(date(2027, 3, 8), 20, 2, Reason.KEPT, enough_minutes=16)
DRY = Allowance(date(2027, 3, 2), 0, 0, Reason.DRY_DAYS)
STOPPED = Allowance(date(2027, 3, 9), 0, 0, Reason.STOPPED, phone_now=True)
FULL_TIME = Allowance(date(2027, 4, 20), None, 5, Reason.FULL_TIME)


def whys(report: Report, **more) -> list[Because]:
    return [cause.why for cause in feedback(report, **more).causes]


def test_a_good_day_is_fine():
    answer = feedback(Report(water_minutes=18), allowance=TODAY)

    assert (answer.answer, answer.causes, answer.phone_today) == (Answer.FINE, (), False)


def test_an_animal_without_water_time_is_answered_too():
    assert feedback(Report()).answer is Answer.FINE


@pytest.mark.parametrize("sign", list(Sign))
def test_a_severe_sign_means_phone_now_and_a_mild_one_keep_to_this_step_and_ring_today(sign):
    answer = feedback(Report(frozenset({sign}), water_minutes=18), allowance=TODAY)

    assert answer.answer is (Answer.PHONE_NOW if sign.is_severe else Answer.STAY)
    assert answer.phone_today is not sign.is_severe
    assert answer.causes[0].signs == {sign}


@pytest.mark.parametrize(
    ("used", "expected"),
    [
        (21, [Cause(Because.OVER_ALLOWANCE, 21, 20)]),
        (20, []),
        (16, []),
        (15, [Cause(Because.TOO_SHORT, 15, 16)]),
        (0, [Cause(Because.TOO_SHORT, 0, 16)]),
        (None, []),
    ],
)
def test_minutes_over_or_far_below_the_allowance_keep_the_step(used, expected):
    answer = feedback(Report(water_minutes=used), allowance=TODAY)

    assert list(answer.causes) == expected
    assert answer.answer is (Answer.STAY if expected else Answer.FINE)
    assert not answer.phone_today


@pytest.mark.parametrize("allowance", [DRY, STOPPED])
def test_water_on_a_day_without_any_means_phone_now(allowance):
    answer = feedback(Report(water_minutes=1), allowance=allowance)

    assert (answer.answer, answer.causes[0]) == (Answer.PHONE_NOW, Cause(Because.WATER_WHEN_DRY, 1, 0))


def test_a_quiet_report_within_a_stop_reminds_of_the_stop():
    answer = feedback(Report(water_minutes=0), allowance=STOPPED)

    assert (answer.answer, answer.phone_today) == (Answer.STAY, True)
    assert answer.causes[0].why is Because.WATER_STOPPED


def test_a_dry_day_kept_dry_is_fine():
    assert feedback(Report(water_minutes=0), allowance=DRY).answer is Answer.FINE


def test_no_minutes_are_too_many_in_full_time_water():
    assert feedback(Report(water_minutes=900), allowance=FULL_TIME).answer is Answer.FINE


@pytest.mark.parametrize(
    ("call", "answer", "phone_today"),
    [
        (Call.NONE, Answer.FINE, False),
        (Call.TODAY, Answer.STAY, True),
        (Call.NOW, Answer.PHONE_NOW, False),
    ],
)
def test_a_fall_in_weight_asks_for_the_call_that_its_alarm_says(call, answer, phone_today):
    told = feedback(Report(weight_call=call, weight_loss_percent=Decimal("5.5")))

    assert (told.answer, told.phone_today) == (answer, phone_today)
    assert all(cause.figure == Decimal("5.5") for cause in told.causes)


@pytest.mark.parametrize(
    ("hours", "causes", "answer"),
    [
        (23, (), Answer.FINE),
        (24, (Cause(Because.UNFED, 24, 24),), Answer.STAY),
        (47, (Cause(Because.UNFED, 47, 24),), Answer.STAY),
        (48, (Cause(Because.UNFED_LONG, 48, 48),), Answer.PHONE_NOW),
    ],
)
def test_hours_without_food_count_against_the_limits_of_the_group(hours, causes, answer):
    told = feedback(Report(unfed_hours=hours), unfed=UnfedLimit("bird", 24, 48))

    assert (told.causes, told.answer) == (causes, answer)


def test_the_nearest_group_of_a_lineage_gives_the_limit_without_food():
    assert unfed_limit(("turtle-freshwater", "chelonian", "reptile", "animal")).today_hours == 48
    assert unfed_limit(("hedgehog", "mammal", "animal")).today_hours == 24
    assert unfed_limit(("frog", "amphibian", "animal")).today_hours == 72  # common practice, no source
    assert unfed_limit(()).today_hours == 24


@pytest.mark.parametrize("happened", ["is_carer_hurt", "has_escaped", "has_died"])
def test_a_mishap_means_phone_now(happened):
    assert feedback(replace(Report(), **{happened: True})).answer is Answer.PHONE_NOW


@pytest.mark.parametrize("report", [Report(has_blood_in_droppings=True), Report(doses_not_taken=1)])
def test_blood_in_droppings_or_a_dose_not_taken_asks_for_a_call_today(report):
    told = feedback(report)

    assert (told.answer, told.phone_today) == (Answer.STAY, True)


def test_the_gravest_reason_comes_first():
    report = Report(
        frozenset({Sign.WOUND_RED, Sign.BLEEDING}), water_minutes=30, unfed_hours=30, doses_not_taken=2
    )

    assert whys(report, allowance=TODAY) == [
        Because.SEVERE_SIGN,
        Because.MILD_SIGN,
        Because.OVER_ALLOWANCE,
        Because.UNFED,
        Because.DOSE_NOT_TAKEN,
    ]


def test_every_reason_to_phone_now_is_graver_than_every_other():
    order = list(Because)

    assert {*order[: len(PHONE_NOW)]} == PHONE_NOW
    assert not PHONE_NOW & PHONE_TODAY


reports = st.builds(
    Report,
    signs=st.frozensets(st.sampled_from(sorted(Sign)), max_size=3),
    water_minutes=st.none() | st.integers(0, 200),
    weight_call=st.sampled_from(Call),
    unfed_hours=st.none() | st.integers(0, 100),
    has_blood_in_droppings=st.booleans(),
    doses_not_taken=st.integers(0, 3),
    is_carer_hurt=st.booleans(),
)
FAST = settings(max_examples=30, deadline=None)


@FAST
@given(reports, st.sampled_from([None, TODAY, DRY, STOPPED, FULL_TIME]))
def test_the_answer_is_fine_only_when_there_is_no_reason_at_all(report, allowance):
    told = feedback(report, allowance=allowance)

    assert (told.answer is Answer.FINE) == (not told.causes)
    assert (told.answer is Answer.PHONE_NOW) == any(cause.why in PHONE_NOW for cause in told.causes)


@FAST
@given(reports, st.sampled_from(sorted(sign for sign in Sign if sign.is_severe)))
def test_no_other_finding_hides_a_severe_sign(report, sign):
    told = feedback(replace(report, signs=report.signs | {sign}), allowance=TODAY)

    assert told.answer is Answer.PHONE_NOW
