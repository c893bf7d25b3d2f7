"""Thermal time of eggs: how far the heat so far has brought them, and when they may hatch.

Development adds up as a share of the whole: at a temperature at which eggs take 50 days to hatch, a day is a fiftieth. Between
published temperatures the rate (one divided by the days), not the number of days, is interpolated. Temperatures in degrees
Celsius as decimals, moments aware, sums in exact fractions.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

DAY_US = 86_400_000_000  # microseconds of a day
# Between two readings further apart than this the line through them says little. Ours; common practice, no source.
LONGEST_BRIDGE = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Published:
    """Days to hatch as a source has them: at temperatures, or (no temperatures) as a span of days alone.

    `at`: (°C, fewest days, most days), the coolest first. `names` are scientific names or genera.
    """

    names: tuple[str, ...]
    group: str
    at: tuple[tuple[Decimal, int, int], ...]
    days: tuple[int, int]
    source: str
    how_known: str

    def __post_init__(self) -> None:
        for (cool, *cool_days), (warm, *warm_days) in pairwise(self.at):
            if cool >= warm or any(longer < shorter for longer, shorter in zip(cool_days, warm_days, strict=True)):
                raise ValueError("Temperatures rise, and warmer eggs never take longer.")


_CHELIDS = ("Georges, Legler, Cann: Australian chelid biology; general incubation literature", "memory")
_27, _28 = Decimal(27), Decimal(28)

PUBLISHED = (
    Published(
        ("Pelodiscus sinensis",), "turtle-freshwater", ((Decimal("31.2"), 53, 55), (Decimal("32.1"), 53, 55)), (53, 55),
        "Oh & Kim 2017, incubation of Chinese softshell eggs, Dev Reprod 21(1) (abstract)", "read",
    ),
    Published(
        ("Chelydra serpentina",), "turtle-freshwater", (), (42, 56),
        "Wisconsin wildlife centre, turtle eggs, 2013-08-20 (practice note, names no temperature)", "read",
    ),
    Published(("Chelodina longicollis",), "turtle-freshwater", ((_27, 60, 110), (_28, 60, 110)), (60, 110), *_CHELIDS),
    Published(("Emydura", "Myuchelys", "Elseya"), "turtle-freshwater", ((_27, 45, 75), (_28, 45, 75)), (45, 75), *_CHELIDS),
)  # fmt: skip


def published_for(scientific_name: str, published: Sequence[Published] = PUBLISHED) -> Published | None:
    """The figures for a species, or for its genus; None when there is none."""
    wanted = (scientific_name, scientific_name.split(" ")[0])
    return next((each for name in wanted for each in published if name in each.names), None)


def earliest_in(lineage: Sequence[str], published: Sequence[Published] = PUBLISHED) -> Published | None:
    """Of other species of the group, the figures with the earliest hatch: from when one should watch, no forecast."""
    theirs = [each for each in published if each.group in lineage]
    return min(theirs, key=lambda each: each.days[0], default=None)


# --- the heat so far ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of time over which the temperature runs in a straight line. `is_assumed`: no reading says so."""

    starts: datetime
    ends: datetime
    from_c: Fraction
    to_c: Fraction
    is_assumed: bool = False


@dataclass(frozen=True, slots=True)
class Stay:
    """Eggs in one incubator: from when until when, what it is set to, and its readings in any order."""

    starts: datetime
    ends: datetime
    target_c: Decimal
    readings: tuple[tuple[datetime, Decimal], ...]


def pieces_of(stay: Stay, bridge: timedelta = LONGEST_BRIDGE) -> list[Piece]:
    """The temperature of a stay without a hole: straight lines between readings, the target where readings lie too far apart.

    Before the first and after the last reading the target is assumed as well. Of two readings of one moment the first given counts.
    """
    kept: dict[datetime, Fraction] = {}
    for at, temperature_c in stay.readings:
        kept.setdefault(at, Fraction(temperature_c))
    ordered = sorted(kept.items())
    if not ordered:
        return _assumed(stay.starts, stay.ends, stay)
    pieces = _assumed(stay.starts, min(ordered[0][0], stay.ends), stay)
    for (begins, from_c), (ends, to_c) in pairwise(ordered):
        if ends - begins > bridge:
            pieces += _assumed(max(begins, stay.starts), min(ends, stay.ends), stay)
        else:
            pieces += _within(Piece(begins, ends, from_c, to_c), stay)
    return pieces + _assumed(max(ordered[-1][0], stay.starts), stay.ends, stay)


def _assumed(starts: datetime, ends: datetime, stay: Stay) -> list[Piece]:
    target_c = Fraction(stay.target_c)
    return [Piece(starts, ends, target_c, target_c, is_assumed=True)] if starts < ends else []


def _within(piece: Piece, stay: Stay) -> list[Piece]:
    """The part of a line between two readings that lies in the stay: a reading just outside it still says where it went."""
    if stay.starts <= piece.starts and piece.ends <= stay.ends:
        return [piece]
    starts, ends = max(piece.starts, stay.starts), min(piece.ends, stay.ends)
    return [Piece(starts, ends, _at(piece, starts), _at(piece, ends))] if starts < ends else []


def _at(piece: Piece, moment: datetime) -> Fraction:
    share = Fraction(_us(moment - piece.starts), _us(piece.ends - piece.starts))
    return piece.from_c + (piece.to_c - piece.from_c) * share


