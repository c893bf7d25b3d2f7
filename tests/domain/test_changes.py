"""What differs between two plans, and the reasons for it."""

from dataclasses import replace
from datetime import date, timedelta

from handover.schedule.changes import Cause, Change, Kind, Why, compare, first, is_shut, worth_telling
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


def test_a_fact_that_is_gone_was_never_promised():
    after = replace(BEFORE, events=(SUTURES, RECHECK), lags=())

    assert compare(BEFORE, DAYS, after, {"sutures": day(11), "recheck": day(4)}) == ()


def test_what_counts_from_something_new_that_is_still_to_come_says_so():
    later = Event("wash", "clinic")
    after = with_events(later, lags=(*BEFORE.lags, Lag("rule@sutures-2", "wash", "sutures", 5)))

    changes = {c.event_id: c for c in compare(BEFORE, DAYS, after, DAYS | {"wash": day(8), "sutures": day(13)})}

    assert changes["sutures"].causes == (Cause(Why.FACT, "wash", now=day(8)),)


def test_a_rule_that_now_counts_from_something_done_meanwhile_says_so():
    after = with_events(replace(RECHECK, done=day(4)), today=day(5), lags=(*BEFORE.lags, Lag("rule@sutures-2", "recheck", "sutures", 9)))

    assert the_change(after, sutures=day(13)).causes == (Cause(Why.FACT, "recheck", now=day(4)),)


def test_what_is_added_names_only_what_is_new_of_that_it_counts_from():
    """A new event that counts from an old fact, and from a recheck that was still to come and is now done."""
    added = Event("swim_test", "home")
    rules = (Lag("swim@swim_test", "surgery", "swim_test", 5), Lag("swim@swim_test+recheck", "recheck", "swim_test", 5))
    done = with_events(added, replace(RECHECK, done=day(4)), today=day(5), lags=(*BEFORE.lags, *rules))
    still_to_come = with_events(added, lags=(*BEFORE.lags, *rules))

    assert the_change(done, swim_test=day(9)).causes == (Cause(Why.FACT, "recheck", now=day(4)),)
    assert the_change(still_to_come, swim_test=day(9)).causes == ()


def test_a_season_whose_rule_has_no_least_days_opens_on_its_first():
    season = Event("season:spring", "home", pinned=day(30))
    after = with_events(season, lags=(*BEFORE.lags, Lag("season@sutures", "season:spring", "sutures", None, None, 90)))

    found = the_change(after, **{"season:spring": day(30), "sutures": day(30)})

    assert found.causes == (Cause(Why.SEASON, now=day(30)),)


def test_changes_come_in_the_order_of_the_days_that_are_new_or_were():
    moved, dropped, added = replace(SUTURES, id="a"), replace(SUTURES, id="b"), replace(SUTURES, id="c")
    before = replace(BEFORE, events=(moved, dropped), lags=())
    after = replace(BEFORE, events=(moved, added), lags=())

    found = compare(before, {"a": day(1), "b": day(5)}, after, {"a": day(9), "c": day(7)})

    assert [change.event_id for change in found] == ["b", "c", "a"]


# --- chains ---


WRAP = Event("bandage:w", "home", done=day(-3))
OFF = Event("bandage_off:w", "clinic")


def chain(links, off=OFF, wrap=WRAP, off_on=22, today=MONDAY):
    """A bandage that is changed every week until it comes off, with so many changes still to come: problem and days."""
    names = [f"change:w:{n}" for n in range(1, links + 1)]
    steps = zip([wrap.id, *names], [*names, off.id], strict=False)
    lags = tuple(Lag(f"weekly@{end}", start, end, 0 if end == off.id else 5, None if end == off.id else 7, 9) for start, end in steps)
    problem = Problem(today, 90, (wrap, *(Event(name, "clinic") for name in names), off), lags)
    return problem, {wrap.id: wrap.done, **{name: day(7 * n - 3) for n, name in enumerate(names, 1)}, off.id: off.done or day(off_on)}


def changes_of(before, after):
    return {change.event_id: change for change in compare(*before, *after)}


def test_a_link_that_is_needed_no_more_would_come_after_the_end():
    found = changes_of(chain(3), chain(2, off_on=15))

    assert found["change:w:3"].causes == (Cause(Why.ENDED, "bandage_off:w", now=day(15)),)


def test_one_more_link_comes_before_the_end():
    found = changes_of(chain(2), chain(3, off_on=25))

    assert found["change:w:3"].causes == (Cause(Why.AGAIN, "bandage_off:w", now=day(25)),)


def test_the_links_of_a_new_chain_count_from_the_fact_that_set_it_off():
    found = changes_of((replace(BEFORE, events=(), lags=()), {}), chain(2))

    assert [found[f"change:w:{n}"].causes for n in (1, 2)] == [(Cause(Why.FACT, "bandage:w", now=day(-3)),)] * 2


