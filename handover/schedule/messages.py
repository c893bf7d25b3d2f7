"""What one event tells its neighbour: for each day of yours, the least that mine costs, the lag between us included.

A message over a link is a least cost over a window of days. Short windows are looked at day by day. Long ones (years
without a max) are split where the cost of the lag bends: between bends it is a straight line, so that the least of a
window is a range minimum, read from a table of minima over stretches of doubling length.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import add

from handover.schedule.network import Link

WIDE_CELLS = 20_000  # beyond so many pairs of days the doubling table is the quicker way (measured)

Pulls = tuple[tuple[int, int], ...]
Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Way:
    """A link walked in one direction: which differences in days it allows, and what each costs (scaled)."""

    least: int | None
    most: int | None
    pulls: Pulls  # (usual, weight), sorted
    first: int
    costs: list[int]  # of the differences from `first` on

    def allows(self, days: int) -> bool:
        return (self.least is None or self.least <= days) and (self.most is None or days <= self.most)


@dataclass(frozen=True, slots=True)
class Passage:
    """How messages run along a way from the days `here` of one event to the days `there` of another."""

    way: Way
    here: list[int]
    there: list[int]
    windows: list[slice]  # for each day there: which days here fit
    costs: list[list[int]] | None  # for each day there: what each day of the window adds; None if nothing or wide
    pieces: list[tuple[int, int, list[Range]]] | None  # slope, constant, ranges: only when wide


def ways(link: Link, first: int, last: int, scale: int) -> tuple[Way, Way]:
    """The link from its start to its end, and back, for differences from `first` to `last` days."""
    pulls = tuple(sorted((usual, weight * scale) for usual, weight in link.pulls))
    costs = [sum([weight * abs(days - usual) for usual, weight in pulls]) for days in range(first, last + 1)]
    least = None if link.most is None else -link.most
    most = None if link.least is None else -link.least
    negated = tuple(sorted((-usual, weight) for usual, weight in pulls))
    return (
        Way(link.least, link.most, pulls, first, costs),
        Way(least, most, negated, -last, costs[::-1]),
    )


def passage(way: Way, here: list[int], there: list[int]) -> Passage:
    """Prepare messages along a way. Every day there must have a partner here."""
    least, most, first, table = way.least, way.most, way.first, way.costs
    windows = [
        slice(
            0 if most is None else bisect_left(here, day - most),
            len(here) if least is None else bisect_right(here, day - least),
        )
        for day in there
    ]
    if sum([window.stop - window.start for window in windows]) > WIDE_CELLS:
        return Passage(way, here, there, windows, None, _pieces(here, there, windows, way.pulls))
    if not way.pulls:
        return Passage(way, here, there, windows, None, None)
    costs = [
        [table[day - partner] for partner in here[window]] for day, window in zip([day - first for day in there], windows, strict=True)
    ]
    return Passage(way, here, there, windows, costs, None)


def send(via: Passage, values: list[int]) -> list[int]:
    """The message: for each day there, the least of the values here plus the cost of the lag."""
    if via.pieces is not None:
        return _send_far(via, values)
    if via.costs is None:
        return [min(values[window]) for window in via.windows]
    return [min(map(add, values[window], cost)) for window, cost in zip(via.windows, via.costs, strict=True)]


def offers(via: Passage, values: list[int], index: int) -> tuple[int, list[int]]:
    """What each day here that fits day number `index` there would cost; and the number of the first of these days."""
    window = via.windows[index]
    costs = values[window]
    if via.costs is not None:
        costs = list(map(add, costs, via.costs[index]))
    elif via.way.pulls:
        day, table = via.there[index] - via.way.first, via.way.costs
        costs = [cost + table[day - partner] for cost, partner in zip(costs, via.here[window], strict=True)]
    return window.start, costs


def _pieces(here: list[int], there: list[int], windows: list[slice], pulls: Pulls) -> list[tuple[int, int, list[Range]]]:
    """The straight stretches of the lag's cost, and for each day there the days here that lie on each."""
    bends = [None, *(usual for usual, _ in pulls), None]
    pieces = []
    for n, (low, high) in enumerate(pairwise(bends)):
        slope = sum(weight for _, weight in pulls[:n]) - sum(weight for _, weight in pulls[n:])
        constant = sum(w * u for u, w in pulls[n:]) - sum(w * u for u, w in pulls[:n])
        ranges = [
            (max(window.start, 0 if high is None else bisect_left(here, day - high)),
             min(window.stop, len(here) if low is None else bisect_right(here, day - low)))
            for day, window in zip(there, windows, strict=True)
        ]  # fmt: skip
        pieces.append((slope, constant, ranges))
    return pieces


def _send_far(via: Passage, values: list[int]) -> list[int]:
    best: list[int | None] = [None] * len(via.there)
    assert via.pieces is not None
    for slope, constant, ranges in via.pieces:
        level = [value - slope * day for value, day in zip(values, via.here, strict=True)]
        for n, least in _range_minima(level, ranges):
            cost = least + slope * via.there[n] + constant
            known = best[n]
            best[n] = cost if known is None else min(known, cost)
    return [cost for cost in best if cost is not None]


def _range_minima(values: Sequence[int], ranges: Sequence[Range]) -> Iterator[tuple[int, int]]:
    """(number, least value) of each range that is not empty."""
    stretches = [list(values)]  # stretches[k][n] is the least of the 2**k values from n on
    while 2 << (len(stretches) - 1) <= len(values):
        last = stretches[-1]
        stretches.append(list(map(min, last, last[1 << (len(stretches) - 1) :])))
    for n, (start, stop) in enumerate(ranges):
        if start < stop:
            k = (stop - start).bit_length() - 1
            yield n, min(stretches[k][start], stretches[k][stop - (1 << k)])
