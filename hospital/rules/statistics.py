"""How sure a figure about many cases is: shares with an interval, and time in care when a case can end in several ways.

An animal that is still in care has not failed and is not left out: its time counts as long as it has lasted (censoring).
Where one ending rules out the others, the chance of an ending by a day is the cumulative incidence of Aalen and Johansen;
one minus Kaplan and Meier would count those that died as if they might still be released.

Sources: Wilson 1927 (JASA 22:209) as in Newcombe 1998 (Stat Med 17:857), method 3; Kaplan and Meier 1958; Greenwood 1926;
Aalen and Johansen 1978; variance of the incidence by the delta method (Marubini and Valsecchi 1995, from memory); interval of a
median from that of the curve (Brookmeyer and Crowley 1982). Intervals are for 95 %.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import NormalDist

Z = NormalDist().inv_cdf(0.975)
TINY = 1e-12  # a curve that comes down to a half in steps may miss it by the last digit


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure and the interval around it, all between 0 and 1; no ends where nothing is known of them."""

    value: float
    low: float | None
    high: float | None


def share(some: int, total: int) -> Estimate | None:
    """A part of a whole with its score interval (Wilson), which also holds for none and for all; None of nothing.

    Raises ValueError if there are more of some than of all, or fewer than none.
    """
    if not 0 <= some <= total:
        raise ValueError(f"{some} of {total} is no share")
    if not total:
        return None
    value, z2 = some / total, Z * Z
    middle = value + z2 / (2 * total)
    reach = Z * sqrt(value * (1 - value) / total + z2 / (4 * total * total))
    whole = 1 + z2 / total
    low = 0.0 if some == 0 else (middle - reach) / whole
    high = 1.0 if some == total else (middle + reach) / whole
    return Estimate(value, low, high)


@dataclass(frozen=True, slots=True)
class Step:
    """The state of things at the end of a day on which at least one case ended."""

    day: int
    at_risk: int  # in care when the day began
    still: Estimate  # the chance to be in care after it
    ended: Mapping[str, Estimate]  # by ending: the chance to have ended so by then


def course(cases: Iterable[tuple[int, str | None]]) -> list[Step]:
    """What became of cases over time. A case is the days it lasted and its ending, None while it goes on.

    A case that goes on after as many days as another ended in was there on that day. Raises ValueError on less than no days.
    """
    counted = Counter(cases)
    if any(days < 0 for days, _ in counted):
        raise ValueError("a case cannot last less than no days")
    endings = sorted({ending for _, ending in counted if ending is not None})
    at_risk, still, greenwood = sum(counted.values()), 1.0, 0.0
    incidences = {ending: _Incidence() for ending in endings}
    steps = []
    for day in sorted({days for days, _ in counted}):
        ended = {ending: counted[day, ending] for ending in endings}
        gone = sum(ended.values())
        if gone:
            for ending, some in ended.items():
                incidences[ending].add(some, gone, at_risk, still)
            still *= 1 - gone / at_risk
            greenwood += gone / (at_risk * (at_risk - gone)) if at_risk > gone else 0.0
            by_ending = {ending: _log_log(each.value, each.se) for ending, each in incidences.items()}
            steps.append(Step(day, at_risk, _log_log(still, sqrt(greenwood) * still), by_ending))
        at_risk -= gone + counted[day, None]
    return steps


@dataclass(frozen=True, slots=True)
class Days:
    """A number of days and its interval; None where the curve, or the edge of its interval, does not come down so far."""

    value: int | None
    low: int | None
    high: int | None


def median_days(steps: Iterable[Step]) -> Days:
    """The first day after which at most half of the cases go on."""
    value = low = high = None
    for step in steps:
        low = step.day if low is None and _is_half_gone(step.still.low) else low
        value = step.day if value is None and _is_half_gone(step.still.value) else value
        high = step.day if high is None and _is_half_gone(step.still.high) else high
    return Days(value, low, high)


def _is_half_gone(still: float | None) -> bool:
    return still is not None and still <= 0.5 + TINY


def at_day(steps: Iterable[Step], day: int) -> Step | None:
    """The step in force at the end of a day; None before the first."""
    return max((step for step in steps if step.day <= day), key=lambda step: step.day, default=None)


class _Incidence:
    """The cumulative incidence of one ending, with the sums of which its variance is made."""

    def __init__(self) -> None:
        self.value = 0.0
        self.sums = [0.0] * 6

    def add(self, some: int, gone: int, at_risk: int, still: float) -> None:
        self.value += still * some / at_risk
        g = gone / (at_risk * (at_risk - gone)) if at_risk > gone else 0.0
        own = still * some / at_risk**2
        added = (g, g * self.value, g * self.value**2, still**2 * some * (at_risk - some) / at_risk**3, own, own * self.value)
        self.sums = [total + each for total, each in zip(self.sums, added, strict=True)]

    @property
    def se(self) -> float:
        g, gi, gii, own, s, si = self.sums
        return sqrt(max(0.0, self.value**2 * g - 2 * self.value * gi + gii + own - 2 * (self.value * s - si)))


def _log_log(value: float, se: float) -> Estimate:
    """The interval on the scale of log(-log), so that it never leaves 0 to 1; none at the ends of the scale."""
    if not TINY < value < 1 - TINY or not se:
        return Estimate(value, None, None)
    reach = Z * se / (value * -log(value))
    return Estimate(value, exp(log(value) * exp(reach)), exp(log(value) * exp(-reach)))
