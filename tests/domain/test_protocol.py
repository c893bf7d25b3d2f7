"""Rules and facts become a planning problem: inheritance, chains, seasons, holds, lateness.

The rules here are made up for the test at hand. That a problem can be planned at all is checked by a theorem on
temporal networks, in tests/oracles/temporal.py.
"""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handover.schedule.plan import plan
from handover.schedule.problem import Closed, Costs
from handover.schedule.protocol import (
    BadRule,
    Case,
    Fact,
    Hold,
    Late,
    Overruled,
    Pin,
    Routine,
    Rule,
    SeasonGate,
    Setup,
    gates_for,
    gates_from_toml,
    lineage_of,
    problem_for,
    routines_for,
    rules_for,
    rules_from_toml,
)
from tests.oracles.temporal import can_be_planned

TODAY = date(2027, 6, 7)  # a Monday
LINE = ("pond-turtle", "turtle", "reptile")


def on(days: int) -> date:
    return TODAY + timedelta(days)


def rule(id: str, event: str, anchor: str, least=None, usual=None, most=None, **fields) -> Rule:
    days = {"min_days": least, "usual_days": usual, "max_days": most}
    return Rule(**{"id": id, "group": "reptile", "event": event, "anchor": anchor, **days, **fields})


def case(*facts: Fact, **fields) -> Case:
    return Case(LINE, facts, **fields)


def unfold(of: Case, *rules: Rule, gates=(), **setup):
    return problem_for(of, rules, gates, Setup(TODAY, **setup))


def events(instance) -> dict:
    return {event.id: event for event in instance.problem.events}


def lags(instance) -> dict:
    return {lag.id: lag for lag in instance.problem.lags}


def days(lag) -> tuple:
    return lag.min, lag.usual, lag.max


def links(instance, stem: str) -> list[str]:
    """The open links of a chain, in order."""
    found = [e.id for e in instance.problem.events if e.id.startswith(f"{stem}:") and not e.done]
    return sorted(found, key=lambda name: int(name.rsplit(":", 1)[1]))


SUTURES = rule("sutures", "sutures_out", "closure", 28, 42, 56, weight=6)
WEEKLY = rule("weekly", "recheck", "closure", 5, 7, 7, repeat_until="sutures_out", weight=2)
RELEASE = rule("release", "assessment", "sutures_out", 7, 14, per_case=True)
WEEKENDS = {"clinic": Closed(frozenset({5, 6}))}
AWAY = {"clinic": Closed(frozenset({1, 3, 5, 6})), "carer": Closed(spans=((on(0), on(9)),))}
CLOSED_TODAY = Fact("closure", TODAY, "closure-1")


# --- single events ---


def test_a_fact_sets_off_an_event_with_the_days_of_its_rule():
    made = unfold(case(CLOSED_TODAY), SUTURES)

    lag = lags(made)["sutures@sutures_out:closure-1"]
    assert (lag.start, lag.end) == ("closure:closure-1", "sutures_out:closure-1")
    assert (days(lag), lag.weight) == ((28, 42, 56), 6)
    assert made.rule_of_lag[lag.id] == SUTURES
    assert made.meaning[lag.end].rule == SUTURES


def test_a_fact_about_the_same_subject_makes_the_event_done():
    facts = Fact("closure", on(-50), "closure-1"), Fact("sutures_out", on(-3), "closure-1")

    made = unfold(case(*facts), SUTURES, RELEASE)

    assert events(made)["sutures_out:closure-1"].done == on(-3)
    assert days(lags(made)["release@assessment"]) == (7, 14, None)
    assert "sutures@sutures_out:closure-1" not in lags(made)


def test_a_fact_about_another_subject_does_not():
    made = unfold(case(CLOSED_TODAY, Fact("sutures_out", TODAY, "closure-9")), SUTURES)

    assert events(made)["sutures_out:closure-1"].done is None


def test_a_rule_may_count_from_an_event_that_has_not_happened():
    made = unfold(case(CLOSED_TODAY), SUTURES, RELEASE)

    lag = lags(made)["release@assessment"]
    assert (lag.start, lag.end) == ("sutures_out:closure-1", "assessment")


def test_one_event_for_the_case_waits_for_each_of_its_anchors():
    made = unfold(case(CLOSED_TODAY, Fact("closure", on(-7), "closure-2")), SUTURES, RELEASE)

    waits = [lag for lag in made.problem.lags if lag.end == "assessment"]
    assert {lag.start: days(lag) for lag in waits} == {
        "sutures_out:closure-1": (7, 14, None),  # the later one governs
        "sutures_out:closure-2": (7, None, None),  # the other is over by then: only its least days count
    }
    assert {lag.id for lag in waits} == {f"release@assessment/sutures_out:closure-{n}" for n in (1, 2)}


