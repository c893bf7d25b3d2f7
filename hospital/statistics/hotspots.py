"""Squares and clusters of the places where animals were found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot

from hospital.rules.geo import cell_of
from hospital.rules.hotspots import cells, clusters, on_plane
from hospital.statistics.queries import Found
from hospital.statistics.tables import FEW

REACH_M = 500  # how near is near, for a stretch of road or a weir (common practice, no source)
LEVELS = 4
NAMED = 5  # causes that are named; the rest are a number


@dataclass(frozen=True, slots=True)
class Why:
    """Why animals needed help, the most frequent first."""

    causes: tuple[tuple[str, int], ...]

    @property
    def count(self) -> int:
        return sum(n for _, n in self.causes)

    @property
    def first(self) -> tuple[tuple[str, int], ...]:
        return self.causes[:NAMED]

    @property
    def others(self) -> int:
        return sum(n for _, n in self.causes[NAMED:])


@dataclass(frozen=True, slots=True)
class Square(Why):
    """A square of the grid in degrees, how many were found in it, and why."""

    south: float
    west: float
    side: float
    level: int  # 1 to LEVELS, by the share of the fullest square

    @property
    def corners(self) -> list[tuple[float, float]]:
        return [(self.south, self.west), (round(self.south + self.side, 6), round(self.west + self.side, 6))]


@dataclass(frozen=True, slots=True)
class Cluster(Why):
    """At least FEW places each near another: its middle, how far the farthest lies from it, and the causes."""

    latitude: float
    longitude: float
    reach_m: int


def showable(found: Iterable[Found], side: float | None) -> tuple[list[Found], int]:
    """The places that may be shown to others in cells of so many degrees (None: as points), and how many may not."""
    kept, held_back = [], 0
    for each in found:
        finest = cell_of(each.sensitivity)
        if finest == 0 or (finest is not None and side is not None and float(finest) <= side):
            kept.append(each)
        else:
            held_back += 1
    return kept, held_back


def squares(found: Sequence[Found], side: float, least: int = 1) -> list[Square]:
    """The squares with at least so many, the fullest first."""
    grid = cells([(each.latitude, each.longitude) for each in found], side)
    kept = {where: members for where, members in grid.items() if len(members) >= least}
    most = max(map(len, kept.values()), default=1)
    made = [
        Square(_causes(found, members), round(i * side, 6), round(j * side, 6), side, max(1, round(LEVELS * len(members) / most)))
        for (i, j), members in kept.items()
    ]
    return sorted(made, key=lambda square: (-square.count, square.south, square.west))


def close_together(found: Sequence[Found]) -> list[Cluster]:
    """Clusters of at least FEW places, the largest first."""
    places = [(each.latitude, each.longitude) for each in found]
    points = on_plane(places)
    made = []
    for members in clusters(points, REACH_M, FEW):
        lat = sum(places[n][0] for n in members) / len(members)
        lon = sum(places[n][1] for n in members) / len(members)
        x, y = sum(points[n][0] for n in members) / len(members), sum(points[n][1] for n in members) / len(members)
        reach = max(hypot(points[n][0] - x, points[n][1] - y) for n in members)
        made.append(Cluster(_causes(found, members), round(lat, 5), round(lon, 5), max(round(reach), REACH_M // 5)))
    return sorted(made, key=lambda cluster: -cluster.count)


def _causes(found: Sequence[Found], members: Iterable[int]) -> tuple[tuple[str, int], ...]:
    return tuple(Counter(found[n].cause for n in members).most_common())
