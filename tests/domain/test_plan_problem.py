"""What a planning problem may look like, and what is said of one that does not."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from handover.schedule.plan import main
from handover.schedule.problem import (
    LARGEST_COST,
    LONGEST_DAYS,
    BadProblem,
    Closed,
    Costs,
    Event,
    Lag,
    Problem,
)
from tests.oracles.instances import care_case, random_problem

GOOD = {
    "today": "2027-03-01",
    "horizon_days": 240,
    "events": [
        {"id": "closure", "place": "clinic", "done": "2027-02-26"},
        {"id": "suture_removal", "place": "clinic"},
        {"id": "release_assessment", "place": "clinic", "pinned": "2027-04-14"},
    ],
    "lags": [{"id": "R1", "from": "closure", "to": "suture_removal", "min": 28, "usual": 42, "max": 56, "weight": 3}],
    "closed": {
        "clinic": {"weekdays": [5, 6], "dates": ["2027-04-02"]},
        "home": {"weekdays": [], "dates": []},
        "carer": {"spans": [["2027-04-08", "2027-04-12"]]},
    },
    "previous": {"suture_removal": "2027-04-09"},
    "costs": {"visit": 30, "move": 5},
}
MISSING = object()


def changed(path: str, value: object) -> dict:
    """The good problem with one value put in (or taken out) at a path such as lags.0.min."""
    given = copy.deepcopy(GOOD)
    *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    place = given
    for part in way:
        place = place[part]
    if value is MISSING:
        del place[last]
    else:
        place[last] = value
    return given


def refusal(given: object) -> BadProblem:
    with pytest.raises(BadProblem) as refused:
        Problem.from_json(given)
    return refused.value


def test_the_published_shape_is_read_value_by_value():
    problem = Problem.from_json(GOOD)

    assert problem == Problem(
        today=date(2027, 3, 1),
        horizon_days=240,
        events=(
            Event("closure", "clinic", done=date(2027, 2, 26)),
            Event("suture_removal", "clinic"),
            Event("release_assessment", "clinic", pinned=date(2027, 4, 14)),
        ),
        lags=(Lag("R1", "closure", "suture_removal", 28, 42, 56, 3),),
        closed={
            "clinic": Closed(frozenset({5, 6}), frozenset({date(2027, 4, 2)})),
            "home": Closed(),
            "carer": Closed(spans=((date(2027, 4, 8), date(2027, 4, 12)),)),
        },
        previous={"suture_removal": date(2027, 4, 9)},
        costs=Costs(30, 5),
    )


@pytest.mark.parametrize("given", [GOOD, *(random_problem(seed) for seed in range(20)), care_case(1, 16, with_previous=True)])
def test_what_is_written_reads_back_as_the_same_problem(given):
    problem = Problem.from_json(given)

    again = Problem.from_json(json.loads(json.dumps(problem.to_json())))

    assert again == problem


def test_what_may_be_left_out_has_a_meaning():
    problem = Problem.from_json({"today": "2027-03-01", "horizon_days": 0, "events": [{"id": "a", "place": "home"}]})

    assert (problem.lags, problem.closed, problem.previous, problem.costs) == ((), {}, {}, Costs(30, 5))
    assert problem.last_day == problem.today


@pytest.mark.parametrize(
    ("path", "value", "field", "says"),
    [
        # the frame
        ("today", "2027-02-30", "today", "must be a date such as 2027-03-01, not '2027-02-30'"),
        ("today", "2027-3-1", "today", "must be a date such as"),
        ("today", "20270301", "today", "must be a date such as"),
        ("today", "2027-03-01T00:00", "today", "must be a date such as"),
        ("today", "٢٠٢٧-٠٣-٠١", "today", "must be a date such as"),
        ("today", None, "today", "not None"),
        ("today", 20270301, "today", "not 20270301"),
        ("today", MISSING, "today", "is missing"),
        ("today", "9999-12-31", "horizon_days", "reaches past the end of the calendar"),
        ("horizon_days", -1, "horizon_days", "from 0 to 3650, not -1"),
        ("horizon_days", 3651, "horizon_days", "from 0 to 3650, not 3651"),
        ("horizon_days", 10**30, "horizon_days", "from 0 to 3650"),
        ("horizon_days", 240.0, "horizon_days", "a whole number of days"),
        ("horizon_days", "240", "horizon_days", "a whole number of days"),
        ("horizon_days", True, "horizon_days", "not True"),
        ("horizon_days", MISSING, "horizon_days", "is missing"),
        ("horizon", 240, "horizon", "is not a field that a plan knows"),
        # events
        ("events", MISSING, "events", "is missing"),
        ("events", {}, "events", "must be a list, not {}"),
        ("events.1", "suture_removal", "events[1]", "must be an object with named parts"),
        ("events.1.id", MISSING, "events[1].id", "is missing"),
        ("events.1.id", "", "events[1].id", "must be a name"),
        ("events.1.id", 7, "events[1].id", "must be a name, not 7"),
        ("events.1.id", [], "events[1].id", "must be a name"),
        ("events.1.id", "closure", "events[1].id", "(closure) is used twice"),
        ("events.1.place", MISSING, "events[1].place", "is missing"),
        ("events.1.place", "Clinic", "events[1].place", "must be clinic or home, not 'Clinic'"),
        ("events.1.place", ["clinic"], "events[1].place", "must be clinic or home"),
        ("events.1.day", "2027-04-01", "events[1].day", "is not a field that a plan knows"),
        ("events.0.done", "2027-03-02", "events[0].done", "(2027-03-02) is after today (2027-03-01)"),
        ("events.0.done", "yesterday", "events[0].done", "must be a date such as"),
        ("events.2.pinned", "2027-04-31", "events[2].pinned", "must be a date such as"),
        ("events.2.pinned", 0, "events[2].pinned", "must be a date such as"),
        # lags
        ("lags", "R1", "lags", "must be a list"),
        ("lags.0", [], "lags[0]", "must be an object with named parts, not []"),
        ("lags.0.id", MISSING, "lags[0].id", "is missing"),
        ("lags.0.id", "today", "lags[0].id", "(today) is a name that conflicts use for something else"),
        ("lags.0.id", "pin:closure", "lags[0].id", "is a name that conflicts use"),
        ("lags.0.id", "closed:clinic", "lags[0].id", "is a name that conflicts use"),
        ("lags.0.from", MISSING, "lags[0].from", "is missing"),
        ("lags.0.from", "operation", "lags[0].from", "names an event that is not in the list: 'operation'"),
        ("lags.0.to", None, "lags[0].to", "names an event that is not in the list: None"),
        ("lags.0.to", ["closure"], "lags[0].to", "names an event that is not in the list"),
        ("lags.0.to", "closure", "lags[0].to", "a cycle from an event to itself, which no rule explains"),
        ("lags.0.min", 57, "lags[0].min", "(57) is longer than its max (56)"),
        ("lags.0.min", "28", "lags[0].min", "null or a whole number of days"),
        ("lags.0.min", 28.0, "lags[0].min", "null or a whole number of days"),
        ("lags.0.min", False, "lags[0].min", "not False"),
        ("lags.0.min", -3651, "lags[0].min", "at most 3650 either way"),
        ("lags.0.max", 3651, "lags[0].max", "at most 3650 either way"),
        ("lags.0.usual", 1e400, "lags[0].usual", "not inf"),
        ("lags.0.weight", None, "lags[0].weight", "a whole number from 0 to 1000000"),
        ("lags.0.weight", -1, "lags[0].weight", "a whole number from 0"),
        ("lags.0.weight", 1_000_001, "lags[0].weight", "a whole number from 0 to 1000000"),
        ("lags.0.days", 4, "lags[0].days", "is not a field that a plan knows"),
        # closed days
        ("closed", [], "closed", "must be an object with named parts"),
        ("closed.ward", {}, "closed.ward", "is not a field that a plan knows (clinic, home, carer)"),
        ("closed.clinic", [5, 6], "closed.clinic", "must be an object with named parts"),
        ("closed.clinic.weekdays", 5, "closed.clinic.weekdays", "must be a list"),
        ("closed.clinic.weekdays.0", 7, "closed.clinic.weekdays[0]", "0 (Monday) to 6 (Sunday), not 7"),
        ("closed.clinic.weekdays.0", "Saturday", "closed.clinic.weekdays[0]", "0 (Monday) to 6 (Sunday)"),
        ("closed.clinic.dates.0", "Easter", "closed.clinic.dates[0]", "must be a date such as"),
        ("closed.carer.spans.0", ["2027-04-08"], "closed.carer.spans[0]", "must be a first and a last date"),
        ("closed.carer.spans.0", "2027-04-08", "closed.carer.spans[0]", "must be a first and a last date"),
        ("closed.carer.spans.0.1", "later", "closed.carer.spans[0][1]", "must be a date such as"),
        ("closed.carer.spans.0.1", "2027-04-07", "closed.carer.spans[0]", "ends (2027-04-07) before it begins (2027-04-08)"),
        # the plan before, and costs
        ("previous", [], "previous", "must be an object with named parts"),
        ("previous.suture_removal", "soon", "previous.suture_removal", "must be a date such as"),
        ("costs.visit", -1, "costs.visit", "a whole number from 0 to 1000000"),
        ("costs.move", 1.5, "costs.move", "a whole number from 0"),
        ("costs.travel", 1, "costs.travel", "is not a field that a plan knows (visit, move)"),
    ],
)  # fmt: skip
def test_bad_input_gets_one_sentence_that_names_the_field(path, value, field, says):
    bad = refusal(changed(path, value))

    assert bad.field == field
    assert says in bad.reason
    assert str(bad) == f"{field} {bad.reason}."
    assert "\n" not in str(bad)


@pytest.mark.parametrize("given", [None, 3, "plan", True, ["a"]])
def test_something_that_is_no_object_is_no_problem(given):
    assert refusal(given).field == "problem"


@pytest.mark.parametrize(("length", "shown"), [(38, f"'{'x' * 38}'"), (39, f"'{'x' * 36}...")])
def test_a_value_of_up_to_forty_characters_is_shown_whole(length, shown):
    assert str(refusal(changed("events.1.place", "x" * length))).endswith(f"not {shown}.")


def test_a_long_value_is_cut_short_in_the_sentence():
    bad = refusal(changed("events.1.place", "x" * 10_000))

    assert len(str(bad)) < 120


@pytest.mark.parametrize("text", [
    '{"today": "2027-03-01", "today": "2027-03-02", "horizon_days": 1, "events": []}',  # which of the two?
    '{"today": NaN}', '{"today": Infinity}', "{", "", "\x00", "[1, 2", '{"horizon_days": ' + "9" * 5000 + "}",
    "[" * 100_000, '{"a":' * 100_000,
])  # fmt: skip
def test_text_that_is_no_json_is_refused_in_a_sentence(text):
    answer, status = main(text)

    assert status == 2
    assert json.loads(answer)["error"].endswith(".")


def test_no_depth_of_nesting_breaks_the_refusal():
    """Close to Python's own limit the text can still be read, but not shown."""
    for depth in range(800, 1_000):
        nested = "[" * depth + "]" * depth

        answer, status = main('{"today": "2027-01-01", "horizon_days": 1, "events": [{"place": "home", "id": ' + nested + "}]}")

        assert (status, json.loads(answer)["status"]) == (2, "bad input"), depth


