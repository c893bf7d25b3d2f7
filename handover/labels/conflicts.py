"""What collides, and which single changes would settle it, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from django.utils.translation import gettext as _

from handover.labels.events import event_label
from handover.labels.rules import plain_days, rule_days
from handover.labels.why import day_in_words
from handover.schedule.alternatives import Broken, cheapest_first
from handover.schedule.case import Instance
from handover.schedule.changes import is_shut
from handover.schedule.company import without_company
from handover.schedule.explain import Cure, CureKind, cures
from handover.schedule.plan import Conflict, Planned, plan
from handover.schedule.problem import CARER, CLINIC, CLOSED, HOME, HORIZON, PIN, TODAY, Lag, Problem
from handover.schedule.windows import windows


@dataclass(frozen=True, slots=True)
class Line:
    """One side of a conflict; `detail` is where it comes from."""

    words: str
    detail: str = ""


def conflict_lines(instance: Instance, conflict: Conflict) -> list[Line]:
    """Every member of a conflict: take any one away, and the rest can be planned. A source is told once."""
    lines = [member_line(instance, member) for member in conflict.members]
    told = [line.detail for line in lines]
    return [Line(line.words, line.detail if told.index(line.detail) == n else "") for n, line in enumerate(lines)]


def member_line(instance: Instance, member: str) -> Line:
    problem = instance.problem
    if member == TODAY:
        return Line(_("Nothing can be planned before today, %(day)s.") % {"day": day_in_words(problem.today)})
    if member == HORIZON:
        return Line(_("Nothing is planned after %(day)s.") % {"day": day_in_words(problem.last_day)})
    if member.startswith(PIN):
        return Line(_pinned(instance, member.removeprefix(PIN)))
    if member.startswith(CLOSED):
        return Line(_closed(instance, member.removeprefix(CLOSED)))
    return _lag_line(instance, next(lag for lag in problem.lags if lag.id == member))


def _pinned(instance: Instance, event_id: str) -> str:
    event = next(event for event in instance.problem.events if event.id == event_id)
    day = {"day": day_in_words(event.pinned) if event.pinned else ""}
    if event_id.startswith("season:"):
        return _("Its season opens on %(day)s.") % day
    if event_id.startswith("hold:"):
        return _("A vet said “not yet” on %(day)s.") % day
    return _("“%(what)s” is fixed for %(day)s.") % {"what": event_label(instance.meaning[event_id]), **day}


def _closed(instance: Instance, calendar: str) -> str:
    if calendar == CLINIC:
        return _("The clinic is closed on some of the days that would fit.")
    if calendar == HOME:
        return _("Nobody is at home on some of the days that would fit.")
    spans = instance.problem.closed[calendar].spans
    away = "; ".join(f"{day_in_words(first)} – {day_in_words(last)}" for first, last in spans)
    return _("The carer is away: %(spans)s.") % {"spans": away}


def _lag_line(instance: Instance, lag: Lag) -> Line:
    days = rule_days(lag.min, None, lag.max)
    words = {
        "what": event_label(instance.meaning[lag.end]),
        "anchor": event_label(instance.meaning[lag.start]),
        "days": days[:1].lower() + days[1:],
    }
    if lag.id.startswith("hold@"):
        until = {"day": day_in_words(_fixed(instance, lag.start) + timedelta(lag.min or 0)), **words}
        return Line(_("“%(what)s” must wait until %(day)s: a vet said “not yet”.") % until)
    if lag.id.startswith("season@"):
        return Line(
            _("“%(what)s” must fall in its season, which opens on %(day)s.") % (words | {"day": day_in_words(_fixed(instance, lag.start))})
        )
    rule = instance.rule_of_lag.get(lag.id)
    return Line(_("“%(what)s” must be %(days)s after “%(anchor)s”.") % words, rule.source if rule else "")


def _fixed(instance: Instance, event_id: str) -> date:
    day = next(event.fixed for event in instance.problem.events if event.id == event_id)
    assert day is not None  # holds and seasons are fixed by their making
    return day


# --- cures --------------------------------------------------------------------------------------------------------


NONE_BROKEN = Broken()


class Way(StrEnum):
    """How a cure can be carried out: by one press, on the page named, or (advice) by people among themselves."""

    PIN = "pin"
    UNPIN = "unpin"
    HOLD = "hold"
    UNHOLD = "unhold"
    RULE = "rule"  # the protocol's page, or another window of it
    CARER = "carer"  # the carer's days away
    CLINIC = "clinic"  # the hospital's closed days
    ADVICE = "advice"


@dataclass(frozen=True, slots=True)
class CureLine:
    """One change that would settle a conflict, and the decision about `event_id` (for the day `on`) that makes it.

    `days`: by how many days it stretches something, if it does. `broken`: the promised dates that would then move.
    `rule_id`, `min_days`, `max_days`: the rule that it is about, and the figure that would be enough.
    """

    words: str
    way: Way = Way.ADVICE
    event_id: str = ""
    on: date | None = None
    reason: str = ""
    days: int | None = None
    broken: Broken = NONE_BROKEN
    rule_id: str = ""
    min_days: int | None = None
    max_days: int | None = None


STRETCHING = (CureKind.MOVE_PIN, CureKind.SHORTEN_MIN, CureKind.LENGTHEN_MAX)


def cure_lines(instance: Instance, conflict: Conflict) -> tuple[list[CureLine], bool]:
    """The single changes that would settle a conflict, the cheapest first, and whether each settles everything.

    The cheapest moves the fewest promised dates, by the fewest days; among equals it is the smallest change. If another
    conflict stands beside this one, no single change settles both: then the changes are for this one.
    """
    found = cures(instance.problem, conflict)
    is_all = bool(found)
    found = found or cures(_alone(instance.problem, conflict), conflict)
    lines: dict[tuple[str, Way, str], CureLine] = {}
    for priced in cheapest_first(found):
        line = CURES[priced.cure.kind](instance, priced.cure)
        if line:
            days = priced.cure.days if priced.cure.kind in STRETCHING else None
            lines.setdefault((line.words, line.way, line.event_id), replace(line, days=days, broken=priced.broken))
    return list(lines.values()), is_all


def missing_in_words(lines: Sequence[CureLine]) -> str:
    """By how many days the sides of a conflict miss each other; nothing if it is no matter of days."""
    days = min((line.days for line in lines if line.days), default=None)
    return _("They miss each other by %(days)s.") % {"days": plain_days(days)} if days else ""


def _alone(problem: Problem, conflict: Conflict) -> Problem:
    """The problem with no rules and fixed days but those of the conflict."""
    members, events = conflict.members, without_company(problem).events
    return replace(
        problem,
        events=tuple(e if e.done or f"{PIN}{e.id}" in members else replace(e, pinned=None) for e in events),
        lags=tuple(lag for lag in problem.lags if lag.id in members),
    )


def _move_pin(instance: Instance, cure: Cure) -> CureLine | None:
    if not _is_persons(instance, cure.target):
        return None
    words = _("Fix “%(what)s” for %(day)s instead: %(days)s off.")
    reason = _("The day fixed before collided with a rule or another day")
    return CureLine(words % _said(instance, cure.target, cure), Way.PIN, cure.target, cure.on, reason)


def _drop_pin(instance: Instance, cure: Cure) -> CureLine | None:
    said = _said(instance, cure.target, cure)
    if cure.target.startswith("season:"):
        return CureLine(_("Do without the season: a vet adopts another one, or takes this one out of force."))
    if cure.target.startswith("hold:") or not _is_persons(instance, cure.target):
        return CureLine(_("“%(what)s” is expected for a day that does not fit: correct that record.") % said)
    return CureLine(_("Do not fix the day of “%(what)s”.") % said, Way.UNPIN, cure.target)


def _is_persons(instance: Instance, event_id: str) -> bool:
    """Whether a pin is somebody's decision, not a season and not a day that a record expects."""
    return event_id in instance.meaning and instance.meaning[event_id].rule is not None


