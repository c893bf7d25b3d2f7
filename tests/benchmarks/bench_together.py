"""How long it takes to plan two to five animals of one carer at once, and how many drives that saves.

    python tests/benchmarks/bench_together.py [--problems 20] [--referee 3]

The animals are made up (tests/oracles/instances.py, 6 to 12 events each: rechecks, bandages, sutures, pictures, release),
with weekends closed and the carer away. Each row tells the time for the joint plan with everything that the page needs (the
plans alone, the joint one, each animal's own answer), how many answers are proven, and the drives before and after. OR-Tools
CP-SAT answers some of the same problems in the same run; a difference in cost ends the run.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from datetime import date, timedelta
from itertools import count
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from handover.schedule.network import can_be_planned
from handover.schedule.problem import Problem
from handover.schedule.together import Animal, side_by_side, together
from tests.oracles.cpsat import Referee
from tests.oracles.instances import care_case

EVENTS = (6, 12)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--problems", type=int, default=20, help="carers of each size")
    arguments.add_argument("--referee", type=int, default=3, help="how many of them the general solver plans too")
    arguments.add_argument("--sizes", type=int, nargs="*", default=(2, 3, 4, 5), help="numbers of animals")
    given = arguments.parse_args()
    print(f"{'animals':>8}{'carers':>8}{'events':>8}{'median ms':>11}{'worst ms':>10}{'proven':>8}"
          f"{'drives':>8}{'together':>10}{'solver ms':>11}")  # fmt: skip
    for size in given.sizes:
        measure(size, [household(size, seed) for seed in range(given.problems)], given.referee)


def household(size: int, seed: int) -> dict[str, Problem]:
    """Animals of one carer, operated on within a fortnight, each of which can be planned."""
    rng, found = Random(f"household {size} {seed}"), {}
    frame = care_case(seed, EVENTS[0])
    for number in count(1000 * seed):
        made = care_case(number, rng.randint(*EVENTS))
        by = date.fromisoformat(frame["today"]) - date.fromisoformat(made["today"]) - timedelta(rng.randint(0, 14))
        for event in made["events"]:
            if "done" in event:
                event["done"] = str(date.fromisoformat(event["done"]) + by)
        problem = Problem.from_json(made | {name: frame[name] for name in ("today", "closed", "costs")})
        if can_be_planned(problem):
            found[f"animal {len(found) + 1}"] = problem
        if len(found) == size:
            return found
    raise AssertionError("numbers do not end")


def measure(size: int, households: list[dict[str, Problem]], referee: int) -> None:
    times, results, theirs = [], [], []
    for problems in households:
        started = time.perf_counter()
        results.append(together(Animal(key, problem) for key, problem in problems.items()))
        times.append((time.perf_counter() - started) * 1000)
    for problems, found in zip(households[:referee], results, strict=False):
        started = time.perf_counter()
        best = Referee(side_by_side(problems).to_json()).best()
        theirs.append((time.perf_counter() - started) * 1000)
        assert found.joint.cost == best or not found.is_proven, f"{found.joint.cost} against {best}"
    events = statistics.mean(sum(len(problem.events) - 1 for problem in problems.values()) for problems in households)
    before, after = (sum(len(each.drives) for each in side) for side in ([r.alone for r in results], [r.joint for r in results]))
    solver = f"{statistics.median(theirs):>11.0f}" if theirs else f"{'-':>11}"
    print(f"{size:>8}{len(households):>8}{events:>8.0f}{statistics.median(times):>11.0f}{max(times):>10.0f}"
          f"{sum(r.is_proven for r in results):>8}{before:>8}{after:>10}{solver}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
