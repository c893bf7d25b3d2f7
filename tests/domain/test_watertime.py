"""Graded water time, by the rules that a protocol states; no table of days is published to check against."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handover.schedule.watertime import (
    Allowance,
    Clearance,
    Reason,
    Sign,
    StepSet,
    WaterLog,
    WaterProtocol,
    allowances,
    forecast,
)

CLOSED_ON = date(2027, 3, 1)
PROTOCOL = WaterProtocol(
    id="turtle-freshwater.water.shell",
    group="turtle-freshwater",
    applies_to="shell_repair",
    dry_days=3,
    ladder=(10, 30, 60, 120),
    clean_days=2,
    used_share_percent=80,
    mild_steps_down=1,
    opening_event="suture_removal",
    restarts_on=frozenset({"wound_closure"}),
)


def day(number: int) -> date:
    """The day so many days after the closure."""
    return CLOSED_ON + timedelta(number)


def log(number: int, minutes: int | None = None, *signs: Sign, cleared: bool = False) -> WaterLog:
    return WaterLog(day(number), minutes, frozenset(signs), was_cleared=cleared)


def water(last: int, **history) -> tuple[Allowance, ...]:
    return allowances(PROTOCOL, closed_on=CLOSED_ON, first=CLOSED_ON, last=day(last), **history)


def minutes(last: int, **history) -> list[int | None]:
    return [allowance.minutes for allowance in water(last, **history)]


CLEAN = [log(3, 10), log(4, 10), log(5, 30), log(6, 30), log(7, 60), log(8, 60), log(9, 120), log(10, 120)]


def test_dry_days_come_first_then_two_clean_days_lead_to_each_next_step():
    assert minutes(10, logs=CLEAN) == [0, 0, 0, 10, 10, 30, 30, 60, 60, 120, 120]


def test_each_day_says_why():
    reasons = [allowance.why for allowance in water(6, logs=CLEAN)]

    assert reasons == [
        *[Reason.DRY_DAYS] * 3,
        Reason.FIRST_WATER,
        Reason.KEPT,
        Reason.STEPPED_UP,
        Reason.KEPT,
    ]


def test_a_dry_day_tells_when_water_begins():
    today = water(1)[1]

    assert (today.since, today.until, today.step) == (CLOSED_ON, day(3), 0)


def test_a_day_without_water_counts_nothing():
    """Neither before the closure nor while it is dry is there a step, or anything that would be enough for the next one."""
    before, dry = allowances(PROTOCOL, closed_on=CLOSED_ON, first=day(-1), last=day(0))

    assert before == Allowance(day(-1), 0, 0, Reason.NOT_CLOSED)
    assert dry == Allowance(day(0), 0, 0, Reason.DRY_DAYS, since=CLOSED_ON, until=day(3))
    for each in (before, dry):
        assert (each.enough_minutes, each.clean_days, each.clean_days_needed) == (0, 0, 0)
    assert (PROTOCOL.minutes_at(0), PROTOCOL.enough_minutes(0)) == (0, 0)


def test_the_numbers_of_a_kept_step_say_how_many_clean_days_are_still_needed():
    today = water(4, logs=CLEAN)[4]

    assert (today.clean_days, today.clean_days_needed, today.since) == (1, 2, day(3))


@pytest.mark.parametrize(("used", "is_clean"), [(8, True), (7, False), (10, True), (0, False), (None, False)])
def test_four_fifths_of_the_allowance_count_as_used(used, is_clean):
    history = [log(3, used), log(4, 10)]

    assert minutes(5, logs=history)[5] == (30 if is_clean else 10)


def test_a_protocol_may_count_another_share_as_used():
    protocol = replace(PROTOCOL, used_share_percent=50)

    days = allowances(protocol, closed_on=CLOSED_ON, logs=[log(3, 5), log(4, 5)], first=day(5), last=day(5))

    assert days[0].minutes == 30


def test_the_least_that_counts_is_rounded_up_to_whole_minutes():
    protocol = replace(PROTOCOL, ladder=(11, 30))

    today = allowances(protocol, closed_on=CLOSED_ON, first=day(3), last=day(3))[0]

    assert today.enough_minutes == 9  # 8.8


def test_a_day_without_a_report_keeps_the_step_and_begins_the_count_again():
    history = [log(3, 10), log(5, 10), log(6, 10)]

    days = water(7, logs=history)

    assert [today.minutes for today in days[3:]] == [10, 10, 10, 10, 30]
    assert (days[5].why, days[5].clean_days) == (Reason.NOT_LOGGED, 0)


def test_too_little_time_keeps_the_step_and_begins_the_count_again():
    days = water(7, logs=[log(3, 10), log(4, 5), log(5, 10), log(6, 10)])

    assert [today.minutes for today in days[3:]] == [10, 10, 10, 10, 30]
    assert days[5].why is Reason.TOO_SHORT


@pytest.mark.parametrize(("share", "minutes_a_day", "enough"), [(80, 720, 576), (80, 1440, 1152), (100, 720, 720), (1, 720, 8)])
def test_a_share_of_a_long_day_is_exact(share, minutes_a_day, enough):
    assert replace(PROTOCOL, ladder=(minutes_a_day,), used_share_percent=share).enough_minutes(1) == enough


def test_two_reports_of_a_day_add_up():
    assert minutes(5, logs=[log(3, 4), log(3, 4), log(4, 10)])[5] == 30


def test_a_mild_sign_steps_down_from_the_next_day_and_begins_the_count_again():
    days = water(9, logs=[*CLEAN[:2], log(5, 30, Sign.WOUND_RED), log(6, 10), log(7, 10), log(8, 30)])

    assert [today.minutes for today in days[5:]] == [30, 10, 10, 30, 30]
    assert (days[6].why, days[6].signs) == (Reason.STEPPED_DOWN, {Sign.WOUND_RED})


def test_a_mild_sign_on_the_very_first_day_of_water_is_told_as_such():
    second = water(4, logs=[log(3, 10, Sign.WOUND_RED)])[4]

    assert (second.why, second.since, second.signs) == (Reason.STEPPED_DOWN, day(3), {Sign.WOUND_RED})


def test_a_protocol_may_step_down_further_but_never_below_the_first_step():
    protocol = replace(PROTOCOL, mild_steps_down=2)
    history = [*CLEAN[:4], log(7, 60, Sign.WOUND_SOFT), log(8, 10, Sign.WOUND_SOFT)]

    days = allowances(protocol, closed_on=CLOSED_ON, logs=history, first=day(7), last=day(9))

    assert [today.minutes for today in days] == [60, 10, 10]


@pytest.mark.parametrize("sign", [sign for sign in Sign if sign.is_severe])
def test_a_severe_sign_stops_the_water_the_same_day_until_the_hospital_clears_it(sign):
    history = [*CLEAN[:4], log(7, 20, sign), log(8, 60), log(9, 60)]

    stopped = water(9, logs=history)[7:]

    assert [today.minutes for today in stopped] == [0, 0, 0]
    assert all(today.why is Reason.STOPPED and today.phone_now and today.step == 0 for today in stopped)
    assert all(today.since == day(7) and today.signs == {sign} for today in stopped)


def test_the_signs_that_the_care_plan_calls_severe_are_severe():
    """PLANNING: wound open, bandage soaked through or lost, animal listing, weak or bleeding."""
    assert all(
        sign.is_severe
        for sign in (
            Sign.WOUND_OPEN,
            Sign.BANDAGE_SOAKED,
            Sign.BANDAGE_LOST,
            Sign.LISTING,
            Sign.WEAK,
            Sign.BLEEDING,
        )
    )


def test_after_a_clearance_water_starts_again_at_the_first_step():
    days = water(10, logs=[*CLEAN[:4], log(7, 20, Sign.WOUND_OPEN)], clearances=[Clearance(day(9))])

    assert [today.minutes for today in days[7:]] == [0, 0, 10, 10]
    assert days[9].why is Reason.CLEARED
    assert not days[9].phone_now


def test_a_clearance_may_name_a_higher_step_and_its_own_day_can_be_clean():
    history = [*CLEAN[:4], log(7, 20, Sign.WOUND_OPEN), log(9, 30), log(10, 30)]

    assert minutes(11, logs=history, clearances=[Clearance(day(9), step=2)])[9:] == [30, 30, 60]


def test_a_sign_on_the_day_of_a_clearance_outlasts_it_unless_the_report_had_been_read():
    unread = [log(4, 5, Sign.WEAK)]
    read = [log(4, 5, Sign.WEAK, cleared=True)]
    clearances = [Clearance(day(4))]

    assert minutes(6, logs=unread, clearances=clearances)[4:] == [0, 0, 0]
    assert minutes(6, logs=read, clearances=clearances)[4:] == [0, 10, 10]


def test_a_day_cleared_before_it_is_out_has_no_water_but_needs_no_second_call():
    today = water(4, logs=[log(4, 5, Sign.WEAK, cleared=True)], clearances=[Clearance(day(4))])[4]

    assert (today.minutes, today.why, today.phone_now) == (0, Reason.STOPPED, False)


@pytest.mark.parametrize("later", [log(4, 5), log(4, 5, Sign.WOUND_RED)])
def test_what_is_reported_beside_a_read_severe_sign_does_not_undo_the_clearance(later):
    history = [log(4, 5, Sign.WEAK, cleared=True), later]

    assert minutes(6, logs=history, clearances=[Clearance(day(4))])[4:] == [0, 10, 10]


def test_a_new_sign_after_a_read_one_stops_the_water_again():
    history = [log(4, 5, Sign.WEAK, cleared=True), log(4, 0, Sign.BLEEDING)]

    assert minutes(6, logs=history, clearances=[Clearance(day(4))])[4:] == [0, 0, 0]


def test_a_clearance_with_nothing_to_clear_changes_nothing():
    assert water(10, logs=CLEAN, clearances=[Clearance(day(8))]) == water(10, logs=CLEAN)


def test_a_severe_sign_within_the_dry_days_stops_what_would_have_followed():
    assert minutes(5, logs=[log(1, None, Sign.WOUND_OPEN)]) == [0] * 6


def test_a_second_severe_sign_is_added_to_a_stop_that_began_earlier():
    days = water(6, logs=[log(4, 0, Sign.WEAK), log(5, 0, Sign.BLEEDING)])

    assert [today.since for today in days[4:]] == [day(4)] * 3
    assert [today.signs for today in days[4:]] == [{Sign.WEAK}, *[{Sign.WEAK, Sign.BLEEDING}] * 2]


def test_a_mild_sign_within_the_dry_days_lowers_a_step_that_was_named_for_later():
    history = [log(0, None, Sign.WEAK), log(2, None, Sign.WOUND_RED)]

    assert minutes(3, logs=history, clearances=[Clearance(day(1), step=3)])[3] == 30


def test_a_mild_sign_does_not_end_dry_days_that_a_vet_ordered():
    assert minutes(6, logs=[log(5, None, Sign.WOUND_RED)], step_sets=[StepSet(day(4), 0)])[4:] == [0, 0, 0]


def test_a_clearance_does_not_shorten_the_dry_days():
    assert minutes(4, logs=[log(0, None, Sign.WEAK)], clearances=[Clearance(day(1), step=2)]) == [
        0,
        0,
        0,
        30,
        30,
    ]


def test_a_vet_may_set_the_step_from_a_day_on():
    days = water(7, logs=[log(5, 60), log(6, 60)], step_sets=[StepSet(day(5), 3)])

    assert [today.minutes for today in days[3:]] == [10, 10, 60, 60, 120]
    assert days[5].why is Reason.SET_BY_VET


def test_a_vet_may_end_the_dry_days_early_and_may_order_dry():
    assert minutes(3, step_sets=[StepSet(day(1), 1)]) == [0, 10, 10, 10]
    assert minutes(8, logs=CLEAN, step_sets=[StepSet(day(5), 0)])[5:] == [0, 0, 0, 0]


def test_a_step_that_is_set_does_not_end_a_stop():
    assert minutes(8, logs=[log(4, 0, Sign.BLEEDING)], step_sets=[StepSet(day(6), 2)])[4:] == [0] * 5


def test_of_two_steps_set_for_a_day_the_lower_counts():
    for steps in ((2, 3), (3, 2)):
        assert minutes(5, step_sets=[StepSet(day(5), step) for step in steps])[5] == 30


def test_the_last_step_waits_for_the_opening_event():
    days = water(12, logs=[*CLEAN, log(11, 120)])

    assert [today.minutes for today in days[9:]] == [120] * 4
    assert days[11].why is Reason.LAST_STEP


def test_the_opening_event_makes_it_full_time_water():
    days = water(12, logs=CLEAN, opened_on=day(11))

    assert [today.minutes for today in days[10:]] == [120, None, None]
    assert (days[11].why, days[11].step) == (Reason.FULL_TIME, 5)


def test_the_opening_event_does_not_shorten_the_dry_days():
    assert minutes(4, opened_on=day(1)) == [0, 0, 0, None, None]


def test_a_severe_sign_stops_full_time_water_and_the_ladder_is_climbed_again_to_its_top_and_beyond():
    history = [log(8, None, Sign.LISTING), *[log(number, 120) for number in range(10, 13)]]

    days = water(13, logs=history, opened_on=day(6), clearances=[Clearance(day(10), step=4)])

    assert [today.minutes for today in days[6:]] == [None, None, 0, 0, 120, 120, None, None]


def test_a_mild_sign_in_full_time_water_goes_back_to_the_last_step():
    history = [log(7, None, Sign.TIRES_SOON), log(8, 120), log(9, 100)]

    assert minutes(10, logs=history, opened_on=day(6))[6:] == [None, None, 120, 120, None]


def test_full_time_water_cannot_be_set_before_the_opening_event():
    assert minutes(5, step_sets=[StepSet(day(4), 9)])[4:] == [120, 120]
    assert minutes(6, step_sets=[StepSet(day(5), 9)], opened_on=day(4))[5:] == [None, None]


def test_a_restart_brings_the_dry_days_and_the_first_step_again():
    days = water(11, logs=CLEAN[:6], restarted_on=[day(7)])

    assert [today.minutes for today in days[6:]] == [30, 0, 0, 0, 10, 10]
    assert (days[8].why, days[8].since, days[8].until) == (Reason.DRY_AGAIN, day(7), day(10))


def test_what_was_open_for_the_old_wound_is_not_open_for_a_new_one():
    history = [log(number, 120) for number in range(11, 20)]

    days = water(20, logs=history, opened_on=day(5), restarted_on=[day(8)])

    assert [today.minutes for today in days[7:12]] == [None, 0, 0, 0, 10]
    assert (days[20].minutes, days[20].why) == (120, Reason.LAST_STEP)


def test_an_opening_on_the_day_of_a_restart_does_not_count():
    assert minutes(9, opened_on=day(5), restarted_on=[day(5)])[4:] == [10, 0, 0, 0, 10, 10]


def test_a_restart_does_not_clear_a_stop():
    assert minutes(12, logs=[log(4, 0, Sign.WOUND_OPEN)], restarted_on=[day(5)])[4:] == [0] * 9


def test_before_the_closure_there_is_no_water():
    today = allowances(PROTOCOL, closed_on=CLOSED_ON, first=day(-2), last=day(0))

    assert [each.why for each in today] == [Reason.NOT_CLOSED, Reason.NOT_CLOSED, Reason.DRY_DAYS]
    assert [each.minutes for each in today] == [0, 0, 0]


def test_reports_of_before_the_closure_say_nothing_of_the_closed_wound():
    assert minutes(3, logs=[log(-1, None, Sign.WOUND_OPEN)])[3] == 10


def test_a_protocol_without_dry_days_begins_on_the_day_of_the_closure():
    protocol = replace(PROTOCOL, dry_days=0)

    assert allowances(protocol, closed_on=CLOSED_ON, first=CLOSED_ON, last=CLOSED_ON)[0].minutes == 10


def test_the_forecast_takes_every_coming_day_as_clean():
    days = forecast(PROTOCOL, closed_on=CLOSED_ON, today=CLOSED_ON, first=CLOSED_ON, last=day(10))

    assert [each.minutes for each in days] == minutes(10, logs=CLEAN)


def test_the_forecast_keeps_to_what_was_reported_and_to_days_that_were_missed():
    days = forecast(PROTOCOL, closed_on=CLOSED_ON, logs=[log(3, 10)], today=day(5), first=day(5), last=day(8))

    assert [each.minutes for each in days] == [10, 10, 30, 30]


def test_the_forecast_of_a_stop_is_a_stop():
    days = forecast(
        PROTOCOL, closed_on=CLOSED_ON, logs=[log(4, 0, Sign.WEAK)], today=day(5), first=day(4), last=day(40)
    )

    assert {each.minutes for each in days} == {0}


def test_the_forecast_opens_full_time_water_on_the_planned_day():
    days = forecast(PROTOCOL, closed_on=CLOSED_ON, opened_on=day(6), today=day(4), first=day(5), last=day(7))

    assert [each.minutes for each in days] == [10, None, None]


def test_a_protocol_comes_back_from_its_json_form():
    content = {
        "id": PROTOCOL.id,
        "group": PROTOCOL.group,
        "applies_to": "shell_repair",
        "dry_days": 3,
        "ladder": [10, 30, 60, 120],
        "clean_days": 2,
        "used_share_percent": 80,
        "mild_steps_down": 1,
        "opening_event": "suture_removal",
        "restarts_on": ["wound_closure"],
    }

    assert WaterProtocol.from_json(content) == PROTOCOL


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("dry_days", -1),
        ("ladder", ()),
        ("ladder", (0, 10)),
        ("ladder", (10, 10)),
        ("ladder", (30, 10)),
        ("ladder", (10, 1441)),
        ("clean_days", 0),
        ("used_share_percent", 0),
        ("used_share_percent", 101),
        ("mild_steps_down", 0),
    ],
)
def test_a_protocol_that_makes_no_sense_is_refused_by_the_name_of_its_field(field, value):
    with pytest.raises(ValueError, match=field):
        replace(PROTOCOL, **{field: value})


@pytest.mark.parametrize(
    ("field", "value"),
    [("used_share_percent", 1), ("used_share_percent", 100), ("ladder", (1,)), ("ladder", (10, 1440)), ("dry_days", 0), ("clean_days", 1)],
)
def test_the_limits_of_a_protocol_themselves_make_sense(field, value):
    assert getattr(replace(PROTOCOL, **{field: value}), field) == value


def test_a_day_has_minutes_from_none_at_all_to_all_of_them():
    assert [WaterLog(CLOSED_ON, used).minutes for used in (0, 1440)] == [0, 1440]


@pytest.mark.parametrize(
    "nonsense",
    [
        lambda: WaterLog(CLOSED_ON, -1),
        lambda: WaterLog(CLOSED_ON, 1441),
        lambda: StepSet(CLOSED_ON, -1),
        lambda: Clearance(CLOSED_ON, 0),
        lambda: allowances(PROTOCOL, closed_on=CLOSED_ON, first=day(1), last=day(0)),
    ],
)
def test_nonsense_is_refused(nonsense):
    with pytest.raises(ValueError, match=r"\.$"):
        nonsense()


# Laws. Histories of two weeks: any reports, decisions, openings and restarts.
LAST = 16
numbers = st.integers(0, LAST)
signs = st.frozensets(st.sampled_from(sorted(Sign)), max_size=1)
quiet_logs = st.builds(log, numbers, st.none() | st.integers(0, 150))
any_logs = st.builds(
    lambda number, used, found, cleared: WaterLog(day(number), used, found, cleared),
    numbers,
    st.none() | st.integers(0, 150),
    signs,
    st.booleans(),
)
histories = st.fixed_dictionaries(
    {
        "logs": st.lists(quiet_logs | any_logs, max_size=14),
        "step_sets": st.lists(st.builds(StepSet, numbers.map(day), st.integers(0, 5)), max_size=2),
        "clearances": st.lists(st.builds(Clearance, numbers.map(day), st.integers(1, 5)), max_size=2),
        "restarted_on": st.lists(numbers.map(day), max_size=1),
        "opened_on": st.none() | numbers.map(day),
    }
)
protocols = st.builds(
    lambda dry, ladder, clean, share, down: replace(
        PROTOCOL,
        dry_days=dry,
        ladder=tuple(sorted(ladder)),
        clean_days=clean,
        used_share_percent=share,
        mild_steps_down=down,
    ),
    st.integers(0, 5),
    st.sets(st.integers(1, 120), min_size=1, max_size=4),
    st.integers(1, 3),
    st.integers(50, 100),
    st.integers(1, 3),
)
FAST = settings(max_examples=25, deadline=None)


def days_of(protocol: WaterProtocol, history: dict) -> tuple[Allowance, ...]:
    return allowances(protocol, closed_on=CLOSED_ON, first=CLOSED_ON, last=day(LAST), **history)


@FAST
@given(protocols, histories)
def test_no_day_is_above_the_allowance_of_its_step(protocol, history):
    for today in days_of(protocol, history):
        assert today.minutes == protocol.minutes_at(today.step)
        if today.minutes is None:
            assert history["opened_on"] is not None
            assert history["opened_on"] <= today.on


@FAST
@given(protocols, histories)
def test_nothing_is_allowed_within_the_dry_days_unless_a_vet_set_a_step(protocol, history):
    history |= {"step_sets": []}

    starts = [CLOSED_ON, *history["restarted_on"]]

    for today in days_of(protocol, history):
        if any(0 <= (today.on - start).days < protocol.dry_days for start in starts):
            assert today.minutes == 0


@FAST
@given(protocols, histories)
def test_the_step_rises_only_by_one_after_enough_clean_days_or_by_a_decision(protocol, history):
    days = days_of(protocol, history)
    decided = {history["opened_on"], *(each.on for each in history["step_sets"] + history["clearances"])}
    used = {number: [each for each in history["logs"] if each.on == day(number)] for number in range(LAST)}

    for number, (before, after) in enumerate(pairwise(days)):
        if after.step <= before.step or {before.on, after.on} & decided or before.step == 0:
            continue
        assert after.step == before.step + 1
        for clean in range(number - protocol.clean_days + 1, number + 1):
            assert days[clean].step == before.step
            assert used[clean]
            assert not any(each.signs for each in used[clean])
            assert sum(each.minutes or 0 for each in used[clean]) >= days[clean].enough_minutes


@FAST
@given(protocols, histories)
def test_after_a_severe_sign_nothing_is_allowed_until_a_clearance(protocol, history):
    days = days_of(protocol, history)
    cleared_on = [each.on for each in history["clearances"]]

    for severe in history["logs"]:
        if not any(sign.is_severe for sign in severe.signs):
            continue
        until = min((on for on in cleared_on if on > severe.on), default=day(LAST + 1))
        if severe.was_cleared and severe.on in cleared_on:
            until = severe.on + timedelta(1)
        assert all(today.minutes == 0 for today in days if severe.on <= today.on < until)


@FAST
@given(protocols, histories, st.data())
def test_leaving_out_a_report_without_signs_never_raises_any_day(protocol, history, data):
    quiet = [each for each in history["logs"] if not each.signs]
    missing = data.draw(st.sampled_from(quiet)) if quiet else None
    kept = [each for each in history["logs"] if each is not missing]

    days = zip(days_of(protocol, history | {"logs": kept}), days_of(protocol, history), strict=True)

    assert all(without.step <= with_it.step for without, with_it in days)


@FAST
@given(protocols, histories, st.randoms(use_true_random=False))
def test_the_order_of_reports_and_decisions_does_not_matter(protocol, history, random):
    shuffled = {
        name: random.sample(value, len(value)) if isinstance(value, list) else value
        for name, value in history.items()
    }

    assert days_of(protocol, shuffled) == days_of(protocol, history)


@FAST
@given(protocols, histories, numbers)
def test_nothing_that_comes_later_changes_an_earlier_day(protocol, history, cut):
    def is_early(each: WaterLog | StepSet | Clearance | date) -> bool:
        return (each if isinstance(each, date) else each.on) <= day(cut)

    past = {
        name: [each for each in value if is_early(each)] if isinstance(value, list) else value
        for name, value in history.items()
    }
    if past["opened_on"] is not None and past["opened_on"] > day(cut):
        past["opened_on"] = None

    assert days_of(protocol, past)[: cut + 1] == days_of(protocol, history)[: cut + 1]


@FAST
@given(protocols, histories, numbers)
def test_the_forecast_never_promises_less_than_silence_would_give(protocol, history, today):
    ahead = forecast(
        protocol, closed_on=CLOSED_ON, today=day(today), first=CLOSED_ON, last=day(LAST), **history
    )

    silence = days_of(protocol, history)

    assert all(hoped.step >= silent.step for hoped, silent in zip(ahead, silence, strict=True))
    assert ahead[: today + 1] == silence[: today + 1]