def test_a_fact_to_come_is_an_expectation_on_its_day():
    after_drug = rule("after-drug", "assessment", "last_dose", 7, 14, per_case=True)

    made = unfold(case(Fact("last_dose", on(10), "course-1")), after_drug)

    event = events(made)["last_dose:course-1"]
    assert (event.done, event.pinned, event.place) == (None, on(10), "home")


def test_an_event_of_the_case_is_to_come_again_when_its_beginning_was_after_it():
    seen_fit = Fact("assessment", on(-10))
    old, new = Fact("closure", on(-60), "closure-1"), Fact("closure", on(-2), "closure-2")

    before = unfold(case(old, seen_fit), SUTURES, RELEASE)
    after = unfold(case(old, seen_fit, new), SUTURES, RELEASE)

    assert events(before)["assessment"].done == on(-10)
    assert events(after)["assessment"].done is None


def test_the_place_of_an_event_comes_from_its_rules():
    at_home = rule("pond", "full_water", "sutures_out", 0, 0, place="home", per_case=True)

    made = unfold(case(CLOSED_TODAY), SUTURES, at_home)

    assert (events(made)["sutures_out:closure-1"].place, events(made)["full_water"].place) == ("clinic", "home")


def test_labels_travel_from_a_fact_to_what_comes_of_it():
    made = unfold(case(Fact("closure", TODAY, "closure-1", label="left hind limb")), SUTURES, RELEASE)

    assert made.meaning["sutures_out:closure-1"].label == "left hind limb"
    assert made.meaning["assessment"].label == ""


def test_the_order_of_facts_changes_nothing():
    facts = [CLOSED_TODAY, Fact("closure", on(-7), "closure-2"), Fact("recheck", on(-1), "closure-2")]

    assert unfold(case(*facts), SUTURES, WEEKLY, RELEASE) == unfold(case(*facts[::-1]), SUTURES, WEEKLY, RELEASE)


# --- which rule holds ---


def test_the_nearest_group_wins():
    near = rule("near", "sutures_out", "closure", 21, 28, 35, group="turtle")

    for given_rules in ((SUTURES, near), (near, SUTURES)):
        assert rules_for(LINE, given_rules) == (near,)


def test_rules_of_other_groups_are_left_out():
    assert rules_for(LINE, [rule("owl", "sutures_out", "closure", 10, 12, 14, group="raptor")]) == ()


def test_a_rule_for_a_tag_goes_before_one_for_any():
    staples = rule("staples", "sutures_out", "closure", 10, 20, 30, applies_to="staples")

    made = unfold(case(Fact("closure", TODAY, "closure-1", frozenset({"staples"}))), SUTURES, staples)

    assert list(lags(made)) == ["staples@sutures_out:closure-1"]


def test_a_tag_of_the_case_counts_for_every_fact():
    slow = rule("slow", "sutures_out", "closure", 42, 56, 70, applies_to="kept_cool")

    made = unfold(case(CLOSED_TODAY, tags=frozenset({"kept_cool"})), SUTURES, slow)

    assert list(lags(made)) == ["slow@sutures_out:closure-1"]


def test_tags_reach_what_comes_of_a_fact():
    ringed = rule("ringed", "assessment", "sutures_out", 20, 20, per_case=True, applies_to="limb")

    made = unfold(case(Fact("closure", TODAY, "closure-1", frozenset({"limb"}))), SUTURES, RELEASE, ringed)

    assert "ringed@assessment" in lags(made)


def test_a_rule_without_days_takes_the_event_away_for_its_tag():
    none = rule("none", "sutures_out", "closure", applies_to="splint")

    made = unfold(case(Fact("closure", TODAY, "closure-1", frozenset({"splint"}))), SUTURES, none, RELEASE)

    assert made.problem.events == ()


def test_an_alternative_is_never_a_second_task():
    slower = rule("slower", "sutures_out", "closure", 28, 49, 70, is_alternative=True)

    usual = unfold(case(CLOSED_TODAY), SUTURES, slower)
    chosen = unfold(case(CLOSED_TODAY, chosen=frozenset({"slower"})), SUTURES, slower)

    assert list(lags(usual)) == ["sutures@sutures_out:closure-1"]
    assert list(lags(chosen)) == ["slower@sutures_out:closure-1"]


