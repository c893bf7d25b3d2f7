"""Choosing carers: milliseconds for 100 carers and one animal, and for the best whole of 20 animals and 40 carers.

    python tests/benchmarks/bench_placing.py

Medians of processor time, of values made by chance from a fixed seed; no database. The last column sets the whole beside scipy's own
assignment, which knows room for one each and no limits, in the same run.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from scipy.optimize import linear_sum_assignment

from hospital.placements.suitability import Animal, Limit, Neighbour, Offer, ranked
from hospital.rules.placing import Cap, assign

ROUNDS = 25
TODAY = date(2027, 3, 10)
LINEAGES = [
    ("turtle-freshwater", "chelonian", "reptile", "animal"),
    ("fox", "medium-mammal", "mammal", "animal"),
    ("bat", "mammal", "animal"),
]


def main() -> None:
    chance = random.Random(1)
    offers = [_offer(chance, number) for number in range(100)]
    visits = tuple(TODAY + timedelta(days=n * 5) for n in range(8))
    animal = Animal(LINEAGES[0], frozenset({"pool"}), visits=visits, limits=(Limit("chelonian", 3),))
    print(f"ranking 100 carers for one animal: {_median_ms(lambda: ranked(offers, animal, TODAY)):8.2f} ms")
    cases = [_case(chance) for _ in range(ROUNDS)]
    plain = iter(cases)
    print(f"assigning 20 animals to 40 carers: {_median_ms(lambda: assign(*next(plain))):8.2f} ms")
    bare, theirs = iter(cases), iter(cases)
    ours = _median_ms(lambda: assign(next(bare)[0], [1] * 40))
    scipys = _median_ms(lambda: linear_sum_assignment(np.array([[10**9 if c is None else c for c in row] for row in next(theirs)[0]])))
    print(f"room for one each, no limits: {ours:.2f} ms; scipy {scipys:.2f} ms; ratio {ours / scipys:.0f}")


def _median_ms(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(ROUNDS):
        began = time.process_time()
        work()
        taken.append((time.process_time() - began) * 1000)
    return statistics.median(taken)


def _offer(chance: random.Random, number: int) -> Offer:
    starts = [TODAY + timedelta(days=chance.randint(0, 60)) for _ in range(3)]
    return Offer(
        carer_id=number,
        name=f"Carer {number}",
        taxon_groups=frozenset(chance.sample(["reptile", "mammal", "bird"], 2)),
        facilities=frozenset(chance.sample(["pool", "heated", "aviary"], 2)),
        room_for=chance.randint(0, 5),
        animals_there=chance.randint(0, 3),
        away=[(day, day + timedelta(days=4)) for day in starts],
        distance_km=chance.uniform(1, 80),
        cared_for=chance.randint(0, 6),
        neighbours=[Neighbour("Neighbour", chance.choice(LINEAGES)) for _ in range(3)],
    )


def _case(chance: random.Random) -> tuple:
    """Costs of the size that reasons, experience and ways have; room for up to three; a limit each; a few that must not meet."""
    costs = [
        [None if chance.random() < 0.3 else chance.choice([0, 5, 20, 30]) * 1_000_000 + chance.randint(0, 150_000) for _ in range(40)]
        for _ in range(20)
    ]
    caps = [Cap(carer, frozenset(range(8)), 1) for carer in range(0, 40, 2)]
    apart = {(*sorted(chance.sample(range(20), 2)), chance.randrange(40)) for _ in range(150)}
    return costs, [chance.randint(0, 3) for _ in range(40)], caps, apart


if __name__ == "__main__":
    main()