def _extend_horizon(instance: Instance, cure: Cure) -> CureLine:
    words = _("Plan %(days)s further ahead: wait, and look again when the first things are done.")
    return CureLine(words % {"days": plain_days(cure.days or 0)})


def _shorten_min(instance: Instance, cure: Cure) -> CureLine:
    lag = _lag(instance, cure)
    said = _said(instance, lag.end, cure)
    if lag.id.startswith("hold@"):
        return CureLine(_("Take back the “not yet” about “%(what)s”.") % said, Way.UNHOLD, lag.end)
    words = _("Let “%(what)s” be %(days)s sooner than its protocol allows: a vet decides.") % said
    return replace(_about_rule(instance, lag, words), min_days=(lag.min or 0) - (cure.days or 0))


def _lengthen_max(instance: Instance, cure: Cure) -> CureLine:
    """A vet's "not yet" outweighs the latest day, so the thing may wait until the day on which it would then be."""
    lag = _lag(instance, cure)
    said = _said(instance, lag.end, cure)
    then = plan(cure.problem)
    if lag.id.startswith("season@") or not isinstance(then, Planned) or _is_fixed(instance, lag.end):
        words = _("Let “%(what)s” be up to %(days)s later than its protocol says.") % said
        return replace(_about_rule(instance, lag, words), max_days=(lag.max or 0) + (cure.days or 0))
    words = _("Let “%(what)s” be later than its protocol says, by %(days)s: a vet decides.")
    return CureLine(words % said, Way.HOLD, lag.end, then.days[lag.end], _("Its latest day cannot be kept"))


