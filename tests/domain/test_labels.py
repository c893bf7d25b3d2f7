"""Every value that the planning core can give has words, and the sums that explain a date add up."""

import re
import tomllib
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from handover.labels.care import (
    ANSWERS,
    BECAUSE,
    CALLS,
    REASONS,
    SIGNS,
    cause_in_words,
    signs_in_words,
    water_minutes,
    water_reason,
)
from handover.labels.changes import CAUSES, KINDS, SUPPOSED
from handover.labels.changes import cause_in_words as change_cause_in_words
from handover.labels.conflicts import CURES, Way, conflict_lines, cure_lines, member_line
from handover.labels.events import (
    CALENDARS,
    PLACES,
    dated_label,
    event_label,
    event_names,
    name_of,
    plain_label,
)
from handover.labels.rules import NEEDS, row_figures, row_title, rule_days, rule_figures
from handover.labels.whatif import NONSENSE
from handover.labels.why import Side, day_reasons, sentence, sum_in_words
from handover.schedule.answers import Answer, Because, Call, Cause
from handover.schedule.case import Case, Fact, Hold, Meaning, Pin, Setup
from handover.schedule.changes import Cause as ChangeCause
from handover.schedule.changes import Kind, Why
from handover.schedule.explain import CureKind, demands
from handover.schedule.library import Rule, gates_from_toml, rules_from_toml
from handover.schedule.plan import Conflict, plan
from handover.schedule.problem import CALENDARS as EVERY_CALENDAR
from handover.schedule.problem import PLACES as EVERY_PLACE
from handover.schedule.problem import Closed
from handover.schedule.protocol import problem_for
from handover.schedule.release import Criterion, Needs
from handover.schedule.watertime import Allowance, Reason, Sign, WaterProtocol
from handover.schedule.whatif import Nonsense
from hospital.admissions.reference import FOLDER

MONDAY = date(2027, 3, 1)


def shipped(file):
    return tomllib.loads((FOLDER / file).read_text())


RULES = rules_from_toml(shipped("protocols.toml"))
GATES = gates_from_toml(shipped("season_gates.toml"))


@pytest.mark.parametrize(
    ("words", "values"),
    [
        (SIGNS, Sign), (REASONS, Reason), (ANSWERS, Answer), (CALLS, Call), (BECAUSE, Because), (NEEDS, Needs),
        (KINDS, Kind), (CAUSES, Why), (PLACES, EVERY_PLACE), (CALENDARS, EVERY_CALENDAR),
        (CURES, CureKind), (NONSENSE, Nonsense), (SUPPOSED, Why),
    ],
)  # fmt: skip
def test_every_value_has_words(words, values):
    assert set(words) == set(values)


def test_every_event_anchor_and_end_of_the_library_has_words():
    criteria = [Criterion.from_json(without(row)) for row in shipped("release_criteria.toml")["criterion"]]
    named = {event for rule in RULES for event in (rule.event, rule.anchor, *rule.ends)}
    named |= {gate.event for gate in GATES} | {each.target for each in criteria if each.needs is Needs.EVENT}

    assert named <= set(event_names())


def without(row):
    return {key: value for key, value in row.items() if key != "csv_row"}


def test_every_row_of_the_library_reads_as_a_sentence():
    water = [WaterProtocol.from_json(without(row)) for row in shipped("water_protocols.toml")["water"]]
    criteria = [Criterion.from_json(without(row)) for row in shipped("release_criteria.toml")["criterion"]]

    for row in (*RULES, *GATES, *water, *criteria):
        words = f"{row_title(row)} {row_figures(row)}"
        assert "%(" not in words
        assert "None" not in words
        assert "_" not in words


# --- rules --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ((28, 42, 56), "At least 28, usually 42, at most 56 days"),
        ((None, 1, None), "Usually 1 day"),
        ((7, None, None), "At least 7 days"),
        ((None, None, None), "Any number of days"),
    ],
)
def test_days_of_a_rule(figures, words):
    assert rule_days(*figures) == words


def a_rule(**fields):
    wanted = {"id": "x", "group": "animal", "event": "recheck", "anchor": "surgery", "usual_days": 7}
    return Rule(**wanted | fields)


def test_figures_of_rules_of_every_shape():
    once = a_rule(min_days=3, max_days=10)
    chain = a_rule(repeat_until="implant_removal, release_assessment", then_after=4, then_usual_days=14)
    daily = a_rule(event="weigh", is_routine=True, place="home")
    not_needed = a_rule(usual_days=None)

    assert rule_figures(once) == "At least 3, usually 7, at most 10 days after: Operation"
    assert rule_figures(chain) == (
        "Again and again, usually 7 days apart, from: Operation, until: implants out or release assessment (after 4 times every 14 days)"
    )
    assert rule_figures(daily) == "Every 7 days at home, from: Operation"
    assert rule_figures(not_needed) == "Not needed after: Operation"