def test_half_a_character_comes_back_as_it_was_written():
    """A lone surrogate is legal JSON (RFC 8259, section 8.2) but no UTF-8; printing it must not fail."""
    answer, status = main(r'{"\ud800": 1}')

    assert status == 2
    assert answer.encode("ascii")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"today": datetime(2027, 3, 1)}, "today"),  # noqa: DTZ001
        ({"today": "2027-03-01"}, "today"),
        ({"previous": {"suture_removal": "2027-03-01"}}, "previous.suture_removal"),
        ({"closed": {"ward": Closed()}}, "closed.ward"),
        ({"closed": {"clinic": Closed(weekdays=frozenset({7}))}}, "closed.clinic.weekdays"),
        ({"closed": {"clinic": Closed(dates=frozenset({"2027-04-02"}))}}, "closed.clinic.dates"),
        ({"closed": {"carer": Closed(spans=((date(2027, 4, 8), "2027-04-12"),))}}, "closed.carer.spans[0][1]"),
        ({"events": (Event("a", "home", done=datetime(2027, 2, 1)),), "lags": ()}, "events[0].done"),  # noqa: DTZ001
        ({"costs": Costs(visit=LARGEST_COST + 1)}, "costs.visit"),
        ({"horizon_days": LONGEST_DAYS + 1}, "horizon_days"),
    ],
)
def test_a_problem_built_in_memory_is_checked_as_strictly(changes, field):
    problem = Problem.from_json(GOOD)

    with pytest.raises(BadProblem) as refused:
        replace(problem, **changes)

    assert refused.value.field == field


