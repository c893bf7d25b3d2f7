"""Cases counted: rows by species, group, cause or year, and what became of them over time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from hospital.outcomes.models import Outcome
from hospital.rules.statistics import Estimate, Step, at_day, course, share
from hospital.statistics.queries import Case

Kind = Outcome.Kind
ELSEWHERE = (Kind.TRANSFERRED, Kind.HELD, Kind.ESCAPED)
KNOWN_HERE = (Kind.RELEASED, Kind.DIED, Kind.EUTHANASED, Kind.HELD, Kind.ESCAPED)  # a transfer ends at another hospital
FEW = 5  # a row of fewer can point at one animal and says next to nothing (common practice, no source)
MARKS = (1, 2, 7, 14, 28, 56, 90, 180, 365)  # days at which the curves are read


@dataclass(frozen=True)
class Row:
    """What became of some cases. `count_of` None stands for those that are in care."""

    label: str
    count_of: Counter[Kind | None]

    @cached_property
    def admitted(self) -> int:
        return self.count_of.total()

    @property
    def in_care(self) -> int:
        return self.count_of[None]

    @property
    def endings(self) -> list[int]:
        return [self.count_of[kind] for kind in Kind]

    @property
    def ended_here(self) -> int:
        """Those that arrived alive and whose end is known here: the whole of which the released are a share."""
        return sum(self.count_of[kind] for kind in KNOWN_HERE)

    @property
    def released(self) -> Estimate | None:
        return share(self.count_of[Kind.RELEASED], self.ended_here)


def rows(cases: Iterable[Case], by: str) -> list[Row]:
    """A row for each species, group, cause or year, those with most cases first; years in their order."""
    counts: dict[str | int, Counter[Kind | None]] = {}
    for case in cases:
        counts.setdefault(getattr(case, by), Counter())[case.ending] += 1
    key = (lambda pair: pair[0]) if by == "year" else (lambda pair: (-pair[1].total(), pair[0]))
    return [Row(str(label), count) for label, count in sorted(counts.items(), key=key)]


def without_few(found: Sequence[Row], label: str, least: int = FEW) -> list[Row]:
    """The rows of fewer than `least` cases put together in one; with the smallest other row, if that is still too few:
    else its figures could be had by taking the others from the sum."""
    few = [row for row in found if row.admitted < least]
    kept = [row for row in found if row.admitted >= least]
    if few and sum(row.admitted for row in few) < least and kept:
        smallest = min(kept, key=lambda row: row.admitted)
        kept.remove(smallest)
        few.append(smallest)
    return [*kept, Row(label, sum((row.count_of for row in few), Counter()))] if few else kept


def total(found: Iterable[Row], label: str) -> Row:
    return Row(label, sum((row.count_of for row in found), Counter()))


# --- over time ---

RELEASED, DIED, AWAY = "released", "died", "elsewhere"


def over_time(cases: Iterable[Case]) -> list[Step]:
    """The course of those that arrived alive. Where an animal is transferred, held or lost, none of the others can follow here."""
    return course((case.days, _fate(case.ending)) for case in cases if case.ending != Kind.DEAD_ON_ARRIVAL)


def _fate(ending: Kind | None) -> str | None:
    if ending is None:
        return None
    return RELEASED if ending == Kind.RELEASED else AWAY if ending in ELSEWHERE else DIED


@dataclass(frozen=True, slots=True)
class Mark:
    """The curves read at the end of one day."""

    day: int
    at_risk: int  # still in care, and watched, when the next day began
    step: Step | None

    def of(self, fate: str) -> Estimate | None:
        return self.step.ended.get(fate) if self.step else None


def marks(steps: Sequence[Step], cases: Sequence[Case]) -> list[Mark]:
    """The curves at some days, as far as any case goes."""
    lasting = sorted(case.days for case in cases if case.ending != Kind.DEAD_ON_ARRIVAL)
    longest = lasting[-1] if lasting else -1
    days = [day for n, day in enumerate(MARKS) if n == 0 or MARKS[n - 1] < longest]
    return [Mark(day, sum(days > day for days in lasting), at_day(steps, day)) for day in days]
