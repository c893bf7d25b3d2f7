"""Several animals of one carer planned at once: their problems side by side, where one day at the clinic is one drive.

The joint cost is that of a single problem: every animal's own terms, and one visit for each day on which any of them has a
clinic event that is not done. So the solver answers it as it is, exactly and with the same tie-break: the days of the animals
in the order in which they are given.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from handover.schedule.company import DRIVE, with_company
from handover.schedule.plan import Conflict, Planned, plan
from handover.schedule.problem import CLINIC, HOME, Event, Lag, Problem
from handover.schedule.solve import EFFORT, solve

BETWEEN = "/"  # parts an animal's key from the name of its event
ROUNDS_AT_MOST = 12  # of planning one animal after another, where the joint search ended before its proof

Days = Mapping[str, date]


@dataclass(frozen=True, slots=True)
class Animal:
    """One animal; `problem` is its own, without company. `agreed` are the days on which its carer comes with it by the
    plan in force."""

    key: str
    problem: Problem
    agreed: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if not self.key or BETWEEN in self.key:
            raise ValueError(f"an animal's key is not empty and holds no {BETWEEN!r}: {self.key!r}")


@dataclass(frozen=True, slots=True)
class Outcome:
    """Days for each animal's events, the days on which the carer drives, and what it costs all together.

    Drives for animals that could not be planned (`agreed`) are among the drives and not in the cost.
    """

    days: Mapping[str, Days]
    drives: tuple[date, ...]
    cost: int


@dataclass(frozen=True, slots=True)
class Move:
    """An event whose day differs between two outcomes."""

    key: str
    event_id: str
    was: date
    now: date


@dataclass(frozen=True, slots=True)
class Together:
    """The joint plan beside the plans that each animal would get if it were the carer's only one.

    `cost_alone` adds up what those cost one by one; `alone.cost` counts a day once on which two of them happen to meet.
    `answers` are the animals' own answers, each in the company of the others: what is published. `in_conflict` are
    the keys of animals that cannot be planned; they keep the days that they have agreed. If not proven, the effort ran
    out, and no joint plan costs less than `bound`.
    """

    alone: Outcome
    joint: Outcome
    cost_alone: int
    answers: Mapping[str, Planned]
    company: Mapping[str, frozenset[date]]
    in_conflict: tuple[str, ...]
    is_proven: bool = True
    bound: int | None = None

    @property
    def moves(self) -> tuple[Move, ...]:
        """What the sharing moves, in the order of the new days."""
        return moves(self.alone, self.joint)


def side_by_side(problems: Mapping[str, Problem]) -> Problem:
    """One problem that holds them all, each name behind its animal's key; nobody is planned beyond its own last day.

    Raises ValueError unless they have the day of planning, the closed days and the costs in common, as the animals of
    one carer and one hospital do.
    """
    first, *rest = problems.values()
    if any((each.today, each.closed, each.costs) != (first.today, first.closed, first.costs) for each in rest):
        raise ValueError("animals are planned together on one day, for one carer and one hospital")
    horizon = max(problem.horizon_days for problem in problems.values())
    parts = [_part(key, problem, horizon) for key, problem in problems.items()]
    return Problem(
        today=first.today,
        horizon_days=horizon,
        events=tuple(event for events, _ in parts for event in events),
        lags=tuple(lag for _, lags in parts for lag in lags),
        closed=first.closed,
        previous={f"{key}{BETWEEN}{name}": day for key, each in problems.items() for name, day in each.previous.items()},
        costs=first.costs,
    )


def _part(key: str, problem: Problem, horizon: int) -> tuple[list[Event], list[Lag]]:
    stem = f"{key}{BETWEEN}"
    events = [replace(event, id=stem + event.id) for event in problem.events]
    lags = [replace(lag, id=stem + lag.id, start=stem + lag.start, end=stem + lag.end) for lag in problem.lags]
    if problem.horizon_days < horizon:
        mark = f"{stem}:last day"
        free = [event.id for event in events if event.fixed is None]
        lags += [Lag(f"{mark}@{name}", mark, name, max=problem.horizon_days) for name in free]
        events.append(Event(mark, HOME, done=problem.today))
    return events, lags


def together(animals: Iterable[Animal], anyway: Collection[date] = (), effort: int = EFFORT) -> Together:
    """Plan the animals of one carer at once, who comes `anyway` on some days, with animals that nobody plans now.

    Raises ValueError if the animals cannot belong to one carer and one hospital.
    """
    known = {animal.key: animal for animal in animals}
    own = {key: plan(animal.problem, effort) for key, animal in known.items()}
    apart = {key: answer for key, answer in own.items() if isinstance(answer, Planned)}
    problems = {key: known[key].problem for key in apart}
    anyway = frozenset(anyway).union(*(animal.agreed for key, animal in known.items() if key not in apart))
    alone = outcome(problems, {key: answer.days for key, answer in apart.items()}, anyway)
    found, is_proven, bound = _joint(problems, anyway, effort)
    best = min((found, alone), key=lambda each: each.cost) if not is_proven else found
    best, answers, company = _settled(problems, best, anyway, effort)
    return Together(
        alone=alone,
        joint=best,
        cost_alone=sum(answer.cost for answer in apart.values()),
        answers=answers,
        company=company,
        in_conflict=tuple(key for key, answer in own.items() if isinstance(answer, Conflict)),
        is_proven=is_proven or best.cost == bound,
        bound=bound if not is_proven else None,
    )


def _joint(problems: Mapping[str, Problem], anyway: frozenset[date], effort: int) -> tuple[Outcome, bool, int]:
    """The search's answer, whether it is proven, and the cost that no answer goes below."""
    if not problems:
        return Outcome({}, tuple(sorted(anyway)), 0), True, 0
    answer = plan(with_company(side_by_side(problems), anyway), effort)
    assert isinstance(answer, Planned)  # they share calendars and nothing else: each can be planned, so all can
    days = {key: {e.id: answer.days[f"{key}{BETWEEN}{e.id}"] for e in each.events} for key, each in problems.items()}
    found = outcome(problems, days, anyway)
    paid_elsewhere = answer.cost - found.cost
    return found, answer.is_proven, (answer.cost if answer.bound is None else answer.bound) - paid_elsewhere


