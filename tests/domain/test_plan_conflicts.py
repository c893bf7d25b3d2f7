"""Every conflict is one, and holds nothing that it could do without; every cure cures, and no smaller one would."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from handover.schedule.changes import is_shut
from handover.schedule.explain import Cure, CureKind, conflict, cures, demands
from handover.schedule.network import can_be_planned
from handover.schedule.plan import Planned, plan
from handover.schedule.problem import Closed, Event, Lag, Problem
from tests.oracles.cpsat import Referee
from tests.oracles.instances import MONDAY, care_case, random_problem
from tests.oracles.temporal import demands_fit

SEEDS = 300


def day(n: int) -> date:
    return MONDAY + timedelta(n)


def made_up() -> list[tuple[Problem, tuple[str, ...] | None]]:
    given = [random_problem(seed) for seed in range(SEEDS)] + [care_case(seed, 20) for seed in range(20)]
    problems = [Problem.from_json(one) for one in given]
    return [(problem, conflict(problem)) for problem in problems]


PROBLEMS = made_up()
CONFLICTS = [(problem, members) for problem, members in PROBLEMS if members is not None]
CURES = [(problem, members, cures(problem, members)) for problem, members in CONFLICTS]


# --- conflicts ---


def test_there_is_a_conflict_exactly_when_a_second_opinion_sees_no_answer():
    for problem, members in PROBLEMS:
        assert (members is None) == demands_fit(problem, demands(problem))


def test_a_general_solver_shares_the_second_opinion():
    """The second opinion above is a short program of our own: CP-SAT vouches for it."""
    for seed in range(60):
        given = random_problem(seed, most=12)
        problem = Problem.from_json(given)

        assert demands_fit(problem, demands(problem)) == (Referee(given).best() is not None), seed


def test_the_members_of_a_conflict_cannot_all_be_met():
    for problem, members in CONFLICTS:
        assert not demands_fit(problem, members)


def test_without_any_one_member_the_rest_can_be_met():
    for problem, members in CONFLICTS:
        for left_out in members:
            assert demands_fit(problem, set(members) - {left_out}), (members, left_out)


def test_conflicts_of_every_kind_are_met():
    """Else the tests above could pass by looking at one kind only."""
    kinds = {member if member in ("today", "horizon") else member.split(":")[0] for _, members in CONFLICTS for member in members}

    assert len(CONFLICTS) >= 60
    assert {"pin", "closed", "today", "horizon"} < kinds
    assert max(len(members) for _, members in CONFLICTS) >= 5


def test_members_come_in_the_order_of_the_demands():
    for problem, members in CONFLICTS:
        assert list(members) == [name for name in demands(problem) if name in members]


def test_what_collides_without_pins_or_closed_days_is_told_without_them():
    """Rules that contradict each other are the more fundamental news than a carer who is away."""
    seen = set()
    for problem, members in CONFLICTS:
        lags = {lag.id for lag in problem.lags}
        pins = {name for name in demands(problem) if name.startswith("pin:")}
        for number, enough in enumerate((lags, lags | pins)):
            if not demands_fit(problem, enough):
                assert set(members) <= enough
                seen.add(number)
                break

    assert seen == {0, 1}


# --- conflicts by hand ---

FACT = Event("closure", "clinic", done=day(-2))
SUTURES = Event("sutures", "clinic")
BANDAGE = Event("bandage", "home")
WEEKEND = Closed(weekdays=frozenset({5, 6}))


@pytest.mark.parametrize(
    ("events", "lags", "closed", "expected"),
    [
        pytest.param(
            [SUTURES, BANDAGE], [Lag("A", "sutures", "bandage", 5), Lag("B", "sutures", "bandage", None, None, 4)], {},
            ("A", "B"), id="two lags between the same events"),
        pytest.param(
            [SUTURES, BANDAGE], [Lag("B", "bandage", "sutures", 1), Lag("A", "sutures", "bandage", 0), Lag("C", "sutures", "bandage", -9)],
            {}, ("A", "B"), id="a circle that only grows, in the order of the names"),
        pytest.param(
            [FACT, SUTURES], [Lag("A", "closure", "sutures", 0, None, 1)], {}, ("A", "today"), id="the last day has gone by"),
        pytest.param(
            [FACT, SUTURES], [Lag("A", "closure", "sutures", 33)], {}, ("A", "horizon"), id="beyond what is planned"),
        pytest.param(
            [FACT, Event("sutures", "clinic", pinned=day(9))], [Lag("A", "closure", "sutures", 12)], {},
            ("A", "pin:sutures"), id="a pin too early"),
        pytest.param(
            [Event("sutures", "clinic", pinned=day(9)), Event("bandage", "home", pinned=day(8))], [Lag("A", "sutures", "bandage", 0)], {},
            ("A", "pin:sutures", "pin:bandage"), id="two pins in the order of the events"),
        pytest.param([Event("sutures", "clinic", pinned=day(-1))], [], {}, ("pin:sutures", "today"), id="a pin in the past"),
        pytest.param([Event("sutures", "clinic", pinned=day(31))], [], {}, ("pin:sutures", "horizon"), id="a pin too far off"),
        pytest.param(
            [FACT, SUTURES], [Lag("A", "closure", "sutures", 7, None, 8)], {"clinic": WEEKEND, "home": Closed()},
            ("A", "closed:clinic"), id="the only days are a weekend"),
        pytest.param(
            [FACT, SUTURES], [Lag("A", "closure", "sutures", 6, None, 8)],
            {"clinic": WEEKEND, "carer": Closed(spans=((day(2), day(4)),))}, ("A", "closed:clinic", "closed:carer"),
            id="away before a weekend"),
        pytest.param([SUTURES], [], {"clinic": Closed(frozenset(range(7)))}, ("closed:clinic",), id="never open"),
        pytest.param(
            [SUTURES], [], {"carer": Closed(spans=((day(-3), day(40)),))}, ("closed:carer", "today", "horizon"),
            id="away for all the days that are planned"),
        pytest.param(
            [Event("sutures", "clinic", pinned=day(6)), Event("recheck", "clinic")], [Lag("A", "sutures", "recheck", 1, None, 2)],
            {"clinic": Closed(frozenset({1, 2, 3, 4, 5, 6})), "carer": Closed(dates=frozenset({day(7)}))}, ("A", "closed:clinic"),
            id="open on Mondays only: once the pin is left out the carer is no longer needed"),
    ],
)  # fmt: skip
def test_a_conflict_names_what_collides(events, lags, closed, expected):
    problem = Problem(MONDAY, 30, tuple(events), tuple(lags), closed)

    assert conflict(problem) == expected


def test_history_and_pins_of_done_events_are_never_a_cause():
    events = (FACT, Event("sutures", "clinic", done=day(-1), pinned=day(-40)))

    assert conflict(Problem(MONDAY, 30, events, (Lag("A", "closure", "sutures", 10),))) is None


def test_lags_of_years_that_chase_each_other_are_told_at_once():
    """Pushed day by day this would take minutes."""
    names = [f"e{n}" for n in range(12)]
    lags = [Lag(f"L{n:02}", a, b, 1) for n, (a, b) in enumerate(zip(names, [*names[1:], names[0]], strict=True))]
    problem = Problem(MONDAY, 3650, tuple(Event(name, "home") for name in names), (*lags, Lag("X", "e0", "e5", -3650, None, 3650)))

    assert conflict(problem) == tuple(lag.id for lag in lags)


# --- cures ---


def test_every_cure_cures():
    found = [cure for _, _, offered in CURES for cure in offered]

    assert len(found) >= 100
    assert {cure.kind for cure in found} == set(CureKind)
    for cure in found:
        assert demands_fit(cure.problem, demands(cure.problem)), cure
    for cure in found[::25]:
        assert isinstance(plan(cure.problem), Planned)


def test_a_cure_changes_one_thing_and_says_which():
    for problem, _, offered in CURES:
        for cure in offered:
            assert cure.problem == changed(problem, cure)


def changed(problem: Problem, cure: Cure) -> Problem:
    """The problem after the change that the cure's own words tell."""
    if cure.kind in (CureKind.MOVE_PIN, CureKind.DROP_PIN):
        return replace(problem, events=tuple(replace(e, pinned=cure.on) if e.id == cure.target else e for e in problem.events))
    if cure.kind is CureKind.EXTEND_HORIZON:
        return replace(problem, horizon_days=problem.horizon_days + cure.days)
    if cure.kind in (CureKind.SHORTEN_MIN, CureKind.LENGTHEN_MAX):
        return replace(problem, lags=tuple(_stretched(lag, cure) if lag.id == cure.target else lag for lag in problem.lags))
    # Calendars can be written in several ways: they are compared day by day, and the rest as it is.
    turned = [on for on in _all_days(problem) if is_shut(problem.closed[cure.target], on) != is_shut(cure.problem.closed[cure.target], on)]
    assert all(is_shut(problem.closed[cure.target], on) for on in turned)
    if cure.kind is CureKind.OPEN:
        assert turned == [cure.on]
    elif cure.kind is CureKind.CARER_BACK:
        assert turned == [on for n in range(cure.days) if (on := cure.on + timedelta(n)) in turned]
    else:
        assert turned == [on for n in range(cure.days, 0, -1) if (on := cure.on - timedelta(n)) in turned]
    return replace(problem, closed={**problem.closed, cure.target: cure.problem.closed[cure.target]})


