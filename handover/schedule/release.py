"""Which release criteria an animal meets, on what evidence, and the earliest day on which all could be met.

An assessment of what is written down, not a judgement: a licensed person releases. Nothing here is met for
want of evidence; what nobody has looked at yet is neither met nor unmet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal, InvalidOperation
from enum import StrEnum
from typing import Any

ASSESSMENT = "release_assessment"
LEAP_YEAR = 2000  # so that 29 February can be written in a season


class Needs(StrEnum):
    """What kind of evidence a criterion asks for; in brackets, what its `target` holds."""

    EVENT = "event"  # something done (the event's name)
    WEIGHT = "weight"  # a weight reached (grams)
    TREND = "trend"  # weight gained or kept (grams a day, at least; 0: no loss)
    TEST = "test"  # a test passed (the test's name)
    SEASON = "season"  # a time of year in the north, "04-01/09-30", both days included
    JUDGEMENT = "judgement"  # a person's judgement (a name for it)


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing that must be true of an animal of this group before it goes."""

    id: str
    group: str
    needs: Needs
    target: str
    wording: str
    source: str
    how_known: str

    def __post_init__(self) -> None:
        if self.needs in (Needs.WEIGHT, Needs.TREND):
            _figure(self)
        if self.needs is Needs.SEASON:
            _season(self, is_southern=False)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Criterion:
        return cls(**{**content, "needs": Needs(content["needs"])})


@dataclass(frozen=True, slots=True)
class Weighed:
    weight_g: Decimal
    on: date


@dataclass(frozen=True, slots=True)
class Trend:
    """Grams gained (or, below 0, lost) a day, over the weighings up to a day."""

    g_per_day: Decimal
    on: date