def outcome(problems: Mapping[str, Problem], days: Mapping[str, Days], anyway: Collection[date] = ()) -> Outcome:
    """What days that the rules allow cost all together, when the carer comes `anyway` on some of them."""
    theirs = {key: clinic_days(problem, days[key]) for key, problem in problems.items()}
    cost = 0
    for key, problem in problems.items():
        cost += _cost(problem, days[key]) - problem.costs.visit * len(theirs[key])
    own = frozenset[date]().union(*theirs.values())
    visit = next((problem.costs.visit for problem in problems.values()), 0)
    return Outcome(days, tuple(sorted(own | frozenset(anyway))), cost + visit * len(own - frozenset(anyway)))


def clinic_days(problem: Problem, days: Days) -> frozenset[date]:
    """The days on which the animal itself is at the clinic for something that is not done."""
    own = (event for event in problem.events if event.place == CLINIC and not event.done and not event.id.startswith(DRIVE))
    return frozenset(days[event.id] for event in own)


def moves(before: Outcome, after: Outcome) -> tuple[Move, ...]:
    """The events of two outcomes that have another day in the second, in the order of the new days."""
    return tuple(sorted(_moves(before, after), key=lambda move: (move.now, move.key, move.event_id)))


def _moves(before: Outcome, after: Outcome) -> Iterator[Move]:
    for key, days in after.days.items():
        for name, day in days.items():
            was = before.days.get(key, {}).get(name, day)
            if was != day:
                yield Move(key, name, was, day)


def _pinned(problem: Problem, days: Days) -> Problem:
    return replace(problem, events=tuple(replace(event, pinned=days[event.id]) for event in problem.events))


def _cost(problem: Problem, days: Days) -> int:
    """What an animal's days cost by its own problem: with every event pinned nothing is left to choose."""
    solution = solve(_pinned(problem, days))
    assert solution is not None
    return solution.cost


# --- each animal's own answer -----------------------------------------------------------------------------------------


def _settled(
    problems: Mapping[str, Problem], found: Outcome, anyway: frozenset[date], effort: int
) -> tuple[Outcome, dict[str, Planned], dict[str, frozenset[date]]]:
    """Each animal's own answer in the company of the others, and the outcome that they make together.

    If the joint plan is a first of the cheapest, then so is each animal's part beside the other parts, and one round finds
    nothing to change. Where the search ended early, planning one animal after another betters what it found.
    """
    days = {key: dict(each) for key, each in found.days.items()}
    for _ in range(ROUNDS_AT_MOST):
        answers, company = {}, {}
        before = {key: dict(each) for key, each in days.items()}
        for key, problem in problems.items():
            others = (clinic_days(problems[other], days[other]) for other in problems if other != key)
            company[key] = anyway.union(*others)
            answers[key] = _better(with_company(problem, company[key]), days[key], effort)
            days[key] = {event.id: answers[key].days[event.id] for event in problem.events}
        if days == before:
            break
    return outcome(problems, days, anyway), answers, company


def _better(problem: Problem, days: Days, effort: int) -> Planned:
    """The animal's answer; if its proof is missing and the days that it has cost less, those."""
    answer = plan(problem, effort)
    assert isinstance(answer, Planned)
    if answer.is_proven:
        return answer
    kept = plan(_pinned(problem, {**answer.days, **days}), 0)
    assert isinstance(kept, Planned)
    return answer if answer.cost < kept.cost else replace(answer, days=kept.days, cost=kept.cost, visits=kept.visits)