def test_an_alternative_holds_where_no_other_rule_speaks():
    wrap = rule("wrap", "off", "bandage", 7, 10, 14, applies_to="wrap", is_alternative=True)

    made = unfold(case(Fact("bandage", TODAY, "bandage-1", frozenset({"wrap"}))), wrap)

    assert list(lags(made)) == ["wrap@off:bandage-1"]


def test_a_lineage_goes_up_to_the_widest_group():
    parents = {"pond-turtle": "turtle", "turtle": "reptile", "reptile": None}

    assert lineage_of("pond-turtle", parents) == LINE
    with pytest.raises(BadRule, match="itself among its parents"):
        lineage_of("a", {"a": "b", "b": "a"})


def test_rules_that_run_in_a_circle_are_refused():
    there, back = rule("there", "b", "a", 1, 1), rule("back", "a", "b", 1, 1)

    with pytest.raises(BadRule, match="run in a circle: back, there"):
        unfold(case(Fact("a", TODAY)), there, back)


# --- chains ---


@pytest.mark.parametrize(
    ("usual_end", "most", "wanted"),
    [
        (42, 7, 5),  # 7, 14, 21, 28, 35, and the end on 42
        (43, 7, 6),  # 42 is needed: from 35 to 43 would be more than 7 days
        (43, 10, 5),  # 42 is not: the end is a day later, and 43 - 35 is within 10
        (47, 12, 6),  # 42 is: 5 days before the end is more than half an interval
        (7, 7, 0),
        (8, 7, 1),
    ],
)
def test_a_chain_has_the_links_that_its_usual_interval_gives(usual_end, most, wanted):
    end = rule("end", "sutures_out", "closure", 1, usual_end, 60)
    weekly = rule("weekly", "recheck", "closure", 5, 7, most, repeat_until="sutures_out")

    made = unfold(case(CLOSED_TODAY), end, weekly)

    assert len(links(made, "recheck:closure-1")) == wanted


@pytest.mark.parametrize(("usual_end", "wanted"), [(43, 6), (42, 6), (39, 6), (38, 5), (35, 5), (34, 5), (31, 4)])
def test_a_link_that_was_promised_goes_only_when_the_end_comes_half_an_interval_before_it(usual_end, wanted):
    """The sixth is usual on day 42, the fifth on day 35. A day more or less is no reason to take one back."""
    end = rule("end", "sutures_out", "closure", 1, usual_end, 60)
    weekly = rule("weekly", "recheck", "closure", 5, 7, 10, repeat_until="sutures_out")
    promised = {f"recheck:closure-1:{n}": on(7 * n) for n in range(1, 7)}

    made = unfold(case(CLOSED_TODAY, previous=promised), end, weekly)

    assert len(links(made, "recheck:closure-1")) == wanted
    assert can_be_planned(made.problem)


def test_a_promised_link_that_can_no_longer_be_had_before_the_end_goes():
    hold = Hold("recheck:closure-1:5", TODAY, on(43))
    promised = {f"recheck:closure-1:{n}": on(7 * n) for n in range(1, 7)}

    made = unfold(case(CLOSED_TODAY, holds=(hold,), previous=promised), SUTURES, WEEKLY)

    assert links(made, "recheck:closure-1") == [f"recheck:closure-1:{n}" for n in range(1, 5)]
    assert can_be_planned(made.problem)


def test_links_follow_each_other_and_the_end_follows_the_last():
    made = unfold(case(CLOSED_TODAY), SUTURES, WEEKLY)

    chain = links(made, "recheck:closure-1")
    steps = [(lags(made)[f"weekly@{name}"].start, name) for name in chain]
    assert steps == list(zip(["closure:closure-1", *chain], chain, strict=False))
    assert all(days(lags(made)[f"weekly@{name}"]) == (5, 7, 7) for name in chain)
    last = lags(made)["weekly@sutures_out:closure-1"]
    assert (last.start, days(last)) == (chain[-1], (0, None, 7))


def test_links_that_were_done_count_by_their_day():
    done = [Fact("recheck", on(-7), "closure-1"), Fact("recheck", on(-14), "closure-1")]

    made = unfold(case(Fact("closure", on(-21), "closure-1"), *done), SUTURES, WEEKLY)

    assert events(made)["recheck:closure-1:1"].done == on(-14)
    assert events(made)["recheck:closure-1:2"].done == on(-7)
    assert lags(made)["weekly@recheck:closure-1:3"].start == "recheck:closure-1:2"
    assert len(links(made, "recheck:closure-1")) == 3  # 0, 7, 14 days from today; the end is due in 21


