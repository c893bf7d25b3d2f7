"""A second opinion on plans: PLANNING.md section 2 as a model for a general-purpose solver, used by tests only.

It reads the published JSON shape and shares no code with the planner. Days are ladders of booleans ("this event is on
day d or later"): demands become implications between rungs and |gap - usual| a sum over rungs, which keeps the
solver's linear relaxation tight. (OR-Tools CP-SAT, Apache-2.0.)
"""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

from ortools.sat.python import cp_model


class Referee:
    """The model of one problem; `best()` gives the least cost, `better()` any answer that the rules prefer."""

    def __init__(self, problem: dict, workers: int = 8):
        self.problem, self.workers = problem, workers
        self.model = cp_model.CpModel()
        self.today = date.fromisoformat(problem["today"])
        self.last = problem["horizon_days"]
        self.fixed: dict[str, int] = {}
        self.rungs: dict[str, dict[int, object]] = {}
        self.on_day: dict[str, dict[int, object]] = {}
        for event in problem["events"]:
            self._add_event(event)
        self.terms: list[tuple[int, object]] = []
        self.constant = 0
        for lag in problem.get("lags", []):
            self._add_lag(lag)
        self._add_visits()
        self._add_moves()
        self.cost = sum(weight * term for weight, term in self.terms) + self.constant

    def best(self, hint: dict[str, str] | None = None) -> int | None:
        """The least cost, proven; None if there is no answer at all."""
        self.model.minimize(self.cost)
        status, solver = self._solve()
        if status == cp_model.INFEASIBLE:
            return None
        assert status == cp_model.OPTIMAL, solver.status_name(status)
        return round(solver.objective_value)

    def has_better(self, days: dict[str, str], cost: int) -> bool:
        """Whether some answer costs less, or costs the same and comes first in the order of the events."""
        self.model.clear_objective()
        cheaper = self.model.new_bool_var("cheaper")
        self.model.add(self.cost <= cost)
        self.model.add(self.cost <= cost - 1).only_enforce_if(cheaper)
        starts, equal_so_far = [], []
        for event in self.problem["events"]:
            if event["id"] in self.fixed:
                continue
            day = self._number(days[event["id"]])
            earlier = self.model.new_bool_var(f"earlier {event['id']}")
            self.model.add_implication(earlier, self._rung(event["id"], day).negated())
            for same in equal_so_far:
                self.model.add_implication(earlier, same)
            starts.append(earlier)
            equal_so_far.append(self._is_on(event["id"], day))
        self.model.add_bool_or([cheaper, *starts])
        status, solver = self._solve()
        assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE), solver.status_name(status)
        return status != cp_model.INFEASIBLE

    # --- the model ---

    def _solve(self):
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = self.workers
        solver.parameters.random_seed = 1
        return solver.solve(self.model), solver

    def _number(self, day: str) -> int:
        return (date.fromisoformat(day) - self.today).days

    def _is_free(self, place: str, day: int) -> bool:
        when = self.today + timedelta(day)
        for calendar in (place, "carer"):
            closed = self.problem.get("closed", {}).get(calendar, {})
            if when.weekday() in closed.get("weekdays", []) or when.isoformat() in closed.get("dates", []):
                return False
            if any(a <= when.isoformat() <= b for a, b in closed.get("spans", [])):
                return False
        return True

    def _add_event(self, event: dict):
        name = event["id"]
        if event.get("done") or event.get("pinned"):
            self.fixed[name] = self._number(event.get("done") or event["pinned"])
            if not event.get("done") and not 0 <= self.fixed[name] <= self.last:
                self.model.add_bool_or([])
            return
        rungs = {d: self.model.new_bool_var(f"{name} from {d}") for d in range(1, self.last + 1)}
        rungs[0], rungs[self.last + 1] = self.model.new_constant(1), self.model.new_constant(0)
        for d in range(self.last + 1):
            self.model.add_implication(rungs[d + 1], rungs[d])
            if not self._is_free(event["place"], d):
                self.model.add_implication(rungs[d], rungs[d + 1])
        self.rungs[name], self.on_day[name] = rungs, {}

    def _rung(self, name: str, day: int):
        """True when the event is on `day` or later; facts and pins are known."""
        if name in self.fixed:
            return self.model.new_constant(int(self.fixed[name] >= day))
        return self.rungs[name][min(max(day, 0), self.last + 1)]

    def _is_on(self, name: str, day: int):
        known = self.on_day[name]
        if day not in known:
            known[day] = self.model.new_bool_var(f"{name} on {day}")
            here, after = self._rung(name, day), self._rung(name, day + 1)
            self.model.add(known[day] == here - after)
        return known[day]

    def _add_lag(self, lag: dict):
        start, end = lag["from"], lag["to"]
        done = {event["id"] for event in self.problem["events"] if event.get("done")}
        if start in done and end in done:
            return
        days = range(min(self.fixed.get(start, 0), 0), max(self.fixed.get(start, 0), self.last) + 2)
        for d in days:
            if lag.get("min") is not None:
                self.model.add_implication(self._rung(start, d), self._rung(end, d + lag["min"]))
            if lag.get("max") is not None:
                self.model.add_implication(self._rung(end, d + lag["max"]), self._rung(start, d))
        if lag.get("usual") is not None and lag.get("weight", 1):
            self._add_pull(start, end, lag["usual"], lag.get("weight", 1))

    def _add_pull(self, start: str, end: str, usual: int, weight: int):
        if start in self.fixed and end in self.fixed:
            self.constant += weight * abs(self.fixed[end] - self.fixed[start] - usual)
            return
        reach = [n for name in (start, end) for n in ((self.fixed[name],) if name in self.fixed else (0, self.last))]
        low, high = min(reach) - abs(usual), max(reach) + abs(usual) + 1
        for d in range(low, high + 1):
            early, late = self._rung(start, d), self._rung(end, d + usual)
            apart = self.model.new_bool_var("")
            self.model.add(apart >= early - late)
            self.model.add(apart >= late - early)
            self.terms.append((weight, apart))

    def _add_visits(self):
        visit = self.problem["costs"]["visit"]
        open_events = [e["id"] for e in self.problem["events"] if e["place"] == "clinic" and e["id"] in self.rungs]
        paid = {
            self.fixed[e["id"]] for e in self.problem["events"] if e["place"] == "clinic" and e["id"] in self.fixed and not e.get("done")
        }
        self.constant += visit * len(paid)
        if not open_events or not visit:
            return
        for d in range(self.last + 1):
            if d in paid or not self._is_free("clinic", d):
                continue
            visited = self.model.new_bool_var(f"visit {d}")
            for name in open_events:
                self.model.add_implication(self._is_on(name, d), visited)
            self.terms.append((visit, visited))

    def _add_moves(self):
        move, previous = self.problem["costs"]["move"], self.problem.get("previous", {})
        for event in self.problem["events"]:
            name = event["id"]
            if name not in previous or event.get("done"):
                continue
            day = self._number(previous[name])
            if name in self.fixed:
                self.constant += move * (self.fixed[name] != day)
            elif 0 <= day <= self.last:
                self.terms.append((move, self._is_on(name, day).negated()))
            else:
                self.constant += move


