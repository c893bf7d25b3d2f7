"""Laws that every plan obeys, tried on problems that Hypothesis makes up and shrinks."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handover.schedule.plan import Conflict, Planned, plan
from handover.schedule.problem import Closed, Costs, Event, Lag, Problem

MONDAY = date(2027, 3, 1)
HORIZON = 24
NAMES = ("a", "b", "c", "d", "e", "f", "g")

# The same examples on every run: a law that fails does so for everybody.
laws = settings(max_examples=120, derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])


def days(first: int = 0, last: int = HORIZON) -> st.SearchStrategy[date]:
    return st.integers(first, last).map(lambda n: MONDAY + timedelta(n))


@st.composite
def lag_between(draw: st.DrawFn, names: list[str], number: int) -> Lag:
    start, end = draw(st.permutations(names))[:2]
    least, usual, most = sorted(draw(st.tuples(*[st.integers(-6, 14)] * 3)))
    given = [draw(st.booleans()) for _ in range(3)]
    limits = [limit if is_given else None for limit, is_given in zip((least, usual, most), given, strict=True)]
    return Lag(f"L{number}", start, end, *limits, weight=draw(st.integers(0, 4)))


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    names = list(NAMES[: draw(st.integers(2, len(NAMES)))])
    events = [Event(name, draw(st.sampled_from(["clinic", "home"]))) for name in names]
    if draw(st.booleans()):
        events[0] = replace(events[0], done=draw(days(-8, 0)))
    if draw(st.integers(0, 3)) == 0:
        events[-1] = replace(events[-1], pinned=draw(days()))
    closed = {
        "clinic": Closed(draw(st.sampled_from([frozenset(), frozenset({5, 6}), frozenset({0, 2, 6})])), frozenset({draw(days())})),
        "carer": Closed(spans=((first := draw(days()), first + timedelta(draw(st.integers(0, 5)))),)),
    }
    return Problem(
        today=MONDAY,
        horizon_days=HORIZON,
        events=tuple(events),
        lags=tuple(draw(lag_between(names, n)) for n in range(draw(st.integers(0, len(names) + 1)))),
        closed={name: part for name, part in closed.items() if draw(st.booleans())},
        previous=draw(st.dictionaries(st.sampled_from(names), days())) if draw(st.booleans()) else {},
        costs=Costs(draw(st.sampled_from([0, 3, 10, 30])), draw(st.sampled_from([0, 2, 5]))),
    )


@laws
@given(problems())
def test_planning_again_from_the_answer_changes_nothing(problem):
    """Also when moving costs nothing: the tie-break does not look at the older plan."""
    answer = plan(problem)
    if isinstance(answer, Conflict):
        return

    again = plan(replace(problem, previous=answer.days))

    assert again.days == answer.days
    assert again.cost <= answer.cost


@laws
@given(problems(), st.data())
def test_another_lag_never_makes_a_plan_cheaper(problem, data):
    lag = data.draw(lag_between([event.id for event in problem.events], 99))

    before, after = plan(problem), plan(replace(problem, lags=(*problem.lags, lag)))

    if isinstance(before, Conflict):
        assert isinstance(after, Conflict)
    elif isinstance(after, Planned):
        assert after.cost >= before.cost


@laws
@given(problems(), st.randoms(use_true_random=False))
def test_the_order_of_the_lags_plays_no_part(problem, random):
    lags = list(problem.lags)
    random.shuffle(lags)

    assert plan(replace(problem, lags=tuple(lags))) == plan(problem)


@laws
@given(problems(), st.sampled_from([-53, -4, 1, 9, 52, 400]))
def test_a_shift_by_whole_weeks_shifts_the_answer(problem, weeks):
    by = timedelta(weeks=weeks)
    answer, later = plan(problem), plan(shifted(problem, by))

    if isinstance(answer, Conflict):
        assert later == answer
    else:
        assert later.cost == answer.cost
        assert later.days == {name: day + by for name, day in answer.days.items()}
        assert later.windows == {name: (opens + by, closes + by) for name, (opens, closes) in answer.windows.items()}
        assert later.why == answer.why


def shifted(problem: Problem, by: timedelta) -> Problem:
    def moved(day: date | None) -> date | None:
        return None if day is None else day + by

    def closed(part: Closed) -> Closed:
        spans = tuple((first + by, last + by) for first, last in part.spans)
        return Closed(part.weekdays, frozenset(day + by for day in part.dates), spans)

    return replace(
        problem,
        today=problem.today + by,
        events=tuple(replace(event, done=moved(event.done), pinned=moved(event.pinned)) for event in problem.events),
        closed={name: closed(part) for name, part in problem.closed.items()},
        previous={name: day + by for name, day in problem.previous.items()},
    )


@laws
@given(problems())
def test_every_day_lies_in_its_window(problem):
    answer = plan(problem)
    if isinstance(answer, Conflict):
        return

    for name, (opens, closes) in answer.windows.items():
        assert opens <= answer.days[name] <= closes


@laws
@given(problems())
def test_the_visits_are_the_clinic_days_to_come(problem):
    answer = plan(problem)
    if isinstance(answer, Conflict):
        return

    served = [(visit.day, name) for visit in answer.visits for name in visit.events]
    assert served == sorted(served, key=lambda pair: pair[0])
    assert sorted(served) == sorted((answer.days[e.id], e.id) for e in problem.events if e.place == "clinic" and not e.done)


@laws
@given(problems(), st.data())
def test_a_pin_on_the_planned_day_changes_no_day(problem, data):
    """A person who confirms what was planned must not see anything else move."""
    answer = plan(problem)
    if isinstance(answer, Conflict) or not answer.windows:
        return
    name = data.draw(st.sampled_from(sorted(answer.windows)))

    events = tuple(replace(e, pinned=answer.days[name]) if e.id == name else e for e in problem.events)
    confirmed = plan(replace(problem, events=events))

    assert (confirmed.days, confirmed.cost) == (answer.days, answer.cost)


@laws
@given(problems())
def test_scaling_every_cost_scales_the_answer(problem):
    costs = Costs(problem.costs.visit * 3, problem.costs.move * 3)
    lags = tuple(replace(lag, weight=lag.weight * 3) for lag in problem.lags)

    answer, dearer = plan(problem), plan(replace(problem, costs=costs, lags=lags))

    if isinstance(answer, Conflict):
        assert dearer == answer
    else:
        assert (dearer.days, dearer.cost) == (answer.days, answer.cost * 3)


@laws
@given(problems(), st.randoms(use_true_random=False))
def test_another_order_of_the_events_costs_the_same(problem, random):
    """Only the choice among equals follows the order of the events."""
    events = list(problem.events)
    random.shuffle(events)

    answer, other = plan(problem), plan(replace(problem, events=tuple(events)))

    assert type(answer) is type(other)
    if isinstance(answer, Planned):
        assert (other.cost, other.windows) == (answer.cost, answer.windows)


def test_the_laws_meet_plans_and_conflicts():
    """A control: laws that only ever met conflicts would say nothing."""
    met = []

    @laws
    @given(problems())
    def look(problem):
        met.append(type(plan(problem)))

    look()
    assert met.count(Planned) >= 30
    assert met.count(Conflict) >= 5
