"""How long a plan takes by the number of its events, beside a general solver on the same problems in the same run.

    python tests/benchmarks/bench_plan.py [--problems 20] [--referee 6]

The courses of care are made up (tests/oracles/instances.py): weekly rechecks, bandages, sutures, pictures, release,
weekends closed, the carer away. 40 events over 240 days are five chains with 9 or 20 visits among them. The general solver
is OR-Tools CP-SAT with 8 workers (with fewer it leaves out its linear bounds and is slower even on two cores); its time
includes building the model. Costs are compared, and a difference ends the run. The last line is half a year of weekly
visits.
"""

from __future__ import annotations

import argparse
import itertools
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from handover.schedule.network import can_be_planned
from handover.schedule.plan import plan
from handover.schedule.problem import Problem
from tests.oracles.cpsat import Referee
from tests.oracles.instances import care_case, long_case

SIZES = (6, 10, 15, 20, 25, 30, 40)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--problems", type=int, default=20, help="problems of each size that we plan")
    arguments.add_argument("--referee", type=int, default=6, help="how many of them the general solver plans too")
    arguments.add_argument("--sizes", type=int, nargs="*", default=SIZES)
    arguments.add_argument("--long-visits", type=int, nargs="*", default=(9, 20), help="visits among 40 events over 240 days")
    given = arguments.parse_args()
    print(f"{'events':>14}{'planned':>9}{'median':>9}{'p95':>9}{'max ms':>9}{'proven':>8}"
          f"{'solver n':>10}{'median':>9}{'p95':>9}{'max ms':>9}{'ratio':>8}")  # fmt: skip
    for size in given.sizes:
        compare(str(size), plannable(size, given.problems), given.referee)
    for visits in given.long_visits:
        courses = (long_case(seed, visits=visits) for seed in itertools.count())
        compare(f"240 d, {visits} vis.", first_plannable(courses, given.problems), given.referee)
    compare("weekly visits", first_plannable(map(weekly_visits, itertools.count()), given.problems), given.referee)


def plannable(size: int, count: int) -> list[dict]:
    """The first so many courses that are no conflict; every second one is planned anew from an older plan."""
    return first_plannable((care_case(seed, size, with_previous=seed % 2 == 1) for seed in itertools.count()), count)


def first_plannable(courses: Iterator[dict], count: int) -> list[dict]:
    return list(itertools.islice((course for course in courses if can_be_planned(Problem.from_json(course))), count))


def weekly_visits(seed: int) -> dict:
    """Half a year in care: a recheck about every 7 days, blood about every 28, a picture about every 56, release."""
    course = care_case(seed, 6)
    surgery = course["events"][0]
    events: list[dict] = [surgery]
    lags: list[dict] = []
    for name, count, least, usual, most in (("recheck", 24, 4, 7, 10), ("blood", 6, 21, 28, 35), ("picture", 3, 49, 56, 70)):
        before = "surgery"
        for n in range(1, count + 1):
            step = f"{name}:{n}"
            events.append({"id": step, "place": "clinic"})
            lags.append({"id": f"{name}@{n}", "from": before, "to": step, "min": least, "usual": usual, "max": most})
            before = step
    events.append({"id": "release", "place": "clinic"})
    lags.append({"id": "release", "from": "recheck:24", "to": "release", "min": 3, "usual": 7, "max": 14})
    return course | {"horizon_days": 240, "events": events, "lags": lags, "previous": {}}


def compare(name: str, problems: list[dict], referee: int) -> None:
    answers, ours = timed(lambda given: plan(Problem.from_json(given)), problems)
    compared = problems[:referee]
    least, theirs = timed(lambda given: Referee(given).best(), compared)
    proven = [answer.is_proven for answer in answers]
    for answer, cost in zip(answers, least, strict=False):
        assert answer.cost == cost or not answer.is_proven, f"{answer.cost} against {cost}"
    ratio = statistics.median(theirs) / statistics.median(ours[: len(theirs)]) if theirs else float("nan")
    print(f"{name:>14}{len(problems):>9}{figures(ours)}{sum(proven):>8}{len(theirs):>10}{figures(theirs)}{ratio:>8.1f}", flush=True)


def timed(run: Callable[[dict], object], problems: list[dict]) -> tuple[list, list[float]]:
    answers, milliseconds = [], []
    for given in problems:
        started = time.perf_counter()
        answers.append(run(given))
        milliseconds.append((time.perf_counter() - started) * 1000)
    return answers, milliseconds


def figures(milliseconds: list[float]) -> str:
    """Median, 95th percentile (nearest rank) and maximum."""
    if not milliseconds:
        return f"{'-':>9}{'-':>9}{'-':>9}"
    ranked = sorted(milliseconds)
    p95 = ranked[-(-len(ranked) * 95 // 100) - 1]
    return f"{statistics.median(ranked):>9.1f}{p95:>9.1f}{ranked[-1]:>9.1f}"


if __name__ == "__main__":
    main()