def test_what_was_done_on_the_day_of_the_anchor_is_no_link_yet():
    made = unfold(case(CLOSED_TODAY, Fact("recheck", TODAY, "closure-1")), SUTURES, WEEKLY)

    assert events(made)["recheck:closure-1:1"].done is None


def test_no_link_follows_an_end_that_is_done():
    facts = Fact("closure", on(-30), "closure-1"), Fact("sutures_out", on(-1), "closure-1")

    made = unfold(case(*facts), SUTURES, WEEKLY)

    assert links(made, "recheck:closure-1") == []


def test_a_chain_reaches_to_a_pinned_end():
    made = unfold(case(CLOSED_TODAY, pins=(Pin("sutures_out:closure-1", on(30)),)), SUTURES, WEEKLY)

    assert len(links(made, "recheck:closure-1")) == 4  # 7, 14, 21, 28
    assert events(made)["sutures_out:closure-1"].pinned == on(30)


def test_a_chain_whose_end_nobody_knows_shows_the_next_link_only():
    candle = rule("candle", "candling", "egg_laid", 7, 14, 21, repeat_until="hatch")

    made = unfold(case(Fact("egg_laid", TODAY, "clutch-1")), candle)

    assert links(made, "candling:clutch-1") == ["candling:clutch-1:1"]


def test_a_chain_ends_with_the_first_of_its_ends_that_the_case_has():
    weekly = rule("weekly", "recheck", "closure", 5, 7, 10, repeat_until="implants_out, sutures_out")

    made = unfold(case(CLOSED_TODAY), SUTURES, weekly)

    assert len(links(made, "recheck:closure-1")) == 5


def test_a_chain_may_change_its_interval():
    slowing = rule(
        "slowing", "recheck", "closure", 5, 7, 10, repeat_until="sutures_out",
        then_after=2, then_min_days=10, then_usual_days=14, then_max_days=21,
    )  # fmt: skip

    made = unfold(case(CLOSED_TODAY), SUTURES, slowing)

    chain = [days(lags(made)[f"slowing@{name}"]) for name in links(made, "recheck:closure-1")]
    assert chain == [(5, 7, 10), (5, 7, 10), (10, 14, 21)]  # days 7, 14, 28; the end is due on 42
    assert days(lags(made)["slowing@sutures_out:closure-1"]) == (0, None, 21)


def test_a_chain_of_the_whole_case_counts_from_its_latest_anchor():
    from_admission = rule("medical", "recheck", "admission", 5, 7, 10, repeat_until="assessment", per_case=True)
    from_surgery = rule("surgical", "recheck", "surgery", 2, 4, 7, repeat_until="assessment", per_case=True)
    end = rule("end", "assessment", "admission", None, 21, per_case=True)
    facts = [Fact("admission", on(-9)), Fact("recheck", on(-8)), Fact("surgery", on(-6), "surgery-1")]

    made = unfold(case(*facts, Fact("recheck", on(-3))), from_admission, from_surgery, end)

    assert events(made)["recheck:surgery-1:1"].done == on(-3)
    assert {meaning.rule.id for meaning in made.meaning.values() if meaning.event == "recheck"} == {"surgical"}


def test_a_long_chain_is_planned_seven_links_ahead():
    far = rule("far", "sutures_out", "closure", None, 365)

    made = unfold(case(CLOSED_TODAY), far, WEEKLY)

    assert len(links(made, "recheck:closure-1")) == 7
    assert "weekly@sutures_out:closure-1" not in lags(made)


# --- holds, pins, seasons ---


def test_a_hold_puts_an_event_off_and_outweighs_the_longest_interval():
    hold = Hold("sutures_out:closure-1", on(-1), on(14), "edges not sealed")

    made = unfold(case(Fact("closure", on(-50), "closure-1"), holds=(hold,)), SUTURES)

    lag = lags(made)["hold@sutures_out:closure-1"]
    assert events(made)[lag.start].done == on(-1)
    assert days(lag) == (15, 15, None)  # from yesterday to two weeks from now
    assert days(lags(made)["sutures@sutures_out:closure-1"]) == (28, None, None)
    assert made.overruled == (Overruled("sutures_out:closure-1", "sutures", "hold:sutures_out:closure-1", on(6)),)
    assert made.meaning[lag.start].label == "edges not sealed"


def test_a_hold_within_the_window_leaves_its_end_alone():
    hold = Hold("sutures_out:closure-1", TODAY, on(30))

    made = unfold(case(CLOSED_TODAY, holds=(hold,)), SUTURES)

    assert days(lags(made)["sutures@sutures_out:closure-1"]) == (28, 42, 56)
    assert made.overruled == ()


