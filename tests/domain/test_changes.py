"""What differs between two plans, and the reasons for it."""

from dataclasses import replace
from datetime import date, timedelta

from handover.schedule.changes import Cause, Change, Kind, Why, compare, first
from handover.schedule.problem import Closed, Event, Lag, Problem

MONDAY = date(2027, 3, 1)


def day(n):
    return MONDAY + timedelta(n)


SURGERY = Event("surgery", "home", done=day(-3))
SUTURES = Event("sutures", "clinic")
RECHECK = Event("recheck", "clinic")
RULE = Lag("rule@sutures", "surgery", "sutures", 10, 14, 21)
BEFORE = Problem(MONDAY, 90, (SURGERY, SUTURES, RECHECK), (RULE, Lag("rule@recheck", "surgery", "recheck", 3, 7, 14)))
DAYS = {"surgery": day(-3), "sutures": day(11), "recheck": day(4)}


def the_change(after, **days):
    (change,) = compare(BEFORE, DAYS, after, DAYS | days)
    return change


def why(after, **days):
    return [cause.why for cause in the_change(after, **days).causes]


def with_events(*events, **fields):
    kept = {event.id: event for event in (*BEFORE.events, *events)}
    return replace(BEFORE, events=tuple(kept.values()), **fields)


def test_the_same_plan_changes_nothing():
    assert compare(BEFORE, DAYS, BEFORE, DAYS) == ()


def test_a_thing_done_on_its_day_is_no_change():
    after = with_events(replace(RECHECK, done=day(4)), today=day(5))

    assert compare(BEFORE, DAYS, after, DAYS) == ()


def test_a_thing_done_on_another_day_is_told():
    after = with_events(replace(RECHECK, done=day(2)), today=day(5))

    assert the_change(after, recheck=day(2)) == Change("recheck", Kind.DONE, day(4), day(2))


def test_a_first_plan_adds_everything_that_is_to_come_in_order_of_days():
    assert [(change.event_id, change.kind, change.now) for change in first(BEFORE, DAYS)] == [
        ("recheck", Kind.ADDED, day(4)),
        ("sutures", Kind.ADDED, day(11)),
    ]


def test_a_pin_is_the_reason_and_so_is_its_end():
    pinned = with_events(replace(SUTURES, pinned=day(12)))

    assert why(pinned, sutures=day(12)) == [Why.PINNED]
    (change,) = compare(pinned, DAYS | {"sutures": day(12)}, BEFORE, DAYS)
    assert change.causes == (Cause(Why.UNPINNED, was=day(12)),)


def test_a_hold_is_the_reason_and_so_is_its_end():
    hold = Event("hold:sutures", "home", done=MONDAY)
    held = with_events(hold, lags=(*BEFORE.lags, Lag("hold@sutures", "hold:sutures", "sutures", 20)))
    days = DAYS | {"hold:sutures": MONDAY, "sutures": day(20)}

    assert why(held, **days) == [Why.HELD]
    (change,) = compare(held, days, BEFORE, DAYS)
    assert change.causes == (Cause(Why.RELEASED, was=day(20)),)


def test_a_season_is_the_reason():
    season = Event("season:spring", "home", pinned=day(30))
    after = with_events(season, lags=(*BEFORE.lags, Lag("season@sutures", "season:spring", "sutures", 0, None, 90)))

    assert why(after, **{"season:spring": day(30), "sutures": day(30)}) == [Why.SEASON]


def test_other_figures_of_the_protocol_are_the_reason():
    after = replace(BEFORE, lags=(replace(RULE, min=15, usual=18), BEFORE.lags[1]))

    assert the_change(after, sutures=day(15)).causes == (Cause(Why.FIGURES, lag_id="rule@sutures"),)


def test_a_latest_day_that_was_left_out_because_it_went_by_is_no_change_of_the_protocol():
    after = replace(BEFORE, today=day(22), lags=(replace(RULE, max=None), BEFORE.lags[1]))

    assert why(replace(after, events=(SURGERY, SUTURES, replace(RECHECK, done=day(4)))), sutures=day(22)) == [
        Why.PASSED
    ]


def test_a_re_dated_fact_is_the_reason():
    after = with_events(replace(SURGERY, done=day(-1)))
    changes = {
        change.event_id: change
        for change in compare(BEFORE, DAYS, after, DAYS | {"surgery": day(-1), "sutures": day(13)})
    }

    assert changes["sutures"].causes == (Cause(Why.ANCHOR, "surgery", was=day(-3), now=day(-1)),)


def test_a_new_fact_is_the_reason_for_what_it_adds():
    wrap, change = Event("bandage", "home", done=MONDAY), Event("bandage_change", "clinic")
    after = with_events(
        wrap, change, lags=(*BEFORE.lags, Lag("rule@bandage_change", "bandage", "bandage_change", 5, 7, 7))
    )

    added = the_change(after, bandage=MONDAY, bandage_change=day(7))

    assert added == Change("bandage_change", Kind.ADDED, None, day(7), (Cause(Why.FACT, "bandage", now=MONDAY),))


def test_what_is_no_longer_asked_for_is_told_with_what_is_gone():
    gone = replace(BEFORE, events=(RECHECK,), lags=())

    dropped = {change.event_id: change for change in compare(BEFORE, DAYS, gone, {"recheck": day(4)})}["sutures"]

    assert (dropped.kind, dropped.was, dropped.now) == (Kind.DROPPED, day(11), None)
    assert dropped.causes == (Cause(Why.GONE, "surgery", was=day(-3)),)


def test_a_day_that_the_clinic_closes_or_the_carer_is_away_is_the_reason():
    closed = replace(BEFORE, closed={"clinic": Closed(dates=frozenset({day(11)}))})
    away = replace(BEFORE, closed={"carer": Closed(spans=((day(9), day(12)),))})

    assert why(closed, sutures=day(10)) == [Why.CLOSED]
    assert why(away, sutures=day(13)) == [Why.AWAY]


def test_a_day_that_went_by_is_the_reason():
    assert why(replace(BEFORE, today=day(6)), recheck=day(6)) == [Why.PASSED]


def test_a_shared_visit_is_named_where_nothing_else_is_the_reason():
    shared = compare(BEFORE, DAYS, BEFORE, DAYS | {"sutures": day(10), "recheck": day(10)})

    assert {change.event_id: change.causes for change in shared} == {
        "sutures": (Cause(Why.SHARED, "recheck", now=day(10)),),
        "recheck": (Cause(Why.SHARED, "sutures", now=day(10)),),
    }


def test_a_move_that_nothing_explains_by_itself_follows_the_others():
    assert why(BEFORE, sutures=day(12)) == [Why.FOLLOWS]


def test_a_cause_survives_its_json():
    cause = Cause(Why.ANCHOR, "surgery", "rule@sutures", day(0), day(1))

    assert Cause.from_json(cause.to_json()) == cause
