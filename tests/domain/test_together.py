"""Several animals of one carer planned at once: never dearer than apart, exact, and stable when each is planned again.

The referee (tests/oracles/cpsat.py) is a general solver that shares no code with the planner. It is asked about the animals
put side by side by this file, not by the product.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import count, islice
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handover.schedule.changes import Why, compare
from handover.schedule.company import with_company, without_company
from handover.schedule.explain import conflict
from handover.schedule.network import can_be_planned
from handover.schedule.plan import Conflict, Planned, plan
from handover.schedule.problem import Closed, Costs, Event, Lag, Problem
from handover.schedule.together import Animal, clinic_days, outcome, side_by_side, together
from tests.oracles.cpsat import Referee, cost_of
from tests.oracles.instances import random_problem

MONDAY = date(2027, 3, 1)
TRIPLES = 105
BATCHES = [range(start, start + 15) for start in range(0, TRIPLES, 15)]

laws = settings(max_examples=80, derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])


def day(n: int) -> date:
    return MONDAY + timedelta(n)


# --- by hand ----------------------------------------------------------------------------------------------------------


def one_visit(usual: int, least: int, most: int, **fields) -> Problem:
    """An animal that was operated today and is seen once, within some days of it."""
    events = (Event("surgery", "home", done=MONDAY), Event("recheck", "clinic"))
    lag = Lag("rule", "surgery", "recheck", least, usual, most, weight=2)
    return Problem(MONDAY, 60, events, (lag,), **fields)


def test_two_animals_meet_on_a_day_that_both_windows_hold():
    """By hand: usual days 7 and 10, both windows hold days 8 to 10. Apart two drives cost 60; together one costs 30, and
    three days off at 2 a day cost 6 wherever the day lies between: the first of equals lets the first animal keep day 7
    only if the second may come then, which it may not; so they meet on day 8."""
    found = together([Animal("A", one_visit(7, 5, 10)), Animal("B", one_visit(10, 8, 12))])

    assert found.alone.drives == (day(7), day(10))
    assert (found.cost_alone, found.alone.cost) == (60, 60)
    assert found.joint.drives == (day(8),)
    assert found.joint.cost == 30 + 2 * 3
    assert [(move.key, move.event_id, move.was, move.now) for move in found.moves] == [
        ("A", "recheck", day(7), day(8)),
        ("B", "recheck", day(10), day(8)),
    ]
    assert found.is_proven


def test_windows_that_do_not_meet_save_nothing():
    found = together([Animal("A", one_visit(7, 5, 8)), Animal("B", one_visit(20, 18, 22))])

    assert found.joint.drives == found.alone.drives == (day(7), day(20))
    assert found.moves == ()


def test_alone_and_by_chance_on_one_day_is_one_drive_already():
    found = together([Animal("A", one_visit(7, 5, 8)), Animal("B", one_visit(7, 5, 8))])

    assert (found.cost_alone, found.alone.cost, found.joint.cost) == (60, 30, 30)
    assert found.alone.drives == (day(7),)


def test_an_animal_in_conflict_is_named_and_keeps_the_days_that_it_has_agreed():
    late = replace(one_visit(7, 5, 8), closed={"carer": Closed(spans=((day(5), day(8)),))})
    free = replace(one_visit(10, 5, 12), closed=late.closed)

    found = together([Animal("late", late, frozenset({day(12)})), Animal("free", free)])

    assert found.in_conflict == ("late",)
    assert found.joint.days["free"]["recheck"] == day(12)  # two days off at 2 a day, and no drive of its own
    assert found.joint.drives == (day(12),)
    assert found.joint.cost == 4
    assert found.company == {"free": frozenset({day(12)})}


def test_nobody_is_planned_beyond_its_own_last_day():
    """The joint horizon is the longest: an animal that is planned for ten days must not slip past them."""
    short = Problem(MONDAY, 10, (Event("look", "clinic"),), previous={"look": day(30)})
    long = Problem(MONDAY, 60, (Event("picture", "clinic", pinned=day(30)),))

    found = together([Animal("short", short), Animal("long", long)])

    assert found.joint.days["short"]["look"] <= day(10)


def test_animals_of_other_days_or_hospitals_are_refused():
    other = one_visit(7, 5, 8, costs=Costs(visit=1))

    with pytest.raises(ValueError, match="one carer"):
        side_by_side({"A": one_visit(7, 5, 8), "B": other})
    with pytest.raises(ValueError, match="key"):
        Animal("A/B", other)


def test_nobody_at_all_is_no_fault():
    assert together([]).joint.drives == ()


# --- company: what an animal planned alone knows ------------------------------------------------------------------------


def test_a_day_on_which_the_carer_comes_anyway_draws_a_visit_to_it():
    problem = one_visit(7, 5, 10)

    answer = plan(with_company(problem, [day(9), day(40), day(-3), day(61)]))

    assert answer.days["recheck"] == day(9)  # two days off at 2 a day, not 30 for a drive of its own


def test_company_is_left_out_where_no_visit_can_be_chosen():
    pinned = Problem(MONDAY, 60, (Event("look", "clinic", pinned=day(3)), Event("home", "home")))

    assert with_company(pinned, [day(5)]) == pinned


def test_company_is_nothing_that_anybody_is_told_about():
    problem = one_visit(7, 5, 10)
    sharing = with_company(problem, [day(9)])

    changes = compare(problem, plan(problem).days, sharing, plan(sharing).days)

    assert [change.event_id for change in changes] == ["recheck"]
    assert [(cause.why, cause.now) for cause in changes[0].causes] == [(Why.DRIVE, day(9))]
    assert set(plan(sharing).windows) == {"recheck"}
    assert without_company(sharing) == problem


# --- laws -------------------------------------------------------------------------------------------------------------


def days_within(horizon: int, first: int = 0) -> st.SearchStrategy[date]:
    return st.integers(first, horizon).map(day)


@st.composite
def carers(draw: st.DrawFn, least: int = 1, most: int = 3) -> list[Animal]:
    """One to three small animals of one carer, with calendars and costs in common and horizons of their own."""
    spans = ((start := draw(days_within(20)), start + timedelta(draw(st.integers(0, 4)))),)
    closed = {"clinic": Closed(draw(st.sampled_from([frozenset(), frozenset({5, 6})]))), "carer": Closed(spans=spans)}
    closed = {name: part for name, part in closed.items() if draw(st.booleans())}
    costs = Costs(draw(st.sampled_from([0, 3, 10, 30])), draw(st.sampled_from([0, 2, 5])))
    number = draw(st.integers(least, most))
    return [draw(animals(f"animal {n}", closed, costs)) for n in range(number)]


@st.composite
def animals(draw: st.DrawFn, key: str, closed: dict, costs: Costs) -> Animal:
    horizon = draw(st.integers(12, 24))
    names = [f"e{n}" for n in range(draw(st.integers(2, 4)))]
    events = [Event(name, draw(st.sampled_from(["clinic", "clinic", "home"]))) for name in names]
    events[0] = replace(events[0], done=draw(days_within(0, -6)))
    if draw(st.integers(0, 4)) == 0:
        events[-1] = replace(events[-1], pinned=draw(days_within(horizon)))
    lags = []
    for n in range(1, len(names)):
        low, usual, high = sorted(draw(st.tuples(*[st.integers(0, 12)] * 3)))
        start = names[draw(st.integers(0, n - 1))]
        lags.append(Lag(f"L{n}", start, names[n], low, usual, high, weight=draw(st.integers(0, 4))))
    previous = draw(st.dictionaries(st.sampled_from(names), days_within(horizon))) if draw(st.booleans()) else {}
    problem = Problem(MONDAY, horizon, tuple(events), tuple(lags), closed, previous, costs)
    return Animal(key, problem, draw(st.frozensets(days_within(24), max_size=3)))


@laws
@given(carers())
def test_together_never_costs_more_than_apart(group):
    found = together(group)

    alone = [plan(animal.problem) for animal in group]
    assert found.cost_alone == sum(answer.cost for answer in alone if isinstance(answer, Planned))
    assert found.joint.cost <= found.alone.cost <= found.cost_alone
    assert found.in_conflict == tuple(a.key for a, answer in zip(group, alone, strict=True) if isinstance(answer, Conflict))


@laws
@given(carers(least=1, most=1))
def test_for_one_animal_nothing_changes(group):
    alone, found = plan(group[0].problem), together(group)

    if isinstance(alone, Planned):
        assert found.joint.days == {group[0].key: alone.days}
        assert found.answers == {group[0].key: alone}
    else:
        assert found.answers == {}


@laws
@given(carers(least=2), st.randoms(use_true_random=False))
def test_the_order_of_the_animals_matters_for_ties_only(group, random):
    found, shuffled = together(group), list(group)
    random.shuffle(shuffled)

    other = together(shuffled)

    assert other.joint.cost == found.joint.cost
    assert other.cost_alone == found.cost_alone
    assert set(other.in_conflict) == set(found.in_conflict)


@laws
@given(carers(least=2))
def test_each_animals_own_answer_is_its_part_of_the_joint_plan(group):
    found = together(group)

    for animal in group:
        if animal.key in found.answers:
            own = {event.id: found.answers[animal.key].days[event.id] for event in animal.problem.events}
            assert own == found.joint.days[animal.key]


@laws
@given(carers(least=2))
def test_an_animal_planned_again_by_itself_leaves_a_published_joint_plan_as_it_is(group):
    """No new fact, everybody's joint days published: each animal's live plan, which knows the others' days, stays."""
    found = together(group)

    for animal in group:
        if animal.key in found.answers:
            published = replace(animal.problem, previous=found.joint.days[animal.key])
            again = plan(with_company(published, found.company[animal.key]))
            assert {name: again.days[name] for name in found.joint.days[animal.key]} == found.joint.days[animal.key]


