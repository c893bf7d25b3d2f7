"""Why a date is what it is: sums that a reader can check by hand, and what moved a day away from the usual one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from handover.labels.events import event_label
from handover.labels.rules import plain_days
from handover.schedule.case import Instance
from handover.schedule.changes import is_shut
from handover.schedule.company import DRIVE
from handover.schedule.problem import CARER, CLINIC, HORIZON, PIN, TODAY, Lag

CLINICAL_DAY = "D d-M-Y"  # Tue 05-Jan-2027


class Side(StrEnum):
    EARLIEST = "earliest"
    LATEST = "latest"


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a sum: the words, and the day that one has arrived at."""

    words: str
    day: date
    source: str = ""


def day_in_words(day: date) -> str:
    return date_format(day, CLINICAL_DAY)


def sum_in_words(instance: Instance, event_id: str, chain: Sequence[str], side: Side) -> tuple[Step, ...]:
    """The chain of one bound as a sum: where it begins, what each rule adds or takes away, the day it gives."""
    origin, lags = _walk(instance, event_id, chain)
    day, words = _origin(instance, origin)
    steps = [Step(words, day)]
    for lag, is_forward in lags:
        length = _length(lag, is_forward, side)
        day += timedelta(length)
        steps.append(Step(_lag_in_words(instance, lag, is_forward, side, length), day, _source(instance, lag)))
    return tuple(steps)


def sentence(steps: Sequence[Step]) -> str:
    """ "Wound closed · left hind limb: Tue 02-Mar-2027 + at least 28 days = Tue 30-Mar-2027"."""
    if len(steps) == 1:
        return steps[0].words
    return f"{' '.join(step.words for step in steps)} = {day_in_words(steps[-1].day)}"


def _walk(instance: Instance, event_id: str, chain: Sequence[str]) -> tuple[str, list[tuple[Lag, bool]]]:
    """From the origin of a chain to its event: the origin's name, then each lag and whether it is walked forwards."""
    lags = {lag.id: lag for lag in instance.problem.lags}
    path = [lags[name] for name in chain if name in lags]
    markers = [name for name in chain if name not in lags]
    if path and event_id not in (path[-1].start, path[-1].end):
        path.reverse()
    here, walked = event_id, []
    for lag in reversed(path):
        is_forward = lag.end == here
        walked.append((lag, is_forward))
        here = lag.start if is_forward else lag.end
    return (markers[0] if markers else here), walked[::-1]


def _origin(instance: Instance, name: str) -> tuple[date, str]:
    problem = instance.problem
    if name == TODAY:
        return problem.today, _("Today, %(day)s") % {"day": day_in_words(problem.today)}
    if name == HORIZON:
        return problem.last_day, _("The last day that is planned, %(day)s") % {"day": day_in_words(problem.last_day)}
    name = name.removeprefix(PIN)
    event = next(event for event in problem.events if event.id == name)
    day, words = event.fixed, fixed_label(instance, name)
    assert day is not None  # a chain begins at a day that is known
    return day, f"{words}: {day_in_words(day)}"


def fixed_label(instance: Instance, event_id: str) -> str:
    """A thing done, fixed, held back or out of season, in words."""
    meaning = instance.meaning[event_id]
    if event_id.startswith("hold:"):
        held = _held(instance, event_id, "hold:")
        return _("“Not yet” was said of: %(what)s") % {"what": held}
    if event_id.startswith("season:"):
        return _("The season opens")
    event = next(event for event in instance.problem.events if event.id == event_id)
    if event.done:
        return event_label(meaning)
    return _("%(what)s, fixed") % {"what": event_label(meaning)}


def _held(instance: Instance, event_id: str, prefix: str) -> str:
    meaning = instance.meaning.get(event_id.removeprefix(prefix))
    return event_label(meaning) if meaning else event_id.removeprefix(prefix)


def _length(lag: Lag, is_forward: bool, side: Side) -> int:
    """How many days a lag adds (or, walked backwards, takes away) on its way to this bound."""
    least_counts = is_forward == (side is Side.EARLIEST)
    days = lag.min if least_counts else lag.max
    assert days is not None  # a bound never rests on a limit that is not there
    return days if is_forward else -days


