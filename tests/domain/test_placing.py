"""Several animals to several carers: against published examples, and against solvers that are not ours."""

import random

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp

from hospital.admissions.reference import FOLDER, read_toml
from hospital.rules.placing import HUNTS, UNPLACED, Cap, assign, must_not_meet

FIVE_BY_FOUR = [[90, 80, 75, 70], [35, 85, 55, 65], [125, 95, 90, 95], [45, 110, 95, 115], [50, 100, 90, 100]]


@pytest.mark.parametrize(
    ("costs", "total"),
    [
        ([[4, 1, 3], [2, 0, 5], [3, 2, 2]], 5),  # the example in the documentation of scipy's linear_sum_assignment
        ([list(column) for column in zip(*FIVE_BY_FOUR, strict=True)], 265),  # OR-Tools, "Solving an Assignment Problem"
        ([[5, 9, 1], [10, 3, 2], [8, 7, 4]], 12),  # documentation of the package munkres (from memory)
    ],
)
def test_published_assignments_come_out_at_their_cost(costs, total):
    assert assign(costs, [1] * len(costs[0])).cost == total


def test_the_best_whole_is_not_the_best_for_each_in_turn():
    found = assign([[1, 2], [2, 100]], [1, 1])

    assert (found.carer_of, found.cost) == ((1, 0), 4)  # the first animal gives way; each in turn costs 101


def test_as_many_as_possible_are_placed_however_dear():
    found = assign([[1, None], [1, 999_999]], [1, 1])

    assert found.carer_of == (0, 1)


def test_an_animal_that_nobody_can_take_has_no_carer():
    found = assign([[None, None], [3, 4]], [2, 0])

    assert (found.carer_of, found.cost) == ((None, 0), UNPLACED + 3)


def test_three_hundred_square_cases_cost_what_scipy_finds():
    chance = random.Random(5)
    for _ in range(300):
        size, width = chance.randint(1, 9), chance.randint(1, 9)
        costs = [[chance.randint(0, 50) for _ in range(width)] for _ in range(size)]
        rows, columns = linear_sum_assignment(np.array(costs))
        best = int(np.array(costs)[rows, columns].sum()) + UNPLACED * max(0, size - width)

        assert assign(costs, [1] * width).cost == best


def test_four_hundred_hard_cases_cost_what_an_integer_programme_finds():
    """Rooms for several, pairs that cannot be, limits within limits, and animals that must not meet."""
    chance = random.Random(7)
    for _ in range(400):
        case = _random_case(chance)
        found = assign(*case)

        _keeps_every_rule(found, *case)
        assert found.is_proven
        assert found.cost == _by_integer_programme(*case)


def _random_case(chance):
    animals, carers = chance.randint(1, 7), chance.randint(1, 5)
    costs = [[None if chance.random() < 0.25 else chance.randint(0, 60) for _ in range(carers)] for _ in range(animals)]
    room = [chance.randint(0, 3) for _ in range(carers)]
    caps = []
    for carer in range(carers):
        wide = frozenset(range(chance.randint(0, animals)))
        narrow = frozenset(sorted(wide)[: chance.randint(0, len(wide))])
        caps += [Cap(carer, each, chance.randint(0, 2)) for each in (wide, narrow) if each and chance.random() < 0.5]
    pairs = [(a, b) for a in range(animals) for b in range(a + 1, animals)]
    apart = {(*pair, carer) for pair in pairs for carer in range(carers) if chance.random() < 0.15}
    return costs, room, caps, apart


def _keeps_every_rule(found, costs, room, caps, apart):
    at = [{a for a, c in enumerate(found.carer_of) if c == carer} for carer in range(len(room))]
    assert all(costs[a][c] is not None for a, c in enumerate(found.carer_of) if c is not None)
    assert all(len(there) <= most for there, most in zip(at, room, strict=True))
    assert all(len(at[cap.carer] & cap.animals) <= cap.most for cap in caps)
    assert not any({a, b} <= at[carer] for a, b, carer in apart)


def _by_integer_programme(costs, room, caps, apart):
    """The same question put to HiGHS: a variable for each pair, 1 if it is chosen."""
    cells = [(a, c) for a, row in enumerate(costs) for c, cost in enumerate(row) if cost is not None]
    if not cells:
        return UNPLACED * len(costs)
    big = 10_000  # leaving one out; more than any total here, small enough for the solver's arithmetic
    rows = [([float(a == animal) for a, _ in cells], 1) for animal in range(len(costs))]
    rows += [([float(c == carer) for _, c in cells], most) for carer, most in enumerate(room)]
    rows += [([float(c == cap.carer and a in cap.animals) for a, c in cells], cap.most) for cap in caps]
    rows += [([float(c == carer and a in pair) for a, c in cells], 1) for *pair, carer in apart]
    prices = np.array([costs[a][c] - big for a, c in cells], float)
    limits = LinearConstraint(np.array([row for row, _ in rows]), ub=np.array([most for _, most in rows], float))
    solved = milp(prices, integrality=np.ones(len(cells)), bounds=Bounds(0, 1), constraints=limits)
    chosen = [cell for cell, value in zip(cells, solved.x, strict=True) if value > 0.5]
    return sum(costs[a][c] for a, c in chosen) + UNPLACED * (len(costs) - len(chosen))


def test_limits_that_share_only_some_animals_are_refused():
    with pytest.raises(ValueError, match="share some"):
        assign([[1], [1], [1]], [3], [Cap(0, frozenset({0, 1}), 1), Cap(0, frozenset({1, 2}), 1)])


def test_with_too_many_meetings_to_try_nobody_meets_and_it_says_that_it_is_not_proven(monkeypatch):
    monkeypatch.setattr("hospital.rules.placing.MOST_TRIES", 2)
    apart = {(a, b, c) for a in range(6) for b in range(a + 1, 6) for c in range(2)}
    found = assign([[1, 2]] * 6, [6, 6], (), apart)

    assert not found.is_proven
    assert not any(found.carer_of[a] == found.carer_of[b] == c for a, b, c in apart)


def test_hunter_and_prey_must_not_meet_whichever_comes_first():
    fox, swan = ("fox", "medium-mammal", "mammal", "animal"), ("waterbird", "bird", "animal")
    named = set(HUNTS) | set().union(*HUNTS.values())

    assert must_not_meet(fox, swan)
    assert must_not_meet(swan, fox)
    assert not must_not_meet(swan, swan)
    assert named <= {row["slug"] for row in read_toml(FOLDER / "taxon_groups.toml")["group"]}