# --- events -------------------------------------------------------------------------------------------------------


def test_an_event_is_named_with_what_it_is_about_and_its_number():
    assert event_label(Meaning("suture_removal", "closure-12", label="left hind limb")) == ("Sutures or staples out · left hind limb")
    assert event_label(Meaning("recheck", link=3)) == "Recheck (no. 3)"


def test_a_published_event_reads_like_a_live_one():
    assert dated_label("bandage_change", "left wing", "bandage_change:bandage-1:2") == ("Bandage check and change · left wing (no. 2)")
    assert dated_label("suture_removal", "", "suture_removal:closure-12") == "Sutures or staples out"
    assert plain_label("wound_closure:closure-12") == "Wound closed"
    assert name_of("moon_walk").label == "Moon walk"


# --- why ----------------------------------------------------------------------------------------------------------


def turtle(**fields):
    facts = (
        Fact("admission", date(2027, 2, 25)),
        Fact("wound_closure", date(2027, 2, 26), "closure-1", frozenset({"sutures"}), "left hind limb"),
    )
    case = Case(("turtle-freshwater", "chelonian", "reptile", "animal"), facts)
    closed = {"clinic": Closed(frozenset({5, 6}))}
    return problem_for(replace(case, **fields), RULES, GATES, Setup(MONDAY, closed=closed))


SUTURES = "suture_removal:closure-1"
LAG = f"turtle-freshwater.suture-removal.sutures@{SUTURES}"


def test_a_bound_is_a_sum_that_a_reader_can_check():
    """28 and 42 days: NC State University, Turtle Ally Program, module "Common Surgical Procedures"."""
    instance = turtle()

    earliest = sum_in_words(instance, SUTURES, [LAG], Side.EARLIEST)
    latest = sum_in_words(instance, SUTURES, [LAG], Side.LATEST)

    assert sentence(earliest) == (
        "Wound closed · left hind limb: Fri 26-Feb-2027 + at least 28 days to: Sutures or staples out · left hind limb = Fri 26-Mar-2027"
    )
    assert latest[-1].day == date(2027, 2, 26) + timedelta(42)
    assert "NC State" in earliest[-1].source


def test_a_chain_is_walked_from_its_fixed_end_whichever_way_it_is_given():
    instance = turtle()
    after = next(lag for lag in instance.problem.lags if lag.start == SUTURES and lag.end == "full_water")

    there = sum_in_words(instance, "full_water", [LAG, after.id], Side.EARLIEST)
    back = sum_in_words(instance, "full_water", [after.id, LAG], Side.EARLIEST)

    assert there == back
    assert there[-1].day == date(2027, 2, 26) + timedelta(28 + after.min)


def test_a_bound_may_run_backwards_from_a_pin():
    instance = turtle(pins=(Pin("full_water", date(2027, 4, 5)),))
    after = next(lag for lag in instance.problem.lags if lag.start == SUTURES and lag.end == "full_water")

    latest = sum_in_words(instance, SUTURES, ["pin:full_water", after.id], Side.LATEST)

    assert latest[0].words == "Full-time water, fixed: Mon 05-Apr-2027"
    assert latest[-1].day == date(2027, 4, 5) - timedelta(after.min)


def test_today_and_the_horizon_are_ends_of_sums_too():
    instance = turtle()

    assert sentence(sum_in_words(instance, "dry_dock_end", ["today"], Side.EARLIEST)) == "Today, Mon 01-Mar-2027"
    (end,) = sum_in_words(instance, "dry_dock_end", ["horizon"], Side.LATEST)
    assert end.day == instance.problem.last_day


def test_a_hold_is_named_as_such():
    held = turtle(holds=(Hold(SUTURES, MONDAY, date(2027, 4, 20), "skin thin"),))

    words = sentence(sum_in_words(held, SUTURES, [f"hold@{SUTURES}"], Side.EARLIEST))

    assert "“Not yet” was said of: Sutures or staples out · left hind limb" in words
    assert words.endswith("= Tue 20-Apr-2027")


def days_of(instance, **chosen):
    return {event.id: event.fixed or MONDAY + timedelta(40) for event in instance.problem.events} | chosen


def test_the_usual_day_is_said_to_be_the_usual_one():
    instance = turtle()

    reasons = day_reasons(instance, days_of(instance, **{SUTURES: date(2027, 4, 9)}), SUTURES)

    assert "The usual day: 42 days after “Wound closed · left hind limb”." in reasons