def test_a_link_put_off_beyond_the_end_lets_the_end_be():
    hold = Hold("recheck:closure-1:2", TODAY, on(60))

    made = unfold(case(CLOSED_TODAY, holds=(hold,)), SUTURES, WEEKLY)

    assert links(made, "recheck:closure-1") == ["recheck:closure-1:1"]
    assert can_be_planned(made.problem)
    assert made.unused == ("recheck:closure-1:2",)


def test_the_latest_word_about_an_event_counts():
    first, second = Hold("sutures_out:closure-1", on(-9), on(40)), Hold("sutures_out:closure-1", on(-2), on(5))

    made = unfold(case(Fact("closure", on(-40), "closure-1"), holds=(second, first)), SUTURES)

    assert lags(made)["hold@sutures_out:closure-1"].min == 7


def test_a_hold_whose_day_has_come_is_over_and_lateness_counts_from_it():
    hold = Hold("sutures_out:closure-1", on(-30), on(-5))

    made = unfold(case(Fact("closure", on(-90), "closure-1"), holds=(hold,)), SUTURES)

    assert "hold@sutures_out:closure-1" not in lags(made)
    assert made.late == (Late("sutures_out:closure-1", "sutures", on(-5), on(-5)),)


def test_pins_and_holds_about_nothing_are_named():
    of = case(CLOSED_TODAY, pins=(Pin("recheck:old:3", on(3)),), holds=(Hold("water", TODAY, on(4)),))

    made = unfold(of, SUTURES)

    assert made.unused == ("recheck:old:3", "water")


def test_a_hold_on_what_no_rule_plans_changes_nothing():
    after_drug = rule("after-drug", "assessment", "last_dose", 7, 14, per_case=True)
    last_dose = Fact("last_dose", on(10), "course-1")

    made = unfold(case(last_dose, holds=(Hold("last_dose:course-1", TODAY, on(40)),)), after_drug)

    assert made.problem == unfold(case(last_dose), after_drug).problem
    assert made.unused == ("last_dose:course-1",)


def test_closed_days_make_no_chain_shorter():
    # The first link has to come by day 7, while the carer is away: the conflict to be shown is with those days alone.
    weekly = rule("weekly", "recheck", "closure", 5, 7, 10, repeat_until="sutures_out")

    made = unfold(case(CLOSED_TODAY), SUTURES, weekly, closed={"carer": Closed(spans=((on(0), on(16)),))})

    assert len(links(made, "recheck:closure-1")) == 5  # 10 at the latest, 17, 24, 31, 38; the end is due in 42
    assert can_be_planned(made.problem)


def test_an_agreed_day_that_went_by_is_late_and_free_again():
    made = unfold(case(Fact("closure", on(-44), "closure-1"), pins=(Pin("sutures_out:closure-1", on(-2)),)), SUTURES)

    assert events(made)["sutures_out:closure-1"].pinned is None
    assert made.late == (Late("sutures_out:closure-1", "pin", on(-2), on(-2)),)


SUMMER = SeasonGate(id="summer", group="reptile", event="assessment", opens=(5, 15), closes=(9, 1))


def ready_on(day: date) -> Case:
    return case(Fact("sutures_out", day - timedelta(14), "closure-1"))


def season_lag(of: Case, today: date):
    made = problem_for(of, [RELEASE], [SUMMER], Setup(today))
    return events(made)["season:summer"], lags(made)["season@assessment"]


def test_an_event_before_its_season_waits_for_the_opening():
    event, lag = season_lag(ready_on(date(2027, 3, 10)), date(2027, 3, 1))

    assert (event.pinned, event.done) == (date(2027, 5, 15), None)
    assert days(lag) == (0, 0, 109)  # 15 May to 1 September


def test_an_event_after_its_season_waits_for_next_year():
    event, _ = season_lag(ready_on(date(2027, 10, 4)), date(2027, 9, 25))

    assert event.pinned == date(2028, 5, 15)


def test_an_event_within_its_season_must_stay_in_it():
    event, lag = season_lag(ready_on(date(2027, 8, 20)), date(2027, 8, 10))

    assert (event.done, days(lag)) == (date(2027, 5, 15), (0, None, 109))


def test_the_season_is_half_a_year_on_in_the_south():
    southern = Case(LINE, ready_on(date(2027, 8, 20)).facts, is_southern=True)

    event, lag = season_lag(southern, date(2027, 8, 10))

    assert (event.pinned, lag.max) == (date(2027, 11, 15), 107)  # to 1 March 2028, a leap year