def cost_of(problem: dict, days: dict[str, str]) -> int:
    """The cost of an answer, added up term by term; AssertionError if the answer breaks a demand."""
    today = date.fromisoformat(problem["today"])
    at = {name: date.fromisoformat(day) for name, day in days.items()}
    events = {event["id"]: event for event in problem["events"]}
    assert set(at) == set(events)
    for name, event in events.items():
        _assert_possible(problem, event, at[name], today)
    cost = 0
    for lag in problem.get("lags", []):
        if events[lag["from"]].get("done") and events[lag["to"]].get("done"):
            continue
        gap = (at[lag["to"]] - at[lag["from"]]).days
        assert lag.get("min") is None or gap >= lag["min"], lag
        assert lag.get("max") is None or gap <= lag["max"], lag
        if lag.get("usual") is not None:
            cost += lag.get("weight", 1) * abs(gap - lag["usual"])
    coming = [event for event in events.values() if not event.get("done")]
    cost += problem["costs"]["visit"] * len({at[e["id"]] for e in coming if e["place"] == "clinic"})
    moved = Counter(days[e["id"]] != problem.get("previous", {}).get(e["id"], days[e["id"]]) for e in coming)
    return cost + problem["costs"]["move"] * moved[True]


def _assert_possible(problem: dict, event: dict, day: date, today: date):
    if event.get("done"):
        assert day.isoformat() == event["done"]
        return
    assert 0 <= (day - today).days <= problem["horizon_days"], (event, day)
    if event.get("pinned"):
        assert day.isoformat() == event["pinned"]
        return
    for calendar in (event["place"], "carer"):
        closed = problem.get("closed", {}).get(calendar, {})
        assert day.weekday() not in closed.get("weekdays", []), (event, day)
        assert day.isoformat() not in closed.get("dates", []), (event, day)
        assert not any(a <= day.isoformat() <= b for a, b in closed.get("spans", [])), (event, day)