@laws
@given(carers(least=2))
def test_a_search_that_ends_early_is_never_dearer_than_apart_and_says_so(group):
    early, whole = together(group, effort=1), together(group)

    assert whole.joint.cost <= early.joint.cost <= early.alone.cost
    assert early.is_proven or early.bound <= whole.joint.cost
    assert not early.is_proven or early.joint.cost == whole.joint.cost


@laws
@given(carers(least=2))
def test_planning_the_joint_plan_again_changes_nothing(group):
    found = together(group)
    known = found.joint.days
    published = [replace(a, problem=replace(a.problem, previous=known.get(a.key, a.problem.previous))) for a in group]

    again = together(published)

    assert again.joint.days == known


@laws
@given(carers(least=1, most=1), st.frozensets(days_within(24), min_size=1, max_size=4))
def test_company_has_no_part_in_any_conflict_and_never_makes_one(group, company):
    problem = group[0].problem
    sharing = with_company(problem, company)

    assert conflict(sharing) == conflict(problem)


@laws
@given(carers())
def test_what_days_cost_all_together_is_what_the_referee_adds_up(group):
    """cost_of of tests/oracles adds the joint problem up term by term."""
    known = {a.key: a.problem for a in group if isinstance(plan(a.problem), Planned)}
    if not known:
        return
    days = {key: plan(problem).days for key, problem in known.items()}

    found = outcome(known, days)

    theirs = union({key: problem.to_json() for key, problem in known.items()})
    flat = {f"{key}|{name}": on.isoformat() for key, own in days.items() for name, on in own.items()}
    assert found.cost == cost_of(theirs, flat)
    assert set(found.drives) == set().union(*(clinic_days(known[key], days[key]) for key in known))