@pytest.mark.parametrize(
    ("north", "south"),
    [((5, 15), (11, 15)), ((12, 31), (6, 30)), ((8, 31), (2, 28)), ((1, 1), (7, 1)), ((6, 30), (12, 30))],
)
def test_a_day_moves_six_months_in_the_south(north, south):
    gate = SeasonGate(id="g", group="reptile", event="e", opens=north, closes=north)

    assert gate.in_the_south().opens == south


def test_a_season_may_run_over_the_turn_of_the_year():
    winter = SeasonGate(id="w", group="reptile", event="e", opens=(11, 1), closes=(2, 15))

    assert winter.next_season(date(2027, 1, 10)) == (date(2026, 11, 1), date(2027, 2, 15))
    assert winter.next_season(date(2027, 2, 16)) == (date(2027, 11, 1), date(2028, 2, 15))


def test_the_horizon_reaches_a_season_of_next_year():
    made = problem_for(ready_on(date(2027, 10, 4)), [RELEASE], [SUMMER], Setup(date(2027, 9, 25), horizon_days=30))

    assert made.problem.last_day > date(2028, 5, 15)


def test_the_nearest_season_wins_per_event():
    near = SeasonGate(id="near", group="turtle", event="assessment", opens=(6, 1), closes=(8, 1))

    assert gates_for(LINE, [SUMMER, near]) == (near,)


DAYS_OF_A_YEAR = st.dates(date(2023, 1, 1), date(2023, 12, 31)).map(lambda day: (day.month, day.day))


@given(st.dates(date(2020, 1, 1), date(2040, 12, 31)), DAYS_OF_A_YEAR, DAYS_OF_A_YEAR)
def test_the_next_season_is_the_one_that_a_calendar_shows(day, opens, closes):
    gate = SeasonGate(id="g", group="reptile", event="e", opens=opens, closes=closes)

    def is_in(each):
        at = (each.month, each.day)
        return opens <= at <= closes if opens <= closes else at >= opens or at <= closes

    first, last = gate.next_season(day)

    wanted = next(each for each in (day + timedelta(n) for n in range(367)) if is_in(each))
    assert first <= wanted <= last
    assert is_in(day) or wanted == first
    assert is_in(first)
    assert is_in(last)


# --- lateness ---


def test_a_last_day_that_went_by_is_left_out_and_reported():
    made = unfold(case(Fact("closure", on(-60), "closure-1")), SUTURES)

    assert days(lags(made)["sutures@sutures_out:closure-1"]) == (28, 42, None)
    assert made.late == (Late("sutures_out:closure-1", "sutures", on(-18), on(-4)),)


def test_a_last_day_still_to_come_binds():
    made = unfold(case(Fact("closure", on(-56), "closure-1")), SUTURES)

    assert days(lags(made)["sutures@sutures_out:closure-1"]) == (28, 42, 56)
    assert made.late == ()


def test_it_is_late_when_only_closed_days_are_left():
    saturday = Setup(date(2027, 6, 12), closed=WEEKENDS)
    of = case(Fact("closure", date(2027, 6, 13) - timedelta(56), "closure-1"))  # last day: Sunday

    made = problem_for(of, [SUTURES], [], saturday)

    assert lags(made)["sutures@sutures_out:closure-1"].max is None
    assert [late.last_day for late in made.late] == [date(2027, 6, 13)]


def test_a_window_that_never_had_an_open_day_stays_a_conflict():
    away = {"carer": Closed(spans=((on(-40), on(3)),))}

    made = unfold(case(Fact("closure", on(-54), "closure-1")), SUTURES, closed=away)

    assert lags(made)["sutures@sutures_out:closure-1"].max == 56
    assert made.late == ()


def test_a_late_link_is_due_now_and_the_others_follow():
    made = unfold(case(Fact("closure", on(-20), "closure-1")), SUTURES, WEEKLY)

    assert days(lags(made)["weekly@recheck:closure-1:1"]) == (5, 7, None)
    assert [late.event_id for late in made.late] == ["recheck:closure-1:1"]
    assert len(links(made, "recheck:closure-1")) == 4  # today, 7, 14, 21; the end is due in 22, past 7 from 14


def test_what_is_late_is_not_put_off_until_a_journey_could_be_shared():
    """The recheck was due six days ago; a picture is to be taken on Friday, and a journey saved is worth thirty."""
    picture = rule("picture", "picture", "closure", 17, 17, 17)

    made = unfold(case(Fact("closure", on(-13), "closure-1")), SUTURES, WEEKLY, picture)

    answer = plan(made.problem)
    assert answer.days["picture:closure-1"] == on(4)
    assert answer.days["recheck:closure-1:1"] == TODAY