@dataclass(frozen=True, slots=True)
class Found:
    """What a person found: a test passed or failed, or a criterion judged. `of` names the test or the
    criterion's id.
    """

    of: str
    is_met: bool
    on: date
    by: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is known of an animal on the day of looking. Of several findings on one thing the latest
    counts.
    """

    on: date
    done: Mapping[str, date] = field(default_factory=dict)
    weighed: Weighed | None = None
    trend: Trend | None = None
    findings: tuple[Found, ...] = ()
    is_southern: bool = False
    weight_holds_days: int = 14  # an older weight, or trend, is no evidence (common practice, no source)


@dataclass(frozen=True, slots=True)
class Assessed:
    """A criterion against the evidence. `is_met` None: nobody knows yet.

    `by` is what it rests on (an event, a person's name), `seen_on` the day of that evidence, `figure` the
    weight or trend found. `earliest` is the first day on which it could be met; None when that cannot be
    told.
    """

    criterion: Criterion
    is_met: bool | None
    by: str = ""
    seen_on: date | None = None
    figure: Decimal | None = None
    earliest: date | None = None


def assess(
    criteria: Iterable[Criterion], evidence: Evidence, days: Mapping[str, date]
) -> tuple[Assessed, ...]:
    """Every criterion in turn; `days` are the planned days of events and tests."""
    return tuple(_ASSESSORS[criterion.needs](criterion, evidence, days) for criterion in criteria)


def earliest_release(
    criteria: Iterable[Criterion], evidence: Evidence, days: Mapping[str, date]
) -> date | None:
    """The first day on which all criteria could be met, in season and not before the planned assessment.

    None when one of them cannot be dated. A season that is open today may be shut by then: the day moves to
    its next opening.
    """
    assessed = assess(criteria, evidence, days)
    open_ends = [each.earliest for each in assessed if not each.is_met]
    if None in open_ends:
        return None
    floor = [evidence.on, days.get(ASSESSMENT, evidence.on)]
    day = max([*floor, *(end for end in open_ends if end is not None)])
    return _in_all_seasons([each.criterion for each in assessed], evidence.is_southern, day)


def _in_all_seasons(criteria: Iterable[Criterion], is_southern: bool, day: date) -> date | None:
    seasons = [_season(each, is_southern) for each in criteria if each.needs is Needs.SEASON]
    for _ in range(2 * len(seasons) + 1):
        moved = max((_next_in_season(season, day) for season in seasons), default=day)
        if moved == day:
            return day
        day = moved
    return None  # seasons that never overlap


def _event(criterion: Criterion, evidence: Evidence, days: Mapping[str, date]) -> Assessed:
    done_on = evidence.done.get(criterion.target)
    if done_on is not None and done_on <= evidence.on:
        return Assessed(criterion, True, by=criterion.target, seen_on=done_on)
    return Assessed(criterion, False, earliest=_planned(days, evidence, criterion.target))


def _weight(criterion: Criterion, evidence: Evidence, days: Mapping[str, date]) -> Assessed:
    weighed, target_g = evidence.weighed, _figure(criterion)
    if weighed is None:
        return Assessed(criterion, None)
    if _is_stale(weighed.on, evidence):
        return Assessed(criterion, None, seen_on=weighed.on, figure=weighed.weight_g)
    if weighed.weight_g >= target_g:
        return Assessed(criterion, True, by="weight", seen_on=weighed.on, figure=weighed.weight_g)
    reached_on = _reached_on(weighed, target_g, evidence)
    return Assessed(
        criterion, False, by="weight", seen_on=weighed.on, figure=weighed.weight_g, earliest=reached_on
    )


def _reached_on(weighed: Weighed, target_g: Decimal, evidence: Evidence) -> date | None:
    """The day on which the present trend reaches the target; None when it never does, or nobody knows the
    trend.
    """
    trend = evidence.trend
    if trend is None or _is_stale(trend.on, evidence) or trend.g_per_day <= 0:
        return None
    needed_days = ((target_g - weighed.weight_g) / trend.g_per_day).to_integral_value(ROUND_CEILING)
    return max(evidence.on, weighed.on + timedelta(int(needed_days))) if needed_days < 3660 else None


def _trend(criterion: Criterion, evidence: Evidence, days: Mapping[str, date]) -> Assessed:
    trend = evidence.trend
    if trend is None:
        return Assessed(criterion, None)
    if _is_stale(trend.on, evidence):
        return Assessed(criterion, None, seen_on=trend.on, figure=trend.g_per_day)
    is_met = trend.g_per_day >= _figure(criterion)
    return Assessed(criterion, is_met, by="trend", seen_on=trend.on, figure=trend.g_per_day)


def _test(criterion: Criterion, evidence: Evidence, days: Mapping[str, date]) -> Assessed:
    return _found(criterion, evidence, criterion.target, _planned(days, evidence, criterion.target))


def _judgement(criterion: Criterion, evidence: Evidence, days: Mapping[str, date]) -> Assessed:
    planned = _planned(days, evidence, criterion.target) or _planned(days, evidence, ASSESSMENT)
    return _found(criterion, evidence, criterion.id, planned)


def _found(criterion: Criterion, evidence: Evidence, of: str, planned: date | None) -> Assessed:
    findings = [each for each in evidence.findings if each.of == of and each.on <= evidence.on]
    if not findings:
        return Assessed(criterion, None, earliest=planned)
    latest_on = max(each.on for each in findings)
    latest = [each for each in findings if each.on == latest_on]
    worst = next((each for each in latest if not each.is_met), latest[-1])
    earliest = None if worst.is_met else planned
    return Assessed(criterion, worst.is_met, by=worst.by, seen_on=latest_on, earliest=earliest)


def _season_open(criterion: Criterion, evidence: Evidence, days: Mapping[str, date]) -> Assessed:
    opens_on = _next_in_season(_season(criterion, evidence.is_southern), evidence.on)
    if opens_on == evidence.on:
        return Assessed(criterion, True, by="season", seen_on=evidence.on)
    return Assessed(criterion, False, by="season", seen_on=evidence.on, earliest=opens_on)


_ASSESSORS = {
    Needs.EVENT: _event,
    Needs.WEIGHT: _weight,
    Needs.TREND: _trend,
    Needs.TEST: _test,
    Needs.SEASON: _season_open,
    Needs.JUDGEMENT: _judgement,
}


def _planned(days: Mapping[str, date], evidence: Evidence, event: str) -> date | None:
    """The planned day of an event; a day that has passed undone is no promise of anything."""
    day = days.get(event)
    return day if day is not None and day >= evidence.on else None


def _is_stale(on: date, evidence: Evidence) -> bool:
    return not 0 <= (evidence.on - on).days <= evidence.weight_holds_days


def _figure(criterion: Criterion) -> Decimal:
    try:
        figure = Decimal(criterion.target)
    except InvalidOperation:
        figure = Decimal("NaN")
    if not figure.is_finite():
        raise ValueError(f"Criterion {criterion.id} needs a number as its target, not “{criterion.target}”.")
    return figure


def _season(criterion: Criterion, is_southern: bool) -> tuple[tuple[int, int], tuple[int, int]]:
    """First and last (month, day) of a season; in the south, half a year later."""
    try:
        opens, closes = (_month_and_day(text, is_southern) for text in criterion.target.split("/"))
    except ValueError as error:
        raise ValueError(
            f"Criterion {criterion.id} needs a season such as 04-01/09-30, not “{criterion.target}”."
        ) from error
    return opens, closes


def _month_and_day(text: str, is_southern: bool) -> tuple[int, int]:
    day = date.fromisoformat(f"{LEAP_YEAR}-{text.strip()}")
    if not is_southern:
        return day.month, day.day
    month = (day.month + 5) % 12 + 1
    is_last = day.day == _LAST_DAYS[day.month - 1]  # the last of a month stays the last of a month
    return month, _LAST_DAYS[month - 1] if is_last else min(day.day, _LAST_DAYS[month - 1])


_LAST_DAYS = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _next_in_season(season: tuple[tuple[int, int], tuple[int, int]], day: date) -> date:
    """This day, or the next one inside the season."""
    opens, closes = season
    today = (day.month, day.day)
    is_in = opens <= today <= closes if opens <= closes else today >= opens or today <= closes
    if is_in:
        return day
    year = day.year if today < opens else day.year + 1
    return _day_of(year, opens)


def _day_of(year: int, month_and_day: tuple[int, int]) -> date:
    """That day of the year; 1 March for 29 February outside leap years."""
    try:
        return date(year, *month_and_day)
    except ValueError:
        return date(year, 3, 1)
