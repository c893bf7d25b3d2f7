"""Suppositions: what they change in the ground of a plan, and what cannot be supposed."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from handover.labels.whatif import NONSENSE, supposed
from handover.schedule.case import Case, Fact, Hold, Pin, Setup
from handover.schedule.library import Rule
from handover.schedule.problem import CARER, CLINIC, Closed
from handover.schedule.whatif import (
    BadSupposition,
    CarerAway,
    ClinicShut,
    Ground,
    Nonsense,
    NotBefore,
    OnDay,
    OtherFigures,
    changed_rule,
    suppose,
)

MONDAY = date(2027, 3, 1)
RULE = Rule(id="sutures", group="animal", event="suture_removal", anchor="surgery", min_days=10, usual_days=14, max_days=21)
CHAIN = Rule(
    id="looks", group="animal", event="recheck", anchor="surgery", min_days=3, usual_days=7, max_days=9,
    repeat_until="suture_removal",
)  # fmt: skip


def day(n: int) -> date:
    return MONDAY + timedelta(n)


GROUND = Ground(
    Case(
        lineage=("animal",), facts=(Fact("surgery", day(-3)),),
        pins=(Pin("suture_removal", day(12)),), holds=(Hold("suture_removal", day(-1), day(8), "sore"),),
    ),
    (RULE, CHAIN),
    (),
    Setup(today=MONDAY, closed={CLINIC: Closed(frozenset({6}), frozenset({day(5)}))}, company=frozenset({day(9), day(10)})),
)  # fmt: skip


def test_nothing_supposed_changes_nothing():
    assert suppose(GROUND, []) == GROUND


def test_nothing_of_the_first_ground_is_touched():
    before = replace(GROUND, setup=replace(GROUND.setup, closed=dict(GROUND.setup.closed)))

    suppose(GROUND, [ClinicShut(day(2)), CarerAway(day(3), day(4)), OnDay("suture_removal", day(15)), OtherFigures("sutures", 9)])

    assert before == GROUND


def test_a_supposed_day_takes_the_place_of_a_fixed_one_and_a_supposed_wait_of_an_earlier_one():
    case = suppose(GROUND, [OnDay("suture_removal", day(15)), NotBefore("suture_removal", day(11))]).case

    assert case.pins == (Pin("suture_removal", day(15)),)
    assert case.holds == (Hold("suture_removal", MONDAY, day(11)),)


def test_closed_days_and_days_away_are_added_to_those_that_are_known():
    setup = suppose(GROUND, [ClinicShut(day(2)), ClinicShut(day(3)), CarerAway(day(9), day(9)), CarerAway(day(12), day(14))]).setup

    assert setup.closed[CLINIC] == Closed(frozenset({6}), frozenset({day(2), day(3), day(5)}))
    assert setup.closed[CARER].spans == ((day(9), day(9)), (day(12), day(14)))


def test_a_carer_who_is_away_or_finds_the_clinic_closed_brings_no_other_animal_either():
    assert suppose(GROUND, [CarerAway(day(9), day(9))]).setup.company == {day(10)}
    assert suppose(GROUND, [ClinicShut(day(10))]).setup.company == {day(9)}


def test_a_figure_left_out_stays_as_it_is():
    assert changed_rule(RULE, OtherFigures("sutures", max_days=30)) == replace(RULE, max_days=30)


def test_a_longer_rule_may_bring_what_something_else_is_supposed_of():
    """Looks every 7 days until the sutures are out: with 35 days there are links that 14 days do not have."""
    longer = OtherFigures("sutures", 30, 35, 40)
    free = replace(GROUND, case=replace(GROUND.case, pins=(), holds=()))

    with pytest.raises(BadSupposition):
        suppose(free, [OnDay("recheck:4", day(26))])
    assert Pin("recheck:4", day(26)) in suppose(free, [OnDay("recheck:4", day(26)), longer]).case.pins


@pytest.mark.parametrize(
    ("suppositions", "field", "why"),
    [
        ([OnDay("suture_removal", day(-1))], "on", Nonsense.GONE_BY),
        ([OnDay("suture_removal", day(800))], "on", Nonsense.TOO_FAR),
        ([OnDay("surgery", day(3))], "event_id", Nonsense.NOT_PLANNED),
        ([OnDay("moon walk", day(3))], "event_id", Nonsense.NOT_PLANNED),
        ([OnDay("suture_removal", day(3)), OnDay("suture_removal", day(4))], "event_id", Nonsense.TWICE),
        ([NotBefore("suture_removal", MONDAY)], "not_before", Nonsense.NOT_AFTER_TODAY),
        ([ClinicShut(day(-1))], "on", Nonsense.GONE_BY),
        ([ClinicShut(date(9999, 12, 31))], "on", Nonsense.TOO_FAR),
        ([CarerAway(day(5), day(4))], "ends_on", Nonsense.BACKWARDS),
        ([CarerAway(day(-5), day(-4))], "ends_on", Nonsense.GONE_BY),
        ([OtherFigures("sutures")], "usual_days", Nonsense.NO_FIGURE),
        ([OtherFigures("looks", usual_days=0, min_days=0)], "usual_days", Nonsense.NO_FIGURE),
        ([OtherFigures("sutures", min_days=15)], "min_days", Nonsense.FALLING),
        ([OtherFigures("sutures", usual_days=9)], "usual_days", Nonsense.FALLING),
        ([OtherFigures("sutures", usual_days=30, max_days=25)], "max_days", Nonsense.FALLING),
        ([OtherFigures("sutures", min_days=-1)], "min_days", Nonsense.TOO_LONG),
        ([OtherFigures("sutures", max_days=731)], "max_days", Nonsense.TOO_LONG),
        ([OtherFigures("moon")], "rule_id", Nonsense.NO_RULE),
        ([OtherFigures("sutures", 9), OtherFigures("sutures", 8)], "rule_id", Nonsense.TWICE),
    ],
)
def test_nonsense_is_told_at_its_field(suppositions, field, why):
    with pytest.raises(BadSupposition) as bad:
        suppose(GROUND, suppositions)

    assert (bad.value.field, bad.value.why) == (field, why)
    assert bad.value.supposition is suppositions[-1]
    assert str(NONSENSE[why]).endswith(".")


def test_somebody_who_has_gone_away_already_can_be_supposed_to_stay_away():
    assert suppose(GROUND, [CarerAway(day(-5), day(4))]).setup.closed[CARER].spans == ((day(-5), day(4)),)


@pytest.mark.parametrize(
    ("supposition", "words"),
    [
        (OnDay("suture_removal", day(2)), "“Sutures” on Wed 03-Mar-2027"),
        (NotBefore("suture_removal", day(2)), "“Sutures” not before Wed 03-Mar-2027"),
        (ClinicShut(day(2)), "The clinic closed on Wed 03-Mar-2027"),
        (CarerAway(day(2), day(4)), "The carer away from Wed 03-Mar-2027 to Fri 05-Mar-2027"),
    ],
)
def test_each_supposition_reads_as_a_phrase(supposition, words):
    assert supposed(supposition, {"suture_removal": "Sutures"}, {}) == words


def test_a_supposed_rule_is_told_with_its_new_figures():
    words = supposed(OtherFigures("sutures", max_days=30), {}, {"sutures": RULE})

    assert "at most 30 days after" in words
