"""Published temporal networks against our own windows. Their minutes are read as days: the arithmetic is the same.

The figures of Dechter, Meiri & Pearl are from memory; two general solvers that share nothing with the planner confirm
them here (shortest paths by networkx, least and greatest differences by OR-Tools CP-SAT).
"""

from __future__ import annotations

from datetime import date, timedelta

import networkx
import pytest
from ortools.sat.python import cp_model

from handover.schedule.explain import conflict, cures
from handover.schedule.plan import Planned, plan
from handover.schedule.problem import Event, Lag, Problem
from handover.schedule.windows import windows

MONDAY = date(2027, 3, 1)


def day(n: int) -> date:
    return MONDAY + timedelta(n)


# --- John and Fred: R. Dechter, I. Meiri, J. Pearl, Temporal constraint networks, Artificial Intelligence 49 (1991) 61-95 ---
# John's trip (X1 to X2) takes 30 to 40 minutes, Fred's (X3 to X4) 40 to 50. John leaves 10 to 20 minutes after seven (X0),
# Fred arrives 60 to 70 minutes after seven; John arrives 10 to 20 minutes after Fred left.

NAMES = ("X0", "X1", "X2", "X3", "X4")
JOHN_AND_FRED = {("X0", "X1"): (10, 20), ("X1", "X2"): (30, 40), ("X3", "X2"): (10, 20), ("X3", "X4"): (40, 50), ("X0", "X4"): (60, 70)}
MINIMAL_NETWORK = {
    ("X0", "X1"): (10, 20), ("X0", "X2"): (40, 50), ("X0", "X3"): (20, 30), ("X0", "X4"): (60, 70), ("X1", "X2"): (30, 40),
    ("X1", "X3"): (10, 20), ("X1", "X4"): (50, 60), ("X2", "X3"): (-20, -10), ("X2", "X4"): (20, 30), ("X3", "X4"): (40, 50),
}  # fmt: skip
DISTANCES = [
    [0, 20, 50, 30, 70],
    [-10, 0, 40, 20, 60],
    [-40, -30, 0, -10, 30],
    [-20, -10, 20, 0, 50],
    [-60, -50, -20, -40, 0],
]


def john_and_fred(anchor: str, at: int) -> Problem:
    """The network with one of its points on a known day, and days enough on either side."""
    events = tuple(Event(name, "home", pinned=day(at) if name == anchor else None) for name in NAMES)
    lags = tuple(Lag(f"{a}-{b}", a, b, least, None, most) for (a, b), (least, most) in JOHN_AND_FRED.items())
    return Problem(MONDAY, 400, events, lags)


def our_distances() -> list[list[int]]:
    """How far each point can be after each other, from the windows around one known point at a time."""
    rows = []
    for anchor in NAMES:
        found = windows(john_and_fred(anchor, at=200))
        rows.append([0 if name == anchor else (found[name].closes - day(200)).days for name in NAMES])
    return rows


def test_the_distance_graph_of_dechter_meiri_pearl_1991():
    assert our_distances() == DISTANCES


@pytest.mark.parametrize(("pair", "expected"), MINIMAL_NETWORK.items(), ids=lambda value: "-".join(map(str, value)))
def test_the_minimal_network_of_dechter_meiri_pearl_1991(pair, expected):
    start, end = pair

    window = windows(john_and_fred(start, at=200))[end]

    assert ((window.opens - day(200)).days, (window.closes - day(200)).days) == expected


def test_shortest_paths_confirm_what_we_remember_of_the_paper():
    graph = networkx.DiGraph()
    for (start, end), (least, most) in JOHN_AND_FRED.items():
        graph.add_edge(start, end, weight=most)
        graph.add_edge(end, start, weight=-least)

    assert networkx.floyd_warshall_numpy(graph, NAMES).tolist() == DISTANCES


def test_a_general_solver_confirms_what_we_remember_of_the_paper():
    for (start, end), expected in MINIMAL_NETWORK.items():
        assert (extreme(start, end, is_least=True), extreme(start, end, is_least=False)) == expected


def extreme(start: str, end: str, is_least: bool) -> int:
    model = cp_model.CpModel()
    at = {name: model.new_int_var(-500, 500, name) for name in NAMES}
    for (a, b), (least, most) in JOHN_AND_FRED.items():
        model.add_linear_constraint(at[b] - at[a], least, most)
    (model.minimize if is_least else model.maximize)(at[end] - at[start])
    solver = cp_model.CpSolver()
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)


