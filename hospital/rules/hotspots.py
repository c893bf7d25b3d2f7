"""Where cases come from: counts in cells of a grid, and clusters of places that lie close together.

Clusters are those of DBSCAN (Ester, Kriegel, Sander and Xu 1996): a place with enough others within reach, itself counted, is the
core of a cluster; what a core reaches belongs to it; the rest belongs to none. Distances are taken on a plane that touches the
earth amid the places: within a county that is off by less than a hundredth.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from math import cos, floor, hypot, radians

METRES_PER_DEGREE = 111_320.0  # of latitude, and of longitude at the equator, on a round earth

Place = tuple[float, float]  # degrees north, degrees east


def on_plane(places: Sequence[Place]) -> list[tuple[float, float]]:
    """Metres east and north of the middle of the places; none may lie across the 180th meridian from another."""
    if not places:
        return []
    lat0 = sum(lat for lat, _ in places) / len(places)
    lon0 = sum(lon for _, lon in places) / len(places)
    east = METRES_PER_DEGREE * cos(radians(lat0))
    return [((lon - lon0) * east, (lat - lat0) * METRES_PER_DEGREE) for lat, lon in places]


def cells(places: Sequence[Place], side_deg: float) -> dict[tuple[int, int], list[int]]:
    """The numbers of the places in each cell of a grid that starts at 0° north, 0° east."""
    if side_deg <= 0:
        raise ValueError(f"a cell has a side of more than 0 degrees, not {side_deg}")
    found: dict[tuple[int, int], list[int]] = defaultdict(list)
    for n, (lat, lon) in enumerate(places):
        found[floor(lat / side_deg), floor(lon / side_deg)].append(n)
    return dict(found)


def clusters(points: Sequence[tuple[float, float]], reach: float, least: int) -> list[list[int]]:
    """The numbers of the points in each cluster, by the first core in each. `reach` in the unit of the points.

    A point that two clusters reach, and that is no core, belongs to the first.
    """
    if reach <= 0 or least < 1:
        raise ValueError("a cluster needs a reach of more than 0 and at least one place")
    near = _Near(points, reach)
    taken: set[int] = set()
    found = []
    for n in range(len(points)):
        if n in taken or len(near.to(n)) < least:
            continue
        members, waiting = [], [n]
        taken.add(n)
        while waiting:
            one = waiting.pop()
            members.append(one)
            around = near.to(one)
            if len(around) >= least:
                fresh = [each for each in around if each not in taken]
                taken.update(fresh)
                waiting += fresh
        found.append(sorted(members))
    return found


class _Near:
    """Looks for neighbours only in the boxes around a point."""

    def __init__(self, points: Sequence[tuple[float, float]], reach: float):
        self.points, self.reach = points, reach
        self.boxes: dict[tuple[int, int], list[int]] = defaultdict(list)
        for n, (x, y) in enumerate(points):
            self.boxes[floor(x / reach), floor(y / reach)].append(n)

    def to(self, n: int) -> list[int]:
        x, y = self.points[n]
        return [each for each in self._around(x, y) if hypot(self.points[each][0] - x, self.points[each][1] - y) <= self.reach]

    def _around(self, x: float, y: float) -> Iterator[int]:
        column, row = floor(x / self.reach), floor(y / self.reach)
        for i in (column - 1, column, column + 1):
            for j in (row - 1, row, row + 1):
                yield from self.boxes.get((i, j), ())
