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
class Passage:
    """How messages run from the days `here` of one event to the days `there` of another."""

    here: list[int]
    there: list[int]
    windows: list[slice]  # for each day there: which days here fit
    pulls: Pulls  # (usual, weight) of day there - day here
    costs: list[list[int]] | None  # for each day there: what each day of the window adds; None if nothing or wide
    pieces: list[tuple[int, int, list[Range]]] | None  # slope, constant, ranges: only when wide


def passage(link: Link, is_forward: bool, here: list[int], there: list[int], scale: int) -> Passage:
    """Prepare messages along the link from its start to its end, or back. Every day must have a partner."""
    least, most, pulls = link.least, link.most, link.pulls
    if not is_forward:
        least, most = (None if most is None else -most), (None if least is None else -least)
        pulls = tuple((-usual, weight) for usual, weight in pulls)
    pulls = tuple(sorted((usual, weight * scale) for usual, weight in pulls))
    windows = [
        slice(0 if most is None else bisect_left(here, day - most),
              len(here) if least is None else bisect_right(here, day - least))
        for day in there
    ]  # fmt: skip
    if sum([window.stop - window.start for window in windows]) > WIDE_CELLS:
        return Passage(here, there, windows, pulls, None, _pieces(here, there, windows, pulls))
    if not pulls:
        return Passage(here, there, windows, pulls, None, None)
    first = there[0] - here[-1]
    table = [gap_cost(pulls, gap) for gap in range(first, there[-1] - here[0] + 1)]
    costs = [
        [table[day - partner - first] for partner in here[window]]
        for day, window in zip(there, windows, strict=True)
    ]  # fmt: skip
    return Passage(here, there, windows, pulls, costs, None)


def send(via: Passage, values: list[int]) -> list[int]:
    """The message: for each day there, the least of the values here plus the cost of the lag."""
    if via.pieces is not None:
        return _send_far(via, values)
    if via.costs is None:
        return [min(values[window]) for window in via.windows]
    return [min(map(add, values[window], cost)) for window, cost in zip(via.windows, via.costs, strict=True)]


def offers(via: Passage, values: list[int], index: int) -> tuple[list[int], list[int]]:
    """The days here that fit day number `index` there, and what each of them would cost."""
    window = via.windows[index]
    days, costs = via.here[window], values[window]
    if via.pulls:
        day = via.there[index]
        costs = [cost + gap_cost(via.pulls, day - partner) for cost, partner in zip(costs, days, strict=True)]
    return days, costs


def gap_cost(pulls: Pulls, gap: int) -> int:
    return sum([weight * abs(gap - usual) for usual, weight in pulls])


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