# --- development --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Rate:
    """A quantity a day that depends on the temperature: straight lines between knots (°C, per day), the coolest first.

    Cooler than the first knot it is `below`, warmer than the last one that of the last knot: nothing is extrapolated.
    """

    knots: tuple[tuple[Fraction, Fraction], ...]
    below: Fraction

    def at(self, temperature_c: Fraction) -> Fraction:
        if temperature_c < self.knots[0][0]:
            return self.below
        for (cool, slow), (warm, fast) in pairwise(self.knots):
            if temperature_c <= warm:
                return slow + (fast - slow) * (temperature_c - cool) / (warm - cool)
        return self.knots[-1][1]

    def mean(self, one_c: Fraction, other_c: Fraction) -> Fraction:
        """Over a straight run from one temperature to another: exact, since between knots it is a straight line as well."""
        low, high = sorted((one_c, other_c))
        if low == high:
            return self.at(low)
        marks = [low, *(knot for knot, _ in self.knots if low < knot < high), high]
        if len(marks) == 2:
            return self._between(low, high)
        return sum(((warm - cool) * self._between(cool, warm) for cool, warm in pairwise(marks)), Fraction(0)) / (high - low)

    def _between(self, cool: Fraction, warm: Fraction) -> Fraction:
        """The mean between two temperatures with no knot between them."""
        return self.below if warm <= self.knots[0][0] else (self.at(cool) + self.at(warm)) / 2


def rates(at: Sequence[tuple[Decimal, int, int]]) -> tuple[Rate, Rate]:
    """The fastest and the slowest development that the figures allow, in shares of the whole a day.

    Cooler than published nobody knows: the fastest goes on as at the coolest temperature, the slowest stands still.
    """
    fastest = tuple((Fraction(each), Fraction(1, fewest)) for each, fewest, _most in at)
    slowest = tuple((Fraction(each), Fraction(1, most)) for each, _fewest, most in at)
    return Rate(fastest, fastest[0][1]), Rate(slowest, Fraction(0))


def total(pieces: Iterable[Piece], rate: Rate) -> Fraction:
    """What has added up over all pieces."""
    return sum(_amounts(pieces, rate), Fraction(0)) / DAY_US


def _amounts(pieces: Iterable[Piece], rate: Rate) -> Iterator[Fraction]:
    """What each piece adds, times the microseconds of a day. A log says the same temperatures again and again: each is worked once."""
    means: dict[tuple[Fraction, Fraction], Fraction] = {}
    for piece in pieces:
        run = piece.from_c, piece.to_c
        if run not in means:
            means[run] = rate.mean(*run)
        yield means[run] * _us(piece.ends - piece.starts)


def _us(span: timedelta) -> int:
    return span // timedelta(microseconds=1)


# --- the forecast -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Forecast:
    """From when until when eggs may hatch, and what that stands on.

    `latest` None: the eggs are kept cooler than anything published, so no last day is known. Hours are whole.
    """

    earliest: datetime
    latest: datetime | None
    done_percent: tuple[int, int] | None  # of the development, slowest and fastest; None: from days alone
    assumed_hours: int
    outside_hours: int  # cooler or warmer than anything published


def forecast(laid_at: datetime, now: datetime, pieces: Sequence[Piece], target_c: Decimal, published: Published) -> Forecast:
    """When eggs may hatch: the heat until `now` from the pieces, the target after it."""
    assumed = _hours(each.ends - each.starts for each in pieces if each.is_assumed)
    if not published.at:
        first, last = (laid_at + timedelta(days=days) for days in published.days)
        return Forecast(first, last, None, assumed, 0)
    fastest, slowest = rates(published.at)
    coolest, warmest = Fraction(published.at[0][0]), Fraction(published.at[-1][0])
    outside = _hours(_outside(piece, coolest, warmest) for piece in pieces)
    slow_end, least = _run(pieces, slowest, Fraction(target_c), now)
    fast_end, most = _run(pieces, fastest, Fraction(target_c), now)
    assert fast_end is not None  # the fastest never stands still
    return Forecast(fast_end, slow_end, (least, most), assumed, outside)


def _run(pieces: Sequence[Piece], rate: Rate, target_c: Fraction, now: datetime) -> tuple[datetime | None, int]:
    """When the development is whole, to the second (within a piece as if it ran evenly through it), and its percent until now."""
    done, reached = Fraction(0), None
    for piece, more in zip(pieces, _amounts(pieces, rate), strict=True):
        if reached is None and more and done + more >= DAY_US:
            reached = piece.starts + _times(piece.ends - piece.starts, (DAY_US - done) / more)
        done += more
    a_day = rate.at(target_c)
    if reached is None and a_day:
        reached = now + _times(timedelta(days=1), (1 - done / DAY_US) / a_day)
    return reached, min(100, int(done * 100 / DAY_US))


def _times(span: timedelta, share: Fraction) -> timedelta:
    return timedelta(seconds=round(Fraction(span // timedelta(seconds=1)) * share))


def _outside(piece: Piece, coolest: Fraction, warmest: Fraction) -> timedelta:
    low, high = sorted((piece.from_c, piece.to_c))
    if coolest <= low and high <= warmest:
        return timedelta(0)
    if low == high:
        return piece.ends - piece.starts
    inside = max(Fraction(0), min(high, warmest) - max(low, coolest))
    return _times(piece.ends - piece.starts, 1 - inside / (high - low))


def _hours(spans: Iterable[timedelta]) -> int:
    return sum(spans, timedelta(0)) // timedelta(hours=1)