def test_what_keeps_a_thing_from_its_usual_day_is_said():
    instance = turtle()
    april = Closed(frozenset({5, 6}), frozenset({date(2027, 4, 9)}))
    away = Closed(spans=((date(2027, 4, 8), date(2027, 4, 10)),))
    shut = replace(instance, problem=replace(instance.problem, closed={"clinic": april, "carer": away}))

    reasons = day_reasons(shut, days_of(shut, **{SUTURES: date(2027, 4, 7), "recheck:1": date(2027, 4, 7)}), SUTURES)

    assert "The clinic is closed on Fri 09-Apr-2027." in reasons
    assert "The carer is away on Fri 09-Apr-2027." in reasons
    assert any(reason.endswith("this is 2 days earlier.") for reason in reasons)
    assert any(reason.startswith("One visit together with:") and "Recheck (no. 1)" in reason for reason in reasons)


def test_a_fixed_day_and_an_agreed_day_are_said_to_be_so():
    pinned = turtle(pins=(Pin(SUTURES, date(2027, 4, 7)),))
    agreed = turtle(previous={SUTURES: date(2027, 4, 7)})
    days = days_of(agreed, **{SUTURES: date(2027, 4, 7)})

    assert day_reasons(pinned, days, SUTURES) == ["A person fixed this day."]
    assert "This day was agreed before, and nothing speaks against it." in day_reasons(agreed, days, SUTURES)


# --- conflicts ----------------------------------------------------------------------------------------------------


def test_everything_that_a_conflict_can_be_made_of_reads_as_a_sentence():
    away = {"clinic": Closed(frozenset({5, 6})), "carer": Closed(spans=((date(2027, 3, 8), date(2027, 3, 12)),)), "home": Closed()}
    held = turtle(holds=(Hold(SUTURES, MONDAY, date(2027, 4, 20)),), pins=(Pin("full_water", date(2027, 4, 5)),))
    instance = replace(held, problem=replace(held.problem, closed=away))

    lines = [member_line(instance, member).words for member in demands(instance.problem)]

    assert len(lines) > 10
    assert all(line.endswith(".") and "%(" not in line and "None" not in line for line in lines)


def test_a_conflict_names_its_sides_and_the_smallest_changes_first():
    instance = turtle(pins=(Pin(SUTURES, date(2027, 3, 24)),))
    answer = plan(instance.problem)
    assert isinstance(answer, Conflict)

    sides = [line.words for line in conflict_lines(instance, answer)]
    lines, settles_all = cure_lines(instance, answer)

    assert "“Sutures or staples out · left hind limb” is fixed for Wed 24-Mar-2027." in sides
    assert settles_all
    assert (lines[0].way, lines[0].on) == (Way.PIN, date(2027, 3, 26))
    assert {line.way for line in lines} == {Way.PIN, Way.UNPIN, Way.RULE}


# --- what changed -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("why", Why)
def test_every_reason_for_a_change_is_a_sentence(why):
    cause = ChangeCause(why, "surgery:procedure-1", "", MONDAY, MONDAY + timedelta(1))

    words = change_cause_in_words(cause, {})

    assert re.fullmatch(r"[A-ZM].*\.", words)
    assert "%(" not in words


# --- carers -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("reason", Reason)
def test_every_reason_for_a_days_water_is_a_sentence(reason):
    allowance = Allowance(
        MONDAY,
        20,
        1,
        reason,
        clean_days=1,
        clean_days_needed=3,
        since=MONDAY,
        until=MONDAY,
        signs=frozenset({Sign.WEAK}),
    )

    words = water_reason(allowance)

    assert words.endswith(".")
    assert "%(" not in words
    assert "Monday 1 March 2027" in words or reason in (
        Reason.NOT_CLOSED, Reason.FIRST_WATER, Reason.KEPT, Reason.LAST_STEP,
    )  # fmt: skip


@pytest.mark.parametrize(("minutes", "words"), [(None, "full-time water"), (0, "no water"), (1, "1 minute"), (20, "20 minutes")])
def test_minutes_of_water(minutes, words):
    assert water_minutes(Allowance(MONDAY, minutes, 1, Reason.KEPT)) == words


@pytest.mark.parametrize("why", Because)
def test_every_reason_for_an_answer_is_a_sentence(why):
    words = cause_in_words(Cause(why, 12, 10, frozenset({Sign.WEAK})))

    assert words.endswith(".")
    assert "%" not in words.replace(" %", "")


def test_figures_of_an_answer_read_plainly():
    assert cause_in_words(Cause(Because.WEIGHT_FELL, Decimal("7.5"))) == "It has lost 7.5 % of its weight."
    assert cause_in_words(Cause(Because.WEIGHT_FELL, Decimal("7.0"))) == "It has lost 7 % of its weight."
    assert cause_in_words(Cause(Because.DOSE_NOT_TAKEN, 1)) == "1 dose was not taken."
    assert cause_in_words(Cause(Because.OVER_ALLOWANCE, 25, 20)) == "25 minutes in water; 20 were allowed."


def test_signs_are_told_the_severe_ones_first():
    assert signs_in_words({Sign.TIRES_SOON, Sign.BLEEDING}) == "bleeding, tires soon"
