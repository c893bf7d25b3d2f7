"""What if: suppositions put into a case, its rules and its calendars, before anything is decided.

A supposition is a plain value. Put into the ground that a plan is made on, it gives another ground and so another
problem; nothing of the first one changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from handover.schedule.case import Case, Hold, Instance, Pin, Setup
from handover.schedule.changes import ASIDE
from handover.schedule.library import Rule, SeasonGate
from handover.schedule.problem import CARER, CLINIC, Closed
from handover.schedule.protocol import problem_for

FURTHEST_DAYS = 730  # nobody plans an animal's care further ahead than two years


class Nonsense(StrEnum):
    """Why something cannot be supposed."""

    GONE_BY = "gone by"
    TOO_FAR = "too far"
    NOT_AFTER_TODAY = "not after today"
    BACKWARDS = "backwards"
    NOT_PLANNED = "not planned"
    NO_RULE = "no rule"
    NO_FIGURE = "no figure"
    TOO_LONG = "too long"
    FALLING = "falling"
    TWICE = "twice"


@dataclass(frozen=True, slots=True)
class OnDay:
    """An event is fixed for this very day. It takes the place of a day that a person fixed."""

    event_id: str
    on: date


@dataclass(frozen=True, slots=True)
class NotBefore:
    """An event must wait until this day: a vet's "not yet", said today."""

    event_id: str
    not_before: date


@dataclass(frozen=True, slots=True)
class ClinicShut:
    """The clinic is closed on one day."""

    on: date


@dataclass(frozen=True, slots=True)
class CarerAway:
    """The carer is away from the first day to the last, both included."""

    starts_on: date
    ends_on: date


@dataclass(frozen=True, slots=True)
class OtherFigures:
    """A rule with other figures, in days; None leaves a figure as it is."""

    rule_id: str
    min_days: int | None = None
    usual_days: int | None = None
    max_days: int | None = None


Supposition = OnDay | NotBefore | ClinicShut | CarerAway | OtherFigures


class BadSupposition(ValueError):
    """A supposition makes no sense: which one, in which of its fields, and why."""

    def __init__(self, supposition: Supposition, field: str, why: Nonsense) -> None:
        super().__init__(f"{type(supposition).__name__}.{field}: {why}")
        self.supposition, self.field, self.why = supposition, field, why


@dataclass(frozen=True, slots=True)
class Ground:
    """All that a plan is made of."""

    case: Case
    rules: tuple[Rule, ...]
    gates: tuple[SeasonGate, ...]
    setup: Setup

    def instance(self) -> Instance:
        """The problem that it gives. Raises BadRule, BadProblem."""
        return problem_for(self.case, self.rules, self.gates, self.setup)


def suppose(ground: Ground, suppositions: Iterable[Supposition]) -> Ground:
    """The ground with everything supposed at once. Raises BadSupposition; BadRule and BadProblem as planning does.

    Rules and calendars come first: a longer rule may bring events about which something else is supposed.
    """
    wanted = tuple(suppositions)
    for supposition in wanted:
        _check_days(supposition, ground.setup.today)
    _check_twins(wanted)
    changed = replace(ground, rules=_rules(ground.rules, wanted), setup=_setup(ground.setup, wanted))
    decisions = [each for each in wanted if isinstance(each, OnDay | NotBefore)]
    if decisions:
        planned = open_event_ids(ground.instance()) | open_event_ids(changed.instance())
        for each in decisions:
            if each.event_id not in planned:
                raise BadSupposition(each, "event_id", Nonsense.NOT_PLANNED)
    return replace(changed, case=_case(ground.case, decisions, ground.setup.today))


def open_event_ids(instance: Instance) -> set[str]:
    """What can be supposed to be on another day: events to come, without the helpers of holds and seasons."""
    return {event.id for event in instance.problem.events if not event.done and not event.id.startswith(ASIDE)}


def changed_rule(rule: Rule, figures: OtherFigures) -> Rule:
    """The rule with other figures. Raises BadSupposition if they do not rise, or none is given."""
    said = {"min_days": figures.min_days, "usual_days": figures.usual_days, "max_days": figures.max_days}
    given = {field: days for field, days in said.items() if days is not None}
    if not given:
        raise BadSupposition(figures, "usual_days", Nonsense.NO_FIGURE)
    for field, days in given.items():
        if not 0 <= days <= FURTHEST_DAYS:
            raise BadSupposition(figures, field, Nonsense.TOO_LONG)
    if rule.repeat_until is not None and figures.usual_days == 0:
        raise BadSupposition(figures, "usual_days", Nonsense.NO_FIGURE)
    _check_rising(rule, figures, given)
    return replace(
        rule,
        min_days=given.get("min_days", rule.min_days),
        usual_days=given.get("usual_days", rule.usual_days),
        max_days=given.get("max_days", rule.max_days),
    )