# --- the referee ------------------------------------------------------------------------------------------------------


def union(problems: dict[str, dict]) -> dict:
    """Animals side by side in the published shape, made without the product's own way of doing it."""
    first = next(iter(problems.values()))
    events = [{**event, "id": f"{key}|{event['id']}"} for key, each in problems.items() for event in each["events"]]
    lags = [
        {**lag, "id": f"{key}|{lag['id']}", "from": f"{key}|{lag['from']}", "to": f"{key}|{lag['to']}"}
        for key, each in problems.items()
        for lag in each["lags"]
    ]
    previous = {f"{key}|{name}": on for key, each in problems.items() for name, on in each["previous"].items()}
    horizon = max(each["horizon_days"] for each in problems.values())
    return {**first, "horizon_days": horizon, "events": events, "lags": lags, "previous": previous}


@cache
def triples() -> list[dict[str, dict]]:
    """Random animals, three by three, each of which can be planned; they share today, horizon, calendars and costs."""
    return list(islice((made for seed in count() if (made := triple(seed))), TRIPLES))


def triple(seed: int) -> dict[str, dict] | None:
    rng, frame, found = Random(f"triple {seed}"), random_problem(seed, 4, 7), {}
    common = {name: frame[name] for name in ("today", "horizon_days", "closed", "costs")}
    for n in range(40):
        made = random_problem(1000 * seed + n, 4, rng.randint(4, 8))
        by = date.fromisoformat(frame["today"]) - date.fromisoformat(made["today"])
        for event in made["events"]:
            for key in ("done", "pinned"):
                if key in event:
                    event[key] = str(date.fromisoformat(event[key]) + by)
        made |= common
        if can_be_planned(Problem.from_json(made)):
            found[f"animal{len(found)}"] = made
        if len(found) == 3:
            return found
    return None


@pytest.mark.parametrize("numbers", BATCHES, ids=str)
def test_the_general_solver_finds_no_better_joint_plan(numbers):
    for number in numbers:
        given = triples()[number]

        found = together([Animal(key, Problem.from_json(each)) for key, each in given.items()])

        theirs = union(given)
        flat = {f"{key}|{name}": on.isoformat() for key, own in found.joint.days.items() for name, on in own.items()}
        assert found.is_proven
        assert found.joint.cost == Referee(theirs).best() == cost_of(theirs, flat), number
        assert not Referee(theirs).has_better(flat, found.joint.cost), number


def test_the_triples_are_a_fair_mix():
    """Else the test above could pass without a single shared drive."""
    results = [together([Animal(key, Problem.from_json(each)) for key, each in given.items()]) for given in triples()]

    assert sum(len(found.joint.drives) < len(found.alone.drives) for found in results) >= 30
    assert sum(found.joint.cost < found.alone.cost for found in results) >= 40
    assert all(not found.in_conflict for found in results)
