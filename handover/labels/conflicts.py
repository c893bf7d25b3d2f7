"""What collides, and which single changes would settle it, in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext as _

from handover.labels.events import event_label
from handover.labels.rules import rule_days
from handover.labels.why import day_in_words
from handover.schedule.case import Instance
from handover.schedule.plan import Conflict
from handover.schedule.problem import CLINIC, CLOSED, HOME, HORIZON, PIN, TODAY, Lag


@dataclass(frozen=True, slots=True)
class Line:
    """One side of a conflict; `detail` is where it comes from."""

    words: str
    detail: str = ""


def conflict_lines(instance: Instance, conflict: Conflict) -> list[Line]:
    """Every member of a conflict: take any one away, and the rest can be planned."""
    return [member_line(instance, member) for member in conflict.members]


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
    words = {
        "what": event_label(instance.meaning[lag.end]),
        "anchor": event_label(instance.meaning[lag.start]),
        "days": rule_days(lag.min, None, lag.max),
    }
    if lag.id.startswith("hold@"):
        until = {"day": day_in_words(_fixed(instance, lag.start) + timedelta(lag.min or 0)), **words}
        return Line(_("“%(what)s” must wait until %(day)s: a vet said “not yet”.") % until)
    if lag.id.startswith("season@"):
        return Line(
            _("“%(what)s” must fall in its season, which opens on %(day)s.")
            % (words | {"day": day_in_words(_fixed(instance, lag.start))})
        )
    rule = instance.rule_of_lag.get(lag.id)
    return Line(_("“%(what)s”: %(days)s after “%(anchor)s”.") % words, rule.source if rule else "")


def _fixed(instance: Instance, event_id: str) -> date:
    day = next(event.fixed for event in instance.problem.events if event.id == event_id)
    assert day is not None  # holds and seasons are fixed by their making
    return day


def cure_lines(instance: Instance, conflict: Conflict) -> list:
    return []
