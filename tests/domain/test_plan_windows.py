"""Each bound of a window is a sum that a reader can check: here a checker adds it up, name by name."""

from __future__ import annotations

from datetime import date, timedelta

import networkx
import pytest

from handover.schedule.network import can_be_planned
from handover.schedule.problem import Event, Lag, Problem
from handover.schedule.windows import NoWindow, windows
from tests.oracles import temporal
from tests.oracles.instances import MONDAY, care_case, random_problem

SEEDS = 200


def day(n: int) -> date:
    return MONDAY + timedelta(n)


def made_up() -> list[Problem]:
    given = [random_problem(seed) for seed in range(SEEDS)]
    given += [care_case(seed, size) for seed in range(3) for size in (6, 12, 20)]
    return [problem for one in given if can_be_planned(problem := Problem.from_json(one))]


PROBLEMS = made_up()


# --- the checker ---


def added_up(problem: Problem, name: str, chain: tuple[str, ...], is_earliest: bool) -> date:
    """The day that a chain arrives at. Shares nothing with the code that found the chain.

    A min takes the earliest day onwards and the latest back; a max takes the earliest day back and the latest onwards.
    """
    lags = {lag.id: lag for lag in problem.lags}
    events = {event.id: event for event in problem.events}
    first, *rest = chain
    if first in ("today", "horizon"):
        at, now = _walked_back(lags, name, rest), problem.today if first == "today" else problem.today + timedelta(problem.horizon_days)
    elif first.startswith("pin:"):
        at = first.removeprefix("pin:")
        assert not events[at].done
        now = events[at].pinned
    else:
        lag, rest = lags[first], list(chain)
        (at,) = [end for end in (lag.start, lag.end) if events[end].done]
        now = events[at].done
    for link in rest:
        lag = lags[link]
        assert at in (lag.start, lag.end)
        is_onwards = at == lag.start
        length = lag.min if is_onwards == is_earliest else lag.max
        now += timedelta(length if is_onwards else -length)
        at = lag.end if is_onwards else lag.start
    assert at == name, "the chain ends at another event"
    return now


def _walked_back(lags: dict[str, Lag], name: str, links: list[str]) -> str:
    """Where a chain that starts at an edge of the calendar begins: follow it from its end."""
    for link in reversed(links):
        lag = lags[link]
        name = lag.start if name == lag.end else lag.end
    return name


def bound_days(problem: Problem) -> tuple[dict[str, int], dict[str, int]]:
    """First and last day of every event by shortest paths in the distance graph (networkx, Bellman-Ford)."""
    graph = temporal.distance_graph(problem)
    to_events = networkx.single_source_bellman_ford_path_length(graph, "today")
    from_events = networkx.single_source_bellman_ford_path_length(graph.reverse(), "today")
    return {name: -days for name, days in from_events.items()}, to_events


# --- sums ---


def test_every_bound_is_the_sum_of_its_chain():
    checked = 0
    for problem in PROBLEMS:
        for name, window in windows(problem).items():
            assert added_up(problem, name, window.earliest, is_earliest=True) == window.opens
            assert added_up(problem, name, window.latest, is_earliest=False) == window.closes
            checked += 1

    assert checked >= 1_000


def test_chains_of_every_kind_are_met():
    """Else the test above could pass by looking at one kind only."""
    chains = [chain for problem in PROBLEMS for window in windows(problem).values() for chain in (window.earliest, window.latest)]

    starts = {chain[0].split(":")[0] if chain[0].startswith("pin:") else chain[0] for chain in chains}
    assert {"today", "horizon", "pin", "L1"} <= starts
    assert max(map(len, chains)) >= 4


def test_every_bound_is_that_of_the_minimal_network():
    """Dechter, Meiri & Pearl 1991: the bounds are shortest paths in the distance graph; networkx finds them."""
    for problem in PROBLEMS:
        first, last = bound_days(problem)

        found = windows(problem)

        expected = {e.id: (first[e.id], last[e.id]) for e in problem.events if not e.fixed}
        assert {
            name: ((window.opens - problem.today).days, (window.closes - problem.today).days) for name, window in found.items()
        } == expected


def test_no_chain_names_anything_twice():
    for problem in PROBLEMS:
        for window in windows(problem).values():
            assert len(set(window.earliest)) == len(window.earliest)
            assert len(set(window.latest)) == len(window.latest)


# --- laws ---


@pytest.mark.parametrize("more", [1, 10])
def test_a_longer_horizon_only_opens_windows(more):
    for problem in PROBLEMS[:60]:
        longer = Problem(problem.today, problem.horizon_days + more, problem.events, problem.lags)

        before, after = windows(problem), windows(longer)

        for name, window in before.items():
            assert after[name].opens == window.opens
            assert window.closes <= after[name].closes <= window.closes + timedelta(more)


def test_opening_days_costs_and_the_older_plan_play_no_part():
    for problem in PROBLEMS:
        bare = Problem(problem.today, problem.horizon_days, problem.events, problem.lags)

        assert windows(bare) == windows(problem)