def test_what_is_late_without_a_usual_day_is_pulled_to_its_last_one():
    by_then = rule("by-then", "check", "closure", 1, None, 5)

    made = unfold(case(Fact("closure", on(-13), "closure-1")), by_then)

    assert days(lags(made)["by-then@check:closure-1"]) == (1, 5, None)
    assert plan(made.problem).days["check:closure-1"] == TODAY


def some_fact(event: str, latest: int = 0):
    subject, tags = st.sampled_from(["a", "b"]), st.sampled_from([frozenset(), frozenset({"slow"})])
    return st.builds(Fact, event=st.just(event), on=st.integers(-120, latest).map(on), subject=subject, tags=tags)


PAST = ["closure", "sutures_out", "recheck", "bandage", "bandage_change", "bandage_off", "full_water", "assessment"]
FACTS = st.lists(st.one_of(some_fact("last_dose", latest=20), *map(some_fact, PAST)), max_size=8)
LIBRARY = [
    SUTURES,
    rule("slow", "sutures_out", "closure", 40, 42, 42, applies_to="slow"),
    WEEKLY,
    RELEASE,
    rule("change", "bandage_change", "bandage", 5, 7, 7, repeat_until="bandage_off"),
    rule("off", "bandage_off", "bandage", 14, 14, 14),
    rule("pond", "full_water", "sutures_out", 0, 0, 7, per_case=True),
    rule("pond-b", "full_water", "bandage_off", 3, 10, 12, per_case=True),
    rule("swim", "swim_test", "full_water", 3, 7, 7, per_case=True),
    rule("fit", "assessment", "swim_test", 0, 1, 2, per_case=True),
    rule("drug", "assessment", "last_dose", 8, 8, 8, per_case=True),
    rule("seen", "check", "closure", 3, 7, 10, repeat_until="assessment", per_case=True, then_after=2,
         then_usual_days=14, then_max_days=14),
]  # fmt: skip
HOLDS = st.lists(
    st.builds(
        lambda event, said, days: Hold(event, on(said), on(said + days)),
        st.sampled_from(["sutures_out:a", "bandage_off:b", "full_water", "assessment", "recheck:a:2", "swim_test"]),
        st.integers(-60, 0),
        st.integers(0, 90),
    ),
    max_size=3,
)


LINKS = [f"{stem}:{n}" for stem in ("recheck:a", "recheck:b", "bandage_change:a", "bandage_change:b", "check") for n in range(1, 9)]
PROMISED = st.frozensets(st.sampled_from(LINKS)).map(lambda links: dict.fromkeys(links, TODAY))


@settings(max_examples=300, deadline=None)
@given(FACTS, HOLDS, st.sampled_from([(), (SUMMER,)]), st.booleans(), st.sampled_from([{}, WEEKENDS, AWAY]), PROMISED)
def test_no_lateness_and_no_hold_makes_a_case_impossible(facts, holds, gates, is_southern, closed, promised):
    of = case(*facts, holds=tuple(holds), is_southern=is_southern, previous=promised)

    made = unfold(of, *LIBRARY, gates=gates, closed=closed)

    assert can_be_planned(made.problem)


@given(FACTS)
def test_every_lag_has_a_name_of_its_own_and_every_event_a_meaning(facts):
    made = unfold(case(*facts), *LIBRARY)

    names = [lag.id for lag in made.problem.lags]
    assert len(names) == len(set(names))
    assert set(made.meaning) == {event.id for event in made.problem.events}
    assert set(made.rule_of_lag) <= set(names)


def test_an_agreed_day_outside_a_window_stays_a_conflict():
    made = unfold(case(CLOSED_TODAY, pins=(Pin("sutures_out:closure-1", on(10)),)), SUTURES)

    assert not can_be_planned(made.problem)


# --- routines ---


LOOK = rule("look", "look", "bandage", 1, 1, 1, repeat_until="bandage_off", is_routine=True, place="home")
WATCH = rule("watch", "watch", "bandage", 0, 1, 3, is_routine=True, place="home")
OFF = rule("off", "bandage_off", "bandage", 10, 14, 21)


def test_a_routine_lasts_until_its_end_and_is_never_planned():
    of = case(Fact("bandage", on(-5), "bandage-1", label="left wing"))

    (found,) = routines_for(of, [LOOK, OFF], TODAY, {"bandage_off:bandage-1": on(9)})

    assert found == Routine(LOOK, "bandage-1", "left wing", since=on(-5), until=on(9))
    assert all(event.id.split(":")[0] != "look" for event in unfold(of, LOOK, OFF).problem.events)


