"""Squares and clusters against a published example, and against their definition."""

from __future__ import annotations

from itertools import combinations
from math import hypot

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.hotspots import cells, clusters, on_plane


def test_six_points_fall_into_two_clusters_and_one_into_none():
    """scikit-learn, docstring of DBSCAN: eps 3, min_samples 2 gives the labels 0, 0, 0, 1, 1 and none."""
    points = [(1, 2), (2, 2), (2, 3), (8, 7), (8, 8), (25, 80)]

    assert clusters(points, 3, 2) == [[0, 1, 2], [3, 4]]


spread = st.lists(st.tuples(st.integers(-30, 30), st.integers(-30, 30)), max_size=40)


@given(spread, st.integers(1, 8), st.integers(1, 6))
def test_two_cores_within_reach_share_a_cluster_and_cores_of_one_are_linked(points, reach, least):
    def near(n, m):
        return hypot(points[n][0] - points[m][0], points[n][1] - points[m][1]) <= reach

    cores = [n for n in range(len(points)) if sum(near(n, m) for m in range(len(points))) >= least]

    found = clusters(points, reach, least)

    home = {n: number for number, members in enumerate(found) for n in members}
    assert sum(map(len, found)) == len(home)
    assert set(cores) <= set(home)
    for n, m in combinations(cores, 2):
        assert not near(n, m) or home[n] == home[m]
    linked = {n: {n} for n in cores}
    for n, m in combinations(cores, 2):
        if near(n, m) and linked[n] is not linked[m]:
            joined = linked[n] | linked[m]
            for each in joined:
                linked[each] = joined
    assert len({id(group) for group in linked.values()}) == len(found)
    for n in set(range(len(points))) - set(cores):
        assert (n in home) == any(near(n, core) for core in cores)


@given(spread, st.sampled_from([0.5, 1, 3]))
def test_each_place_lies_in_one_square_and_within_it(points, side):
    found = cells(points, side)

    assert sorted(n for members in found.values() for n in members) == list(range(len(points)))
    for (i, j), members in found.items():
        assert all(i * side <= points[n][0] < (i + 1) * side and j * side <= points[n][1] < (j + 1) * side for n in members)


@given(st.lists(st.tuples(st.floats(54.2, 54.8), st.floats(2.9, 3.5)), min_size=2, max_size=2))
def test_distances_on_the_plane_are_those_on_the_earth_to_a_hundredth(places):
    (one, other), (a, b) = places, on_plane(places)

    truth = Geodesic.WGS84.Inverse(*one, *other)["s12"]

    assert hypot(a[0] - b[0], a[1] - b[1]) == pytest.approx(truth, rel=0.01, abs=0.01)


def test_no_side_no_reach_and_no_least_are_refused():
    with pytest.raises(ValueError, match="side"):
        cells([(1, 1)], 0)
    for wrong in [(0, 2), (1, 0)]:
        with pytest.raises(ValueError, match="cluster"):
            clusters([(1, 1)], *wrong)
