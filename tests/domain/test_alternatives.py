"""What would move a day: held against a general solver, and against trying every day one by one."""

from dataclasses import replace
from datetime import timedelta
from functools import cache

import pytest

from handover.schedule.alternatives import Broken, alternative, broken, cheapest_first, moves, possible_days, price_of
from handover.schedule.changes import is_shut
from handover.schedule.company import with_company
from handover.schedule.explain import cures
from handover.schedule.plan import Conflict, Planned, plan
from handover.schedule.problem import CARER, Problem
from tests.oracles.cpsat import Referee
from tests.oracles.instances import random_problem

SEEDS = range(40)


@cache
def planned_ones() -> list[tuple[Problem, Planned]]:
    problems = [Problem.from_json(random_problem(seed, 4, 8)) for seed in SEEDS]
    pairs = ((problem, plan(problem)) for problem in problems)
    return [(problem, answer) for problem, answer in pairs if isinstance(answer, Planned)]


def open_events(problem):
    return [event for event in problem.events if not event.done]


def pinned(problem, days):
    return replace(problem, events=tuple(replace(e, pinned=days[e.id]) if e.id in days else e for e in problem.events))


def every_open_day(problem, event):
    calendars = [problem.closed[name] for name in (event.place, CARER) if name in problem.closed]
    days = (problem.today + timedelta(n) for n in range(problem.horizon_days + 1))
    return [day for day in days if not any(is_shut(calendar, day) for calendar in calendars)]


def test_there_is_something_to_try():
    assert len(planned_ones()) > 15


def test_the_parts_of_a_price_add_up_to_the_cost_that_planning_found():
    for problem, answer in planned_ones():
        price = price_of(problem, answer.days)

        assert price.total == answer.cost
        assert price.visits == len(answer.visits)


def test_a_day_on_which_the_carer_comes_anyway_costs_nothing_more():
    for problem, _ in planned_ones()[:8]:
        days = {problem.today + timedelta(n) for n in (3, 9)}
        shared = with_company(problem, days)
        answer = plan(shared)
        helpers = len(shared.events) - len(problem.events)

        assert price_of(shared, answer.days).total == answer.cost - helpers * problem.costs.visit


def test_the_possible_days_are_those_on_which_a_general_solver_finds_a_plan():
    for problem, _ in planned_ones()[:6]:
        event = open_events(problem)[-1]

        found = possible_days(problem, event.id)

        tried = every_open_day(problem, event)
        assert list(found) == [d for d in tried if Referee(pinned(problem, {event.id: d}).to_json(), 1).best() is not None]


def test_no_plan_with_the_event_on_that_day_is_cheaper():
    for problem, answer in planned_ones()[:8]:
        event = open_events(problem)[0]
        for day in possible_days(problem, event.id)[:2]:
            found = alternative(problem, answer, event.id, day)

            assert found.extra + answer.cost == Referee(pinned(problem, {event.id: day}).to_json(), 1).best()


def test_no_other_day_is_cheaper_than_the_plan_unless_a_person_fixed_it():
    for problem, answer in planned_ones():
        for event in open_events(problem)[:2]:
            offers = moves(problem, answer, event.id).offers

            assert event.pinned or all(offer.extra >= 0 for offer in offers)
            assert len({offer.day for offer in offers} - {answer.days[event.id]}) == len(offers)


def test_a_day_that_breaks_a_rule_has_no_price():
    for problem, answer in planned_ones()[:10]:
        event = open_events(problem)[0]
        impossible = set(every_open_day(problem, event)) - set(possible_days(problem, event.id))

        assert all(alternative(problem, answer, event.id, day) is None for day in sorted(impossible)[:3])


def test_a_visit_of_its_own_is_the_cheapest_of_every_day_but_the_shared_one():
    tried = 0
    for problem, answer in planned_ones():
        visit = next((visit for visit in answer.visits if len(visit.events) > 1), None)
        if visit is None or any(event.pinned for event in problem.events):
            continue
        tried += 1
        event = next(event for event in problem.events if event.id == visit.events[0])
        found = moves(problem, answer, event.id)
        stayed = pinned(problem, dict.fromkeys(visit.events[1:], visit.day))
        others = (plan(pinned(stayed, {event.id: day})) for day in every_open_day(problem, event) if day != visit.day)
        costs = [other.cost for other in others if isinstance(other, Planned)]

        assert found.companions == visit.events[1:]
        assert (found.apart.extra + answer.cost if found.apart else None) == min(costs, default=None)
    assert tried >= 5


def test_what_is_done_or_unknown_cannot_move():
    problem, answer = planned_ones()[0]
    done = next(event.id for event in problem.events if event.done)

    for name in (done, "moon walk"):
        with pytest.raises(KeyError):
            moves(problem, answer, name)


# --- cures ----------------------------------------------------------------------------------------------------------


def test_cures_come_by_the_promised_dates_that_they_cost():
    several = 0
    for seed in range(60, 160):
        problem = Problem.from_json(random_problem(seed, 5, 9))
        answer = plan(problem)
        if not isinstance(answer, Conflict):
            continue
        found = cures(problem, answer)
        ordered = cheapest_first(found)
        costs = [broken(each.cure.problem, plan(each.cure.problem).days) for each in ordered]

        assert [each.broken for each in ordered] == costs == sorted(costs)
        assert sorted(map(repr, found)) == sorted(repr(each.cure) for each in ordered)
        for one, next_one in zip(ordered, ordered[1:], strict=False):
            if one.broken == next_one.broken:
                assert found.index(one.cure) < found.index(next_one.cure)
        several += len(set(costs)) > 1
    assert several >= 2


def test_a_broken_promise_counts_once_and_by_its_days():
    problem, answer = planned_ones()[0]
    first, second = [event.id for event in open_events(problem)[:2]]
    promised = replace(problem, previous={first: answer.days[first] + timedelta(3), second: answer.days[second]})

    assert broken(promised, answer.days) == Broken(1, 3)
