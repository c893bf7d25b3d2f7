"""Where planning gets hard: kinds of hard problems, growth with events and days, the worst of many, and where time goes.

    python tests/benchmarks/bench_plan_hard.py [--problems 8] [--random 1000] [--referee 0] [--effort 2000] [--svg PICTURE.svg]

Every problem is made up from its seed, so that a bad one can be looked at again. With --referee N the general solver of
bench_plan.py plans the first N of each kind and of each cell in the same run, and a difference in cost ends it. Times are
milliseconds of processor time for us (other programs running do not count), of the clock for the solver's 8 workers.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import statistics
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from itertools import count, islice
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from handover.schedule.network import can_be_planned
from handover.schedule.plan import Planned, plan
from handover.schedule.problem import Problem
from handover.schedule.solve import EFFORT
from tests.oracles.cpsat import Referee
from tests.oracles.instances import MONDAY, random_problem

EVENTS, DAYS = (10, 20, 30, 40), (60, 120, 240)


def course(seed: int, size: int, horizon: int, slack: float = 0.3, weekdays: tuple = (5, 6), away: int = 1, chains: int = 3, free: int = 0):
    """Chains of clinic events from one surgery to the horizon, each half as long as the one before, and free home checks.

    A gap may be shorter or longer than usual by the share `slack`. `away`: the carer's absences. Invented throughout.
    """
    rng = Random(f"course {seed} {size} {horizon} {slack} {away} {chains} {free}")
    events = [{"id": "surgery", "place": "clinic", "done": str(MONDAY)}]
    lags: list[dict] = []

    def add(name: str, place: str, start: str, usual: int | None, least: int, most: int | None):
        events.append({"id": name, "place": place})
        limits = {"min": least, "usual": usual, "max": most, "weight": rng.randint(1, 3)}
        lags.append({"id": f"R{len(lags) + 1}", "from": start, "to": name, **limits})

    left = size - free
    for chain in range(chains):
        length = left if chain == chains - 1 else -(-left // 2)
        left -= length
        usual = horizon * rng.uniform(0.6, 0.85) / max(length, 1)
        for n in range(length):
            before = f"c{chain}:{n - 1}" if n else "surgery"
            add(f"c{chain}:{n}", "clinic", before, round(usual), max(1, round(usual * (1 - slack))), round(usual * (1 + slack)) + 1)
    for n in range(free):
        add(f"check:{n}", "home", rng.choice(events)["id"], rng.randint(2, 12), 0, None)
    spans = [MONDAY + timedelta(rng.randint(5, horizon)) for _ in range(away)]
    closed = {
        "clinic": {"weekdays": list(weekdays), "dates": [str(MONDAY + timedelta(rng.randint(1, horizon))) for _ in range(3)]},
        "carer": {"spans": [[str(day), str(day + timedelta(rng.randint(2, 4)))] for day in spans]},
    }
    return {"today": str(MONDAY), "horizon_days": horizon, "events": events, "lags": lags, "closed": closed,
            "previous": {}, "costs": {"visit": 30, "move": 5}}  # fmt: skip


KINDS: dict[str, Callable[[int], dict]] = {
    "dense windows": lambda seed: course(seed, 20, 84, slack=0.6, chains=5),
    "many closed days": lambda seed: course(seed, 24, 120, slack=0.5, weekdays=(0, 2, 4, 5, 6), away=4),
    "long chains": lambda seed: course(seed, 40, 365, chains=2),
    "many free checks": lambda seed: course(seed, 40, 120, chains=2, free=24),
    "no links, one place": lambda seed: course(seed, 14, 42, slack=0.8, chains=7),
}


def plannable(make: Callable[[int], dict], wanted: int) -> list[tuple[int, dict]]:
    """The first so many that are no conflict, with their seeds."""
    made = ((seed, make(seed)) for seed in islice(count(), 50 * wanted))
    return list(islice((pair for pair in made if can_be_planned(Problem.from_json(pair[1]))), wanted))


def measured(problems: list[tuple[int, dict]], referee: int, effort: int) -> tuple[list[tuple[float, int]], list[float], int]:
    """(ms, seed) of each of ours, slowest last; ms of the general solver; and how many are not proven."""
    ours, theirs, open_ = [], [], 0
    for n, (seed, given) in enumerate(problems):
        started = time.process_time()
        answer = plan(Problem.from_json(given), effort)
        ours.append(((time.process_time() - started) * 1000, seed))
        is_open = isinstance(answer, Planned) and not answer.is_proven
        open_ += is_open
        if n < referee:
            started = time.perf_counter()
            least = Referee(given).best()
            theirs.append((time.perf_counter() - started) * 1000)
            assert is_open or least == (answer.cost if isinstance(answer, Planned) else None), (seed, least)
    return sorted(ours), theirs, open_


def row(name: str, problems: list[tuple[int, dict]], referee: int, effort: int) -> float:
    ours, theirs, open_ = measured(problems, referee, effort)
    times = [ms for ms, _ in ours]
    median, p95 = statistics.median(times), times[-(-len(times) * 95 // 100) - 1]
    other = f"{statistics.median(theirs):>10.1f}{max(theirs):>10.1f}{statistics.median(theirs) / median:>8.1f}x" if theirs else ""
    print(f"{name:>24}{len(times):>6}{median:>9.1f}{p95:>9.1f}{times[-1]:>9.1f}{ours[-1][1]:>7}{open_:>6}{other}", flush=True)
    return median


def where_time_goes(problems: list[tuple[int, dict]]) -> None:
    profile = cProfile.Profile()
    for _, given in problems:
        problem = Problem.from_json(given)
        profile.runcall(plan, problem)
    stats = pstats.Stats(profile).get_stats_profile()
    own: dict[str, float] = {}
    for name, part in stats.func_profiles.items():
        own[name] = own.get(name, 0) + part.tottime
    for name, seconds in sorted(own.items(), key=lambda pair: -pair[1])[:10]:
        print(f"{name:>48}{100 * seconds / stats.total_tt:>6.0f} %")


def picture(medians: dict[tuple[int, int], float]) -> str:
    """Median time by events, a line for each horizon, on a scale of doublings."""
    top = max(12.0, *(ms * 1.2 for ms in medians.values()))
    octaves = (top - 1).__int__().bit_length()
    x = lambda events: 60 + 8 * events  # noqa: E731
    y = lambda ms: 260 - 240 / octaves * max(0.0, _log2(ms))  # noqa: E731
    parts = ['<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 520 300" font-family="sans-serif" font-size="12" role="img">',
             "<title>Milliseconds to plan, by events and days</title>"]  # fmt: skip
    for n in range(octaves + 1):
        parts.append(
            f'<path d="M60 {y(2**n):.0f}H400" stroke="#ccc"/><text x="54" y="{y(2**n) + 4:.0f}" text-anchor="end">{2**n} ms</text>'
        )
    for events in EVENTS:
        parts.append(f'<text x="{x(events)}" y="282" text-anchor="middle">{events}</text>')
    for n, days in enumerate(DAYS):
        points = " ".join(f"{x(events)},{y(medians[events, days]):.1f}" for events in EVENTS)
        end = y(medians[EVENTS[-1], days]) + 4
        parts.append(f'<polyline points="{points}" fill="none" stroke="#1b5e7a" stroke-width="2" stroke-dasharray="{(0, 8, 3)[n]}"/>')
        parts.append(f'<text x="{x(EVENTS[-1]) + 8}" y="{end:.0f}">{days} days</text>')
    return "\n".join([*parts, '<text x="220" y="298" text-anchor="middle">events</text></svg>\n'])


def _log2(ms: float) -> float:
    return 0.0 if ms <= 1 else 1 + _log2(ms / 2) if ms >= 2 else ms - 1  # straight between doublings: enough to draw


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--problems", type=int, default=8, help="problems of each kind and of each size")
    arguments.add_argument("--random", type=int, default=1000, help="random problems of which the worst is looked for")
    arguments.add_argument("--referee", type=int, default=0, help="how many of each the general solver plans too")
    arguments.add_argument("--effort", type=int, default=2000, help="rounds after which a hard problem is left open")
    arguments.add_argument("--svg", type=Path, help="where to write the picture of the growth")
    given = arguments.parse_args()
    print(f"{'':>24}{'n':>6}{'median':>9}{'p95':>9}{'max ms':>9}{'seed':>7}{'open':>6}{'solver':>10}{'max ms':>10}")
    for name, make in KINDS.items():
        row(name, plannable(make, given.problems), given.referee, given.effort)
    medians = {}
    for days in DAYS:
        for events in EVENTS:
            problems = plannable(lambda seed, e=events, d=days: course(seed, e, d, free=e // 5), given.problems)  # type: ignore[misc]
            medians[events, days] = row(f"{events} events, {days} days", problems, given.referee, given.effort)
    row("random", [(seed, random_problem(seed)) for seed in range(given.random)], 0, EFFORT)
    print("own time, 40 events over 240 days:")
    where_time_goes(problems)
    if given.svg:
        given.svg.write_text(picture(medians))


if __name__ == "__main__":
    main()
