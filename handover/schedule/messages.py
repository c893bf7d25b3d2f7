"""What one event tells its neighbour: for each day of yours, the least that mine costs, the lag between us included.

A message over a link is a least cost over a window of days. Costs of days are laid out day by day, FAR where a day is
not possible, so that each window is one slice and every slice meets the same list of lag costs. Wide windows (years
without a max) are split where the cost of the lag bends: between bends it is a straight line, so that the least of a
window is a range minimum, read from a table of minima over stretches of doubling length.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import add

from handover.schedule.network import Link

FAR = 1 << 62  # the cost of a day that is not possible: more than any plan costs
WIDE = 64  # days in a window beyond which the doubling table is the quicker way (measured)


@dataclass(frozen=True, slots=True)
class Way:
    """A link walked in one direction: the differences in days that it allows, and what each costs (scaled)."""

    least: int
    most: int
    pulls: tuple[tuple[int, int], ...]  # (usual, weight), sorted
    costs: list[int] | None  # of the differences from `most` down to `least`; None if all are free
    is_wide: bool

    def allows(self, days: int) -> bool:
        return self.least <= days <= self.most

    def cost(self, days: int) -> int:
        return self.costs[self.most - days] if self.costs else 0


def ways(link: Link, first: int, last: int, scale: int) -> tuple[Way, Way]:
    """The link from its start to its end, and back; no difference is less than `first` or more than `last` days."""
    least = first if link.least is None else max(first, link.least)
    most = last if link.most is None else min(last, link.most)
    pulls = tuple((usual, weight * scale) for usual, weight in link.pulls)
    costs = [sum([weight * abs(days - usual) for usual, weight in pulls]) for days in range(most, least - 1, -1)] if pulls else None
    back = tuple(sorted((-usual, weight) for usual, weight in pulls))
    is_wide = most - least >= WIDE
    return Way(least, most, pulls, costs, is_wide), Way(-most, -least, back, costs and costs[::-1], is_wide)


def send(way: Way, values: list[int], there: list[int]) -> list[int]:
    """The message: for each day there, the least of the values here plus the cost of the lag.

    `values` holds a cost for each day from 0 on, and so many FAR ones first that no window that is not wide starts before.
    """
    if way.is_wide:
        return _send_far(way, values, there)
    low, high, costs = way.most, way.least - 1, way.costs
    if costs is None:
        return [min(values[day - low : day - high]) for day in there]
    return [min(map(add, values[day - low : day - high], costs)) for day in there]


def offers(way: Way, values: list[int], day: int) -> tuple[int, list[int]]:
    """What each day here that fits a day there would cost; and the first of these days."""
    first = max(0, day - way.most)
    costs = values[first : day - way.least + 1]
    return first, costs if way.costs is None else list(map(add, costs, way.costs[first - day + way.most :]))


def _send_far(way: Way, values: list[int], there: list[int]) -> list[int]:
    """One straight stretch of the lag's cost after the other; for each day there, the days here that lie on it."""
    best = [FAR] * len(there)
    for n, (bend, next_bend) in enumerate(pairwise([way.least, *(usual for usual, _ in way.pulls), way.most])):
        low, high = max(bend, way.least), min(next_bend, way.most)
        if low > high:
            continue
        slope = sum(weight for _, weight in way.pulls[:n]) - sum(weight for _, weight in way.pulls[n:])
        constant = sum(w * u for u, w in way.pulls[n:]) - sum(w * u for u, w in way.pulls[:n])
        level = [value - slope * day for day, value in enumerate(values)] if slope else values
        ranges = [(max(0, day - high), min(day - low + 1, len(values))) for day in there]
        for k, least in _range_minima(level, ranges):
            best[k] = min(best[k], least + slope * there[k] + constant)
    return best


def _range_minima(values: Sequence[int], ranges: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """(number, least value) of each range that is not empty."""
    stretches = [values]  # stretches[k][n] is the least of the 2**k values from n on
    longest = max(stop - start for start, stop in ranges)
    while 2 << (len(stretches) - 1) <= longest:
        last = stretches[-1]
        stretches.append(list(map(min, last, last[1 << (len(stretches) - 1) :])))
    for n, (start, stop) in enumerate(ranges):
        if start < stop:
            k = (stop - start).bit_length() - 1
            yield n, min(stretches[k][start], stretches[k][stop - (1 << k)])
