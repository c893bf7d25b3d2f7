"""A plan as a page shows it: rows, visits, lateness and differences, all in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Manager, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.labels.alternatives import apart_in_words, cost_in_words, followers_in_words, points_in_words, slack_in_words, step_in_words
from handover.labels.changes import CAUSES, KINDS, cause_in_words
from handover.labels.events import event_label, name_of, plain_label
from handover.labels.rules import row_title, rule_figures
from handover.labels.why import Side, Step, day_in_words, day_reasons, sentence, sum_in_words
from handover.plans.models import Hold, Pin
from handover.plans.queries import LivePlan
from handover.plans.timeline import Entry, Timeline, timeline
from handover.schedule.alternatives import Alternative, Moves, moves
from handover.schedule.case import PIN, Instance, Late
from handover.schedule.changes import ASIDE, Cause, Change, Kind, Why
from handover.schedule.plan import Planned
from handover.schedule.problem import CLINIC, Event
from hospital.admissions.models import Patient


@dataclass(frozen=True, slots=True)
class Row:
    """One event of a plan in words. `tone` and `word` are its status; the two sums say what bounds its window."""

    event_id: str
    label: str
    on: date
    at_clinic: bool
    tone: str
    word: str
    opens: date | None = None
    closes: date | None = None
    instruction: str = ""
    sources: tuple[Source, ...] = ()
    reasons: tuple[str, ...] = ()
    earliest: tuple[Step, ...] = ()
    latest: tuple[Step, ...] = ()
    pin: Pin | None = None
    hold: Hold | None = None

    @property
    def earliest_sum(self) -> str:
        return sentence(self.earliest) if self.earliest else ""

    @property
    def latest_sum(self) -> str:
        return sentence(self.latest) if self.latest else ""


@dataclass(frozen=True, slots=True)
class Source:
    """A rule that a date rests on, and where its figures come from."""

    rule_id: str
    title: str
    source: str
    how_known: str


@dataclass(frozen=True, slots=True)
class Visit:
    """One journey to the clinic: what is done, how long it takes, what to bring, and which other animals come along."""

    on: date
    rows: tuple[Row, ...]
    minutes: int
    bring: str
    company: tuple[Patient, ...] = ()


@dataclass(frozen=True, slots=True)
class LateItem:
    """Something whose last day has gone by, and the day it is planned for now."""

    event_id: str
    label: str
    sentence: str
    days_late: int
    on: date | None


def rows_of(live: LivePlan) -> list[Row]:
    """Every event to come, the next one first."""
    if live.planned is None or live.instance is None:
        return []
    today = live.instance.problem.today
    late = {each.event_id: each for each in live.instance.late}
    pins = {pin.event_id: pin for pin in live.patient.pins.all() if pin.ended_at is None}
    holds = {hold.event_id: hold for hold in live.patient.holds.all() if hold.ended_at is None}
    events = (e for e in live.instance.problem.events if not e.done and not e.id.startswith(ASIDE))
    rows = [_row(live.instance, live.planned, e, late.get(e.id), pins.get(e.id), holds.get(e.id), today) for e in events]
    return sorted(rows, key=lambda row: (row.on, row.label))


def _row(
    instance: Instance,
    planned: Planned,
    event: Event,
    late: Late | None,
    pin: Pin | None,
    hold: Hold | None,
    today: date,
) -> Row:
    meaning, on = instance.meaning[event.id], planned.days[event.id]
    opens, closes = planned.windows.get(event.id, (None, None))
    tone, word = _status(on, today, late, event)
    rule = meaning.rule
    return Row(
        event_id=event.id,
        label=event_label(meaning),
        on=on,
        at_clinic=event.place == CLINIC,
        tone=tone,
        word=word,
        opens=opens,
        closes=closes,
        instruction=rule.instruction if rule else "",
        sources=_sources(instance, planned, event.id),
        reasons=tuple(day_reasons(instance, planned.days, event.id)),
        earliest=_sum(instance, planned, event.id, Side.EARLIEST),
        latest=_sum(instance, planned, event.id, Side.LATEST),
        pin=pin,
        hold=hold,
    )


def _sum(instance: Instance, planned: Planned, event_id: str, side: Side) -> tuple[Step, ...]:
    chain = planned.why.get(event_id, {}).get(side, ())
    return sum_in_words(instance, event_id, chain, side) if chain else ()


def _sources(instance: Instance, planned: Planned, event_id: str) -> tuple[Source, ...]:
    """The rules of its own day and of the two sums, each once."""
    own = instance.meaning[event_id].rule
    chain = [instance.rule_of_lag.get(name) for names in planned.why.get(event_id, {}).values() for name in names]
    rules = {rule.id: rule for rule in (own, *chain) if rule}
    return tuple(Source(rule.id, row_title(rule), rule.source, rule.how_known) for rule in rules.values())


def _status(on: date, today: date, late: Late | None, event: Event) -> tuple[str, str]:
    if late:
        return "late", days_late(late, today)
    if on == today:
        return "due", _("Today")
    if event.pinned:
        return "note", _("Fixed day")
    return "coming", in_days((on - today).days)


def in_days(days: int) -> str:
    return ngettext("in %(n)d day", "in %(n)d days", days) % {"n": days}


def days_late(late: Late, today: date) -> str:
    days = (today - late.last_day).days
    if days <= 0:
        return _("Late")
    return ngettext("%(n)d day late", "%(n)d days late", days) % {"n": days}


def done_rows(live: LivePlan) -> list[Row]:
    """What a rule asked for and has been done, the latest first."""
    if live.instance is None:
        return []
    meaning = live.instance.meaning
    done = [e for e in live.instance.problem.events if e.done and meaning[e.id].rule]
    rows = [Row(e.id, event_label(meaning[e.id]), e.done, e.place == CLINIC, "done", _("Done")) for e in done if e.done]
    return sorted(rows, key=lambda row: row.on, reverse=True)


def visits_of(live: LivePlan, rows: Sequence[Row]) -> list[Visit]:
    """The journeys to the clinic, each with all that is done on it."""
    days: dict[date, list[Row]] = {}
    for row in rows:
        if row.at_clinic:
            days.setdefault(row.on, []).append(row)
    return [_visit(live, on, found) for on, found in sorted(days.items())]


def _visit(live: LivePlan, on: date, rows: list[Row]) -> Visit:
    assert live.instance is not None
    names = [name_of(live.instance.meaning[row.event_id].event) for row in rows]
    bring = dict.fromkeys(part.strip() for name in names for part in name.bring.split(",") if part.strip())
    company = live.patient.household.days.get(on, ()) if live.patient.household else ()
    return Visit(on, tuple(rows), sum(name.minutes for name in names), ", ".join(bring), tuple(company))


def late_items(live: LivePlan) -> list[LateItem]:
    """Everything whose last day has gone by, the longest first."""
    if live.instance is None:
        return []
    items = [_late_item(live, each) for each in live.instance.late]
    return sorted(items, key=lambda item: -item.days_late)


def _late_item(live: LivePlan, late: Late) -> LateItem:
    assert live.instance is not None
    words = {"due": day_in_words(late.was_due_on), "last": day_in_words(late.last_day)}
    if late.rule_id == PIN:
        text = _("It was agreed for %(last)s.")
    elif late.was_due_on == late.last_day:
        text = _("It was due by %(last)s.")
    else:
        text = _("It was due on %(due)s, on %(last)s at the latest.")
    return LateItem(
        event_id=late.event_id,
        label=event_label(live.instance.meaning[late.event_id]),
        sentence=text % words,
        days_late=(live.instance.problem.today - late.last_day).days,
        on=live.planned.days.get(late.event_id) if live.planned else None,
    )


def notes_of(live: LivePlan) -> list[str]:
    """What else a reader should know: limits that a hold or a season has put aside, decisions without an event."""
    if live.instance is None:
        return []
    notes = []
    for each in live.instance.overruled:
        rule = _("“%(what)s” would be due by %(last)s; it waits longer, because of a “not yet” or its season.")
        notes.append(rule % {"what": event_label(live.instance.meaning[each.event_id]), "last": day_in_words(each.last_day)})
    for name in live.instance.unused:
        notes.append(_("A fixed day or a “not yet” names something that is not planned any more: %(what)s.") % {"what": plain_label(name)})
    return list(dict.fromkeys(notes))


def picture_of(live: LivePlan, rows: Sequence[Row], visits: Sequence[Visit]) -> Timeline | None:
    """The timeline of the events to come."""
    if not rows or live.instance is None:
        return None
    seasons = _seasons(live.instance)
    entries = [Entry(row.label, row.on, _state(row), row.opens, row.closes, seasons.get(row.event_id)) for row in rows]
    problem = live.instance.problem
    return timeline(entries, [visit.on for visit in visits], problem.today, problem.closed)


def _state(row: Row) -> str:
    return "late" if row.tone == "late" else "pinned" if row.pin else "coming"


def moves_of(live: LivePlan, row: Row) -> dict[str, Any]:
    """What would move one date, worked out for this one alone: slack, the price of other days, a visit of its own."""
    assert live.instance is not None
    assert live.planned is not None
    found = moves(live.instance.problem, live.planned, row.event_id)
    return {
        "slack": slack_in_words(found),
        "offers": [_offer(live.instance, found, offer) for offer in found.offers],
        "apart": apart_in_words(live.instance, found) if found.companions else "",
        "points": points_in_words(live.instance.problem.costs),
    }


def _offer(instance: Instance, found: Moves, offer: Alternative) -> dict[str, Any]:
    cost = cost_in_words(found.price, offer.price, offer.extra)
    return {
        "on": offer.day,
        "step": step_in_words(found, offer),
        "cost": cost[:1].lower() + cost[1:],
        "followers": followers_in_words(instance, offer),
    }


def _seasons(instance: Instance) -> dict[str, tuple[date, date]]:
    """By event: the season that it must fall in."""
    days = {event.id: event.fixed for event in instance.problem.events}
    found = {}
    for lag in instance.problem.lags:
        opens = days.get(lag.start)
        if lag.id.startswith("season@") and opens and lag.max is not None:
            found[lag.end] = (opens, date.fromordinal(opens.toordinal() + lag.max))
    return found


def decisions_of(live: LivePlan, names: Mapping[str, str]) -> dict[str, list[dict]]:
    """Pins, holds and chosen windows that count now, each with its words."""
    rules = {rule.id: rule_figures(rule) for rule in live.book.rules}
    patient = live.patient
    return {
        "pins": [_decision(pin, names, pin.event_id) for pin in counting(patient.pins)],
        "holds": [_decision(hold, names, hold.event_id) for hold in counting(patient.holds)],
        "choices": [{"row": each, "words": rules.get(each.rule, each.rule)} for each in counting(patient.rule_choices)],
    }


def counting(decisions: Manager) -> QuerySet:
    return decisions.filter(ended_at=None).select_related("decided_by").order_by("pk")


def _decision(row: Pin | Hold, names: Mapping[str, str], event_id: str) -> dict:
    return {"row": row, "label": names.get(event_id) or plain_label(event_id)}


# --- differences --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """One difference between two plans in words. `style` names its look in the table."""

    what: str
    style: str
    word: str
    was: date | None
    now: date | None
    why: tuple[str, ...]


STYLES = {"moved": "moved", "added": "added", "dropped": "dropped", "done": "same"}


def change_lines(changes: Sequence[Change], names: Mapping[str, str], causes: Mapping[Why, object] = CAUSES) -> list[ChangeLine]:
    return [
        ChangeLine(
            what=names.get(change.event_id, change.event_id),
            style=STYLES[change.kind],
            word=str(KINDS[change.kind]),
            was=change.was,
            now=change.now,
            why=tuple(cause_in_words(cause, names, causes=causes) for cause in change.causes),
        )
        for change in changes
    ]


def stored_change_lines(stored: Sequence[Mapping]) -> list[ChangeLine]:
    """The same for the changes that a published plan keeps."""
    return [_stored_line(each) for each in stored]


def _stored_line(each: Mapping) -> ChangeLine:
    causes = [(Cause.from_json(cause), {cause["event_id"]: cause["what"]}) for cause in each["causes"]]
    return ChangeLine(
        what=each["what"],
        style=STYLES[each["kind"]],
        word=str(KINDS[Kind(each["kind"])]),
        was=date.fromisoformat(each["was"]) if each["was"] else None,
        now=date.fromisoformat(each["now"]) if each["now"] else None,
        why=tuple(cause_in_words(cause, names) for cause, names in causes),
    )