def _stretched(lag: Lag, cure: Cure) -> Lag:
    return replace(lag, min=lag.min - cure.days) if cure.kind is CureKind.SHORTEN_MIN else replace(lag, max=lag.max + cure.days)


def _all_days(problem: Problem) -> list[date]:
    return [problem.today + timedelta(n) for n in range(problem.horizon_days + 1)]


def test_the_cheapest_cures_come_first_and_pins_are_dropped_last():
    for _, _, offered in CURES:
        days = [cure.days for cure in offered if cure.days is not None]

        assert days == sorted(days)
        assert [cure.days for cure in offered[: len(days)]] == days


def test_a_day_less_would_not_cure():
    stretched = [(p, c) for p, _, offered in CURES for c in offered if c.kind in
                 (CureKind.SHORTEN_MIN, CureKind.LENGTHEN_MAX, CureKind.EXTEND_HORIZON)]  # fmt: skip

    assert len(stretched) >= 60
    for problem, cure in stretched:
        assert not can_be_planned(changed(problem, replace(cure, days=cure.days - 1)))


def test_a_pin_moves_no_farther_than_it_must():
    for problem, _, offered in CURES:
        for cure in offered:
            if cure.kind is CureKind.MOVE_PIN:
                event = next(e for e in problem.events if e.id == cure.target)
                assert abs((cure.on - event.pinned).days) == cure.days
                nearer = [event.pinned + timedelta(n) for n in range(1 - cure.days, cure.days)]
                assert not any(_is_open(problem, event, on) and can_be_planned(changed(problem, replace(cure, on=on))) for on in nearer)