def _lag_in_words(instance: Instance, lag: Lag, is_forward: bool, side: Side, length: int) -> str:
    least_counts = is_forward == (side is Side.EARLIEST)
    sign = "+" if length >= 0 else "−"
    days = plain_days(length)
    words = _("%(sign)s at least %(days)s") if least_counts else _("%(sign)s at most %(days)s")
    target = instance.meaning[lag.end if is_forward else lag.start]
    text = words % {"sign": sign, "days": days}
    if lag.id.startswith("hold@"):
        return _("%(sum)s until it may be") % {"sum": text}
    return _("%(sum)s to: %(what)s") % {"sum": text, "what": event_label(target)}


def _source(instance: Instance, lag: Lag) -> str:
    rule = instance.rule_of_lag.get(lag.id)
    return rule.source if rule else ""


# --- why this very day --------------------------------------------------------------------------------------------


def day_reasons(instance: Instance, days: Mapping[str, date], event_id: str) -> list[str]:
    """Why an open event got its day, in short sentences that are true one by one."""
    event = next(event for event in instance.problem.events if event.id == event_id)
    if event.pinned:
        return [_("A person fixed this day.")]
    day = days[event_id]
    aims = list(_aims(instance, days, event_id))
    reasons = [_aim_in_words(instance, lag, aim, day) for lag, aim in aims]
    missed = [aim for _lag, aim in aims if aim != day]
    reasons += _obstacles(instance, event.place, missed)
    reasons += _company(instance, days, event_id)
    if instance.problem.previous.get(event_id) == day:
        reasons.append(_("This day was agreed before, and nothing speaks against it."))
    return list(dict.fromkeys(reasons))


def _aims(instance: Instance, days: Mapping[str, date], event_id: str) -> Iterator[tuple[Lag, date]]:
    """Each lag into the event that has a usual length, and the day that it aims at."""
    for lag in instance.problem.lags:
        if lag.end == event_id and lag.usual is not None:
            yield lag, days[lag.start] + timedelta(lag.usual)


def _aim_in_words(instance: Instance, lag: Lag, aim: date, day: date) -> str:
    start = instance.meaning[lag.start]
    words = {
        "days": plain_days(lag.usual or 0), "anchor": event_label(start),
        "aim": day_in_words(aim), "off": plain_days((day - aim).days),
    }  # fmt: skip
    if aim == day:
        return _("The usual day: %(days)s after “%(anchor)s”.") % words
    if day > aim:
        return _("The usual day, %(days)s after “%(anchor)s”, is %(aim)s; this is %(off)s later.") % words
    return _("The usual day, %(days)s after “%(anchor)s”, is %(aim)s; this is %(off)s earlier.") % words


def _obstacles(instance: Instance, place: str, aims: Sequence[date]) -> list[str]:
    problem, reasons = instance.problem, []
    for aim in aims:
        day = {"day": day_in_words(aim)}
        if aim < problem.today:
            reasons.append(_("%(day)s has gone by.") % day)
            continue
        if place in problem.closed and is_shut(problem.closed[place], aim):
            reasons.append((_("The clinic is closed on %(day)s.") if place == CLINIC else _("Nobody is at home on %(day)s.")) % day)
        if CARER in problem.closed and is_shut(problem.closed[CARER], aim):
            reasons.append(_("The carer is away on %(day)s.") % day)
    return reasons


def _company(instance: Instance, days: Mapping[str, date], event_id: str) -> list[str]:
    """Other things of the same visit: one journey for all of them; and for another animal of the carer."""
    places = {event.id: event.place for event in instance.problem.events if not event.done}
    if places.get(event_id) != CLINIC:
        return []
    others = [name for name, place in places.items() if place == CLINIC and name != event_id and days[name] == days[event_id]]
    own = [event_label(instance.meaning[name]) for name in others if not name.startswith(DRIVE)]
    reasons = [_("One visit together with: %(others)s.") % {"others": "; ".join(own)}] if own else []
    return [*reasons, _("The carer comes on this day anyway, with another animal.")] if len(own) < len(others) else reasons