def _about_rule(instance: Instance, lag: Lag, words: str) -> CureLine:
    """Advice about the protocol's rule behind a lag; mere advice if there is none."""
    rule = instance.rule_of_lag.get(lag.id)
    return CureLine(words, Way.RULE, lag.end, rule_id=rule.id) if rule else CureLine(words)


def _open(instance: Instance, cure: Cure) -> CureLine:
    """One open day: the plan may go there by fixing the thing that needs it, for a fixed day counts when closed too."""
    words = _("Open the clinic on %(day)s.") % _said(instance, "", cure)
    then = plan(cure.problem)
    if not isinstance(then, Planned):
        return CureLine(words, Way.CLINIC)
    there = [e.id for e in cure.problem.events if e.place == CLINIC and not e.fixed and then.days[e.id] == cure.on]
    rules = [lag.end for lag in cure.problem.lags if lag.end in there and lag.max is not None]
    needs_it = next((name for name in rules if _would_be_late(cure, name)), None)
    if needs_it is None:
        return CureLine(words, Way.CLINIC)
    return CureLine(words, Way.PIN, needs_it, cure.on, _("The clinic opens for it on this day"))


def _would_be_late(cure: Cure, event_id: str) -> bool:
    """Whether the thing cannot be on any day after the one that would open."""
    assert cure.on is not None
    window = windows(cure.problem).get(event_id)
    later = (cure.on + timedelta(n) for n in range(1, (window.closes - cure.on).days + 1)) if window else ()
    calendars = [cure.problem.closed[name] for name in (CLINIC, CARER) if name in cure.problem.closed]
    return all(any(is_shut(calendar, day) for calendar in calendars) for day in later)


def _carer_back(instance: Instance, cure: Cure) -> CureLine:
    words = _("If the carer is back on %(day)s, %(days)s sooner, everything can be kept.")
    return CureLine(words % {"day": day_in_words(cure.on) if cure.on else "", "days": plain_days(cure.days or 0)}, Way.CARER)


def _carer_leaves(instance: Instance, cure: Cure) -> CureLine:
    words = _("If the carer leaves on %(day)s, %(days)s later, everything can be kept.")
    return CureLine(words % {"day": day_in_words(cure.on) if cure.on else "", "days": plain_days(cure.days or 0)}, Way.CARER)


CURES: dict[CureKind, Callable[[Instance, Cure], CureLine | None]] = {
    CureKind.MOVE_PIN: _move_pin,
    CureKind.EXTEND_HORIZON: _extend_horizon,
    CureKind.SHORTEN_MIN: _shorten_min,
    CureKind.LENGTHEN_MAX: _lengthen_max,
    CureKind.OPEN: _open,
    CureKind.CARER_BACK: _carer_back,
    CureKind.CARER_LEAVES: _carer_leaves,
    CureKind.DROP_PIN: _drop_pin,
}


def _lag(instance: Instance, cure: Cure) -> Lag:
    return next(lag for lag in instance.problem.lags if lag.id == cure.target)


def _is_fixed(instance: Instance, event_id: str) -> bool:
    return any(event.id == event_id and event.fixed for event in instance.problem.events)


def _said(instance: Instance, event_id: str, cure: Cure) -> dict[str, str]:
    meaning = instance.meaning.get(event_id)
    return {
        "what": event_label(meaning) if meaning else event_id,
        "days": plain_days(cure.days or 0),
        "day": day_in_words(cure.on) if cure.on else "",
    }