def test_a_routine_without_an_end_lasts_its_longest_interval():
    assert [r.until for r in routines_for(case(Fact("bandage", on(-2))), [WATCH], TODAY)] == [on(1)]
    assert routines_for(case(Fact("bandage", on(-4))), [WATCH], TODAY) == ()


def test_a_routine_is_over_when_its_end_is_done():
    of = case(Fact("bandage", on(-20), "bandage-1"), Fact("bandage_off", on(-3), "bandage-1"))

    assert routines_for(of, [LOOK, OFF], TODAY) == ()


# --- what comes with the problem, and reading rows ---


def test_today_closing_days_costs_and_the_plan_before_are_handed_on():
    closed, costs = {"clinic": Closed(frozenset({6}))}, Costs(visit=20, move=3)

    problem = unfold(case(CLOSED_TODAY, previous={"x": on(3)}), SUTURES, closed=closed, costs=costs).problem

    assert (problem.today, problem.closed, problem.costs, problem.previous) == (TODAY, closed, costs, {"x": on(3)})


ROW = {"id": "r", "group": "reptile", "event": "sutures_out", "anchor": "closure", "usual_days": 7}


def test_rows_become_rules_and_go_back():
    (read,) = rules_from_toml({"rule": [{**ROW, "csv_row": [1], "published_days": [1, 2, 3], "changed": "why"}]})

    assert Rule.from_json(read.to_json()) == read
    assert SeasonGate.from_json(SUMMER.to_json()) == SUMMER


@pytest.mark.parametrize(
    ("slip", "sentence"),
    [
        ({"minimum": 3}, "rule r has a field that nobody knows: minimum."),
        ({"min_days": 9}, "rule r has min_days (9) above usual_days (7)."),
        ({"max_days": 6}, "rule r has usual_days (7) above max_days (6)."),
        ({"min_days": -1}, "rule r needs a whole number from 0 to 3650 for min_days, not -1."),
        ({"usual_days": 3.5}, "rule r needs a whole number from 0 to 3650 for usual_days, not 3.5."),
        ({"usual_days": True}, "rule r needs a whole number from 0 to 3650 for usual_days, not True."),
        ({"place": "zoo"}, "rule r needs place clinic or home, not 'zoo'."),
        ({"event": ""}, "rule r needs a name for event."),
        ({"anchor": "sutures_out"}, "rule r makes sutures_out count from itself."),
        ({"repeat_until": "sutures_out"}, "rule r would repeat until itself."),
        ({"repeat_until": " , "}, "rule r needs the event that ends it in repeat_until."),
        ({"repeat_until": "x", "usual_days": 0}, "rule r repeats, so it needs usual_days of 1 or more."),
        (
            {"then_after": 2, "then_usual_days": 9},
            "rule r changes its interval, so it needs repeat_until and then_usual_days of 1 or more.",
        ),
        (
            {"repeat_until": "x", "then_after": 2},
            "rule r needs both then_after (1 or more) and then_usual_days, or neither.",
        ),
        ({"instruction": "x" * 161}, "rule r has an instruction of 161 characters: 160 fit."),
        ({"id": "white space"}, "rule 'white space' needs an id of 1 to 120 letters, digits and . - _."),
    ],
)
def test_a_slip_in_a_rule_is_named_in_a_sentence(slip, sentence):
    with pytest.raises(BadRule) as refused:
        rules_from_toml({"rule": [{**ROW, **slip}]})

    assert str(refused.value) == sentence


def test_a_missing_field_a_double_and_a_rival_are_named():
    with pytest.raises(BadRule, match=r"rule r lacks anchor\."):
        rules_from_toml({"rule": [{key: ROW[key] for key in ("id", "group", "event")}]})
    with pytest.raises(BadRule, match=r"rule r is there twice\."):
        rules_from_toml({"rule": [ROW, ROW]})
    with pytest.raises(BadRule, match=r"rule s competes with r: mark one of them as an alternative\."):
        rules_from_toml({"rule": [ROW, {**ROW, "id": "s"}]})


@pytest.mark.parametrize("opens", [[2, 29], [13, 1], [5], "May", None])
def test_a_season_needs_days_that_every_year_has(opens):
    with pytest.raises(BadRule, match="season summer needs a month and day of every year for opens"):
        gates_from_toml({"gate": [{"id": "summer", "group": "g", "event": "e", "opens": opens, "closes": [9, 1]}]})