def _check_rising(rule: Rule, figures: OtherFigures, given: Mapping[str, int]) -> None:
    """The fault is put at a figure that was given, the later one if both were."""
    merged = {field: given.get(field, getattr(rule, field)) for field in ("min_days", "usual_days", "max_days")}
    known = [(field, days) for field, days in merged.items() if days is not None]
    for (low, least), (high, most) in zip(known, known[1:], strict=False):
        if least > most:
            raise BadSupposition(figures, high if high in given else low, Nonsense.FALLING)


# --- checking ---


def _check_days(supposition: Supposition, today: date) -> None:
    days = {
        field: getattr(supposition, field)
        for field in ("on", "not_before", "starts_on", "ends_on")
        if hasattr(supposition, field)
    }
    for field, day in days.items():
        if field == "not_before" and day <= today:
            raise BadSupposition(supposition, field, Nonsense.NOT_AFTER_TODAY)
        if day < today and field != "starts_on":
            raise BadSupposition(supposition, field, Nonsense.GONE_BY)
        if abs((day - today).days) > FURTHEST_DAYS:
            raise BadSupposition(supposition, field, Nonsense.TOO_FAR)
    if isinstance(supposition, CarerAway) and supposition.ends_on < supposition.starts_on:
        raise BadSupposition(supposition, "ends_on", Nonsense.BACKWARDS)


def _check_twins(suppositions: Iterable[Supposition]) -> None:
    """Of one event two days, or of one rule two sets of figures, cannot both be supposed."""
    seen: set[tuple[str, str]] = set()
    for each in suppositions:
        if isinstance(each, ClinicShut | CarerAway):
            continue
        field = "rule_id" if isinstance(each, OtherFigures) else "event_id"
        key = (type(each).__name__, getattr(each, field))
        if key in seen:
            raise BadSupposition(each, field, Nonsense.TWICE)
        seen.add(key)


# --- applying ---


def _rules(rules: tuple[Rule, ...], suppositions: Iterable[Supposition]) -> tuple[Rule, ...]:
    figures = {each.rule_id: each for each in suppositions if isinstance(each, OtherFigures)}
    known = {rule.id for rule in rules}
    for rule_id, each in figures.items():
        if rule_id not in known:
            raise BadSupposition(each, "rule_id", Nonsense.NO_RULE)
    return tuple(changed_rule(rule, figures[rule.id]) if rule.id in figures else rule for rule in rules)


def _setup(setup: Setup, suppositions: Iterable[Supposition]) -> Setup:
    wanted = tuple(suppositions)
    shut = frozenset(each.on for each in wanted if isinstance(each, ClinicShut))
    away = tuple((each.starts_on, each.ends_on) for each in wanted if isinstance(each, CarerAway))
    closed = dict(setup.closed)
    if shut:
        clinic = closed.get(CLINIC, Closed())
        closed[CLINIC] = replace(clinic, dates=clinic.dates | shut)
    if away:
        carer = closed.get(CARER, Closed())
        closed[CARER] = replace(carer, spans=(*carer.spans, *away))
    return replace(setup, closed=closed, company=frozenset(day for day in setup.company if _comes(day, shut, away)))


def _comes(day: date, shut: frozenset[date], away: Iterable[tuple[date, date]]) -> bool:
    """Whether the carer still comes with another animal on a day."""
    return day not in shut and not any(first <= day <= last for first, last in away)


def _case(case: Case, decisions: Iterable[OnDay | NotBefore], today: date) -> Case:
    decided = tuple(decisions)
    pins = {pin.event_id: pin for pin in case.pins}
    pins |= {each.event_id: Pin(each.event_id, each.on) for each in decided if isinstance(each, OnDay)}
    holds = {hold.event_id: hold for hold in case.holds}
    waits = [each for each in decided if isinstance(each, NotBefore)]
    holds |= {each.event_id: Hold(each.event_id, today, each.not_before) for each in waits}
    return replace(case, pins=tuple(pins.values()), holds=tuple(holds.values()))