def test_an_event_can_stand_on_either_end_of_its_window():
    """The bounds are tight: pinned there, the rest can still be planned when every day is open."""
    for problem in PROBLEMS[:40]:
        for name, window in windows(problem).items():
            for pinned in (window.opens, window.closes):
                assert can_be_planned(_with_pin(problem, name, pinned))
            for beyond in (window.opens - timedelta(1), window.closes + timedelta(1)):
                assert not can_be_planned(_with_pin(problem, name, beyond))


def _with_pin(problem: Problem, name: str, on: date) -> Problem:
    events = tuple(Event(e.id, e.place, pinned=on) if e.id == name else e for e in problem.events)
    return Problem(problem.today, problem.horizon_days, events, problem.lags)


# --- by hand ---


def the_window(*lags: Lag, events: tuple[Event, ...], horizon: int = 60) -> tuple:
    window = windows(Problem(MONDAY, horizon, events, lags))["sutures"]
    return window.opens, window.earliest, window.closes, window.latest


@pytest.mark.parametrize(
    ("lags", "events", "expected"),
    [
        pytest.param(
            [], [], (day(0), ("today",), day(60), ("horizon",)), id="nothing known: the whole calendar"),
        pytest.param(
            [Lag("R1", "closure", "sutures", 28, 42, 56)], [Event("closure", "clinic", done=day(-3))],
            (day(25), ("R1",), day(53), ("R1",)), id="28 to 56 days after a fact three days ago"),
        pytest.param(
            [Lag("R1", "closure", "sutures", 2, 3, 5)], [Event("closure", "clinic", done=day(-4))],
            (day(0), ("today",), day(1), ("R1",)), id="the min lies in the past, so today"),
        pytest.param(
            [Lag("R1", "closure", "sutures", 4, 4, 90)], [Event("closure", "clinic", done=day(-4))],
            (day(0), ("R1",), day(60), ("horizon",)), id="the min falls on today: the fact is the better reason"),
        pytest.param(
            [Lag("R1", "sutures", "release", 14, None, 20)], [Event("release", "home", pinned=day(30))],
            (day(10), ("pin:release", "R1"), day(16), ("pin:release", "R1")), id="14 to 20 days before a pin"),
        pytest.param(
            [Lag("R1", "bandage", "sutures", 5, None, 6), Lag("R2", "closure", "bandage", 7, None, 8)],
            [Event("closure", "clinic", done=day(-1)), Event("bandage", "clinic")],
            (day(11), ("R2", "R1"), day(13), ("R2", "R1")), id="two lags in a row"),
        pytest.param(
            [Lag("R1", "sutures", "bandage", -3, None, -3), Lag("R2", "closure", "bandage", 7, None, 8)],
            [Event("closure", "clinic", done=day(0)), Event("bandage", "clinic")],
            (day(10), ("R2", "R1"), day(11), ("R2", "R1")), id="a negative lag: three days after the bandage"),
        pytest.param(
            [Lag("R2", "closure", "sutures", 9), Lag("R1", "closure", "sutures", 9)], [Event("closure", "clinic", done=day(0))],
            (day(9), ("R1",), day(60), ("horizon",)), id="two reasons of equal length: the first by name"),
        pytest.param(
            [Lag("R1", "release", "sutures", 0)], [Event("release", "home", done=day(-9), pinned=day(20))],
            (day(0), ("today",), day(60), ("horizon",)), id="the pin of a done event is no reason"),
    ],
)  # fmt: skip
def test_a_window_gives_its_reasons(lags, events, expected):
    assert the_window(*lags, events=(Event("sutures", "clinic"), *events)) == expected


def test_only_open_events_have_windows():
    events = (Event("done", "home", done=day(-1)), Event("pinned", "home", pinned=day(2)), Event("open", "home"))

    assert set(windows(Problem(MONDAY, 5, events))) == {"open"}


@pytest.mark.parametrize(
    "lags",
    [
        [Lag("R1", "a", "b", 3), Lag("R2", "b", "a", -2)],
        [Lag("R1", "a", "b", 3), Lag("R2", "a", "b", None, None, 2)],
        [Lag("R1", "a", "b", 61)],
    ],
)
def test_lags_that_leave_an_event_no_day_have_no_window(lags):
    problem = Problem(MONDAY, 60, (Event("a", "home"), Event("b", "home")), tuple(lags))

    with pytest.raises(NoWindow):
        windows(problem)


def test_there_are_windows_exactly_when_there_is_no_negative_cycle():
    """Opening days left aside. The cycle is looked for by networkx."""
    verdicts = []
    for seed in range(SEEDS):
        problem = Problem.from_json(random_problem(seed))
        try:
            verdicts.append(bool(windows(problem)) or True)
        except NoWindow:
            verdicts.append(False)
        assert verdicts[-1] == temporal.can_be_planned(problem), seed

    assert verdicts.count(False) >= 10


def test_the_checker_sees_a_sum_that_is_off():
    """A control: a checker that lets everything pass would make the tests above worthless."""
    events = (Event("closure", "clinic", done=day(-3)), Event("sutures", "clinic"))
    problem = Problem(MONDAY, 60, events, (Lag("R1", "closure", "sutures", 28, 42, 56),))

    assert added_up(problem, "sutures", ("R1",), True) == day(25)
    assert added_up(problem, "sutures", ("R1",), False) == day(53)
    assert added_up(problem, "sutures", ("today",), True) == day(0)