def test_after_the_end_no_link_has_lost_what_it_counted_from():
    off = replace(OFF, done=day(1))
    ended = Problem(day(2), 90, (off,)), {off.id: day(1)}

    found = changes_of(chain(2), ended)

    assert [found[f"change:w:{n}"].causes for n in (1, 2)] == [(Cause(Why.ENDED, "bandage_off:w", now=day(1)),)] * 2


def test_a_chain_whose_beginning_was_a_mistake_counted_from_what_is_gone():
    found = changes_of(chain(2), (replace(BEFORE, events=(RECHECK,), lags=()), {"recheck": day(4)}))

    assert [found[f"change:w:{n}"].causes for n in (1, 2)] == [(Cause(Why.GONE, "bandage:w", was=day(-3)),)] * 2


def test_an_interval_that_is_left_out_is_no_change_of_the_protocol():
    """A hold, or another anchor that gives the later day, takes the pull of a rule away, and may give it back."""
    pulled, free = BEFORE, replace(BEFORE, lags=(replace(RULE, usual=None, max=None), BEFORE.lags[1]))
    later = DAYS | {"sutures": day(12)}

    for before, after in ((pulled, free), (free, pulled)):
        (change,) = compare(before, DAYS, after, later)
        assert change.causes == (Cause(Why.FOLLOWS),)


# --- what is worth telling ---


def told(*changes):
    return [change.event_id for change in worth_telling(changes)]


def test_what_was_done_is_no_news():
    assert told(Change("a", Kind.DONE, day(1), day(2)), Change("b", Kind.MOVED, day(1), day(2))) == ["b"]


def test_what_goes_by_another_name_on_its_old_day_is_no_news():
    gone = [Change(f"recheck:old:{n}", Kind.DROPPED, day(7 * n), None) for n in (1, 2, 3)]
    come = [Change(f"recheck:new:{n}", Kind.ADDED, None, day(7 * n)) for n in (1, 2)]

    assert told(*gone, *come) == ["recheck:old:3"]


def test_two_new_things_on_the_day_of_one_that_is_gone_are_one_new_thing():
    come = [Change(name, Kind.ADDED, None, day(1)) for name in ("x:b", "x:c")]

    assert told(Change("x:old", Kind.DROPPED, day(1), None), *come) == ["x:c"]


def test_something_else_on_the_same_day_or_the_same_on_another_is_news():
    gone = Change("recheck:old", Kind.DROPPED, day(1), None)

    assert told(gone, Change("picture:new", Kind.ADDED, None, day(1))) == ["recheck:old", "picture:new"]
    assert told(gone, Change("recheck:new", Kind.ADDED, None, day(2))) == ["recheck:old", "recheck:new"]


def test_a_day_that_the_clinic_closes_or_the_carer_is_away_is_the_reason():
    closed = replace(BEFORE, closed={"clinic": Closed(dates=frozenset({day(11)}))})
    away = replace(BEFORE, closed={"carer": Closed(spans=((day(9), day(12)),))})

    assert why(closed, sutures=day(10)) == [Why.CLOSED]
    assert why(away, sutures=day(13)) == [Why.AWAY]


def test_a_calendar_says_no_on_its_weekdays_dates_and_spans_with_both_their_ends():
    closed = Closed(frozenset({5}), frozenset({day(3)}), ((day(7), day(8)), (day(10), day(10))))

    assert [n for n in range(13) if is_shut(closed, day(n))] == [3, 5, 7, 8, 10, 12]  # 5 and 12 are Saturdays


def test_a_day_that_is_not_over_has_not_gone_by():
    closed = replace(BEFORE, today=day(4), closed={"clinic": Closed(dates=frozenset({day(4)}))})

    assert why(closed, recheck=day(5)) == [Why.CLOSED]


def test_a_day_that_went_by_is_the_reason():
    assert why(replace(BEFORE, today=day(6)), recheck=day(6)) == [Why.PASSED]


def test_a_shared_visit_is_named_where_nothing_else_is_the_reason():
    shared = compare(BEFORE, DAYS, BEFORE, DAYS | {"sutures": day(10), "recheck": day(10)})

    assert {change.event_id: change.causes for change in shared} == {
        "sutures": (Cause(Why.SHARED, "recheck", now=day(10)),),
        "recheck": (Cause(Why.SHARED, "sutures", now=day(10)),),
    }


def test_of_several_things_on_a_shared_visit_one_is_named():
    third = Event("picture", "clinic")
    before, days = with_events(third), DAYS | {"picture": day(6)}

    together = compare(before, days, before, days | {"sutures": day(10), "recheck": day(10), "picture": day(10)})

    assert all(len(change.causes) == 1 for change in together)


def test_a_move_that_nothing_explains_by_itself_follows_the_others():
    assert why(BEFORE, sutures=day(12)) == [Why.FOLLOWS]


def test_a_cause_survives_its_json():
    cause = Cause(Why.ANCHOR, "surgery", "rule@sutures", day(0), day(1))

    assert Cause.from_json(cause.to_json()) == cause