def _is_open(problem: Problem, event: Event, on: date) -> bool:
    return not any(is_shut(problem.closed[name], on) for name in (event.place, "carer") if name in problem.closed)


def test_where_a_lag_could_give_way_it_is_offered():
    """Tried out: each min and max of the conflict, up to 40 days."""
    for problem, members, offered in CURES[::3]:
        for lag in (lag for lag in problem.lags if lag.id in members):
            for kind, limit in ((CureKind.SHORTEN_MIN, lag.min), (CureKind.LENGTHEN_MAX, lag.max)):
                if limit is None:
                    continue
                trials = ((n, changed(problem, Cure(kind, lag.id, n, problem))) for n in range(1, 41))
                enough = next((n for n, trial in trials if demands_fit(trial, demands(trial))), None)
                found = next((cure.days for cure in offered if (cure.kind, cure.target) == (kind, lag.id)), None)
                assert found == enough or (enough is None and found > 40)


def test_two_conflicts_side_by_side_have_no_single_cure():
    events = (FACT, SUTURES, BANDAGE)
    lags = (Lag("A", "closure", "sutures", 40), Lag("B", "sutures", "closure", 0), Lag("C", "closure", "bandage", 1, None, 1))
    problem = Problem(MONDAY, 30, events, lags)

    members = conflict(problem)

    assert members is not None
    assert cures(problem, members) == ()


# --- cures by hand ---


def told(problem: Problem) -> list[tuple]:
    members = conflict(problem)
    assert members is not None
    return [(str(cure.kind), cure.target, cure.days, cure.on) for cure in cures(problem, members)]


def test_a_pin_two_days_too_early_has_three_cures():
    events = (FACT, Event("sutures", "clinic", pinned=day(9)))

    assert told(Problem(MONDAY, 30, events, (Lag("A", "closure", "sutures", 13),))) == [
        ("move_pin", "sutures", 2, day(11)),
        ("shorten_min", "A", 2, None),
        ("drop_pin", "sutures", 2, None),
    ]


def test_a_carer_who_is_away_may_come_back_sooner_or_leave_later():
    """The check is due from day 6 to day 9, the carer is away from day 5 to day 12."""
    lag = Lag("A", "closure", "bandage", 8, None, 11)
    problem = Problem(MONDAY, 30, (FACT, BANDAGE), (lag,), {"carer": Closed(spans=((day(5), day(12)),))})

    assert told(problem) == [
        ("shorten_min", "A", 2, None),
        ("carer_leaves", "carer", 2, day(7)),
        ("lengthen_max", "A", 4, None),
        ("carer_back", "carer", 4, day(9)),
    ]


def test_a_closed_weekend_may_open_for_a_day():
    problem = Problem(MONDAY, 30, (FACT, SUTURES), (Lag("A", "closure", "sutures", 7, None, 8),), {"clinic": WEEKEND})

    assert told(problem) == [
        ("shorten_min", "A", 1, None),
        ("lengthen_max", "A", 1, None),
        ("open", "clinic", 1, day(5)),
        ("open", "clinic", 1, day(6)),
    ]