def test_a_reader_can_add_up_why_fred_leaves_when_he_does():
    """Fred leaves 20 minutes past at the earliest: John leaves at 10, travels 30, and arrives at most 20 after Fred left."""
    window = windows(john_and_fred("X0", at=0))["X3"]

    assert (window.opens, window.earliest) == (day(10 + 30 - 20), ("pin:X0", "X0-X1", "X1-X2", "X3-X2"))
    assert (window.closes, window.latest) == (day(70 - 40), ("pin:X0", "X0-X4", "X3-X4"))


def test_the_earliest_answer_of_john_and_fred_is_the_plan():
    """Nothing has a cost, so the earliest days win; the earliest bounds of a temporal network are an answer together."""
    answer = plan(john_and_fred("X0", at=0))

    assert answer.days == {"X0": day(0), "X1": day(10), "X2": day(40), "X3": day(20), "X4": day(60)}


# --- A university exercise on simple temporal networks (transtutors.com, question 11404899), parts a(i) and b ---
# The question is published; its windows are ours, and networkx confirms them. Minutes after 07:50: leave (t0) within 10,
# reach the station (t1) 10 to 15 later, the train leaves (t2) at 30 whoever is there, arrives (t3) 30 to 50 later, and the
# office is reached (t4) by 70.


def train_commute(ride: tuple[int, int] = (30, 50)) -> Problem:
    lags = [
        Lag("leave", "0750", "t0", 0, None, 10),
        Lag("to the station", "t0", "t1", 10, None, 15),
        Lag("timetable", "0750", "t2", 30, None, 30),
        Lag("in time for the train", "t1", "t2", 0),
        Lag("ride", "t2", "t3", ride[0], None, ride[1]),
        Lag("walk", "t3", "t4", 0),
        Lag("office", "0750", "t4", None, None, 70),
    ]
    events = (Event("0750", "home", done=MONDAY), *(Event(f"t{n}", "home") for n in range(5)))
    return Problem(MONDAY, 200, events, tuple(lags))


def test_the_windows_of_the_train_commute():
    found = windows(train_commute())

    assert {name: ((w.opens - MONDAY).days, (w.closes - MONDAY).days) for name, w in found.items()} == {
        "t0": (0, 10), "t1": (10, 25), "t2": (30, 30), "t3": (60, 70), "t4": (60, 70),
    }  # fmt: skip
    assert isinstance(plan(train_commute()), Planned)


def test_shortest_paths_confirm_the_windows_of_the_train_commute():
    graph = commute_graph(train_commute())

    latest = networkx.single_source_bellman_ford_path_length(graph, "0750")
    earliest = networkx.single_source_bellman_ford_path_length(graph.reverse(), "0750")

    assert {name: (-earliest[name], latest[name]) for name in ("t1", "t3", "t4")} == {"t1": (10, 25), "t3": (60, 70), "t4": (60, 70)}


def test_a_ride_of_45_minutes_cannot_be_in_time():
    """30 + 45 = 75 > 70."""
    assert conflict(train_commute(ride=(45, 45))) == ("office", "ride", "timetable", "walk")
    assert networkx.negative_edge_cycle(commute_graph(train_commute(ride=(45, 45))))


def test_five_minutes_anywhere_on_the_way_would_do():
    """75 - 70 = 5: a later office, a shorter ride, an earlier train; or (walk) to be there before the train is."""
    problem = train_commute(ride=(45, 45))

    offered = cures(problem, conflict(problem))

    assert {(cure.kind, cure.target, cure.days) for cure in offered} == {
        ("lengthen_max", "office", 5), ("shorten_min", "ride", 5), ("shorten_min", "timetable", 5), ("shorten_min", "walk", 5),
    }  # fmt: skip


def commute_graph(problem: Problem) -> networkx.DiGraph:
    graph = networkx.DiGraph()
    for lag in problem.lags:
        for a, b, length in ((lag.start, lag.end, lag.max), (lag.end, lag.start, None if lag.min is None else -lag.min)):
            if length is not None:
                graph.add_edge(a, b, weight=length)
    return graph