def test_an_older_plan_may_name_events_that_are_gone():
    given = changed("previous.radiograph", "2027-05-01")

    answer, status = main(json.dumps(given))

    assert status == 0
    assert "radiograph" not in json.loads(answer)["days"]


def test_a_fact_outweighs_the_pin_of_the_same_event():
    given = changed("events.0.pinned", "2027-03-20")

    answer, _ = main(json.dumps(given))

    assert json.loads(answer)["days"]["closure"] == "2027-02-26"


def test_the_last_day_of_the_calendar_is_one():
    problem = Problem(date.max - timedelta(10), 10, (Event("a", "home"),))

    assert problem.last_day == date.max


def test_monday_is_a_weekday_and_a_span_of_one_day_a_span():
    closed = Problem.from_json(changed("closed.clinic.weekdays", [0, 6])).closed["clinic"]
    away = Problem.from_json(changed("closed.carer.spans", [["2027-04-08", "2027-04-08"]])).closed["carer"]

    assert closed.weekdays == {0, 6}
    assert away.spans == ((date(2027, 4, 8), date(2027, 4, 8)),)


def test_a_lag_without_a_weight_weighs_one():
    assert Problem.from_json(changed("lags.0.weight", MISSING)).lags[0].weight == 1
    assert Lag("L", "a", "b").weight == 1


def test_limits_themselves_are_allowed():
    today = date(2027, 3, 1)
    lag = Lag("L", "a", "b", -LONGEST_DAYS, 0, LONGEST_DAYS, LARGEST_COST)

    problem = Problem(today, LONGEST_DAYS, (Event("a", "home"), Event("b", "home")), (lag,), costs=Costs(LARGEST_COST, 0))

    assert problem.last_day == today + timedelta(3650)
