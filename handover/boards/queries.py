"""What cannot wait: reports that nobody has answered, late things, plans that a person must settle.

Read in a fixed number of queries and worked out anew each time; nothing is stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q
from django.utils.translation import gettext as _

from handover.boards.places import here
from handover.boards.visits import closed_among, is_away
from handover.labels.conflicts import conflict_lines
from handover.logs.models import Answer, LogEntry
from handover.logs.queries import worrying_reports
from handover.logs.wording import AnswerCard, answer_card, findings_in_words, flags_in_words
from handover.plans.outlook import Outlook
from handover.schedule.case import PIN
from handover.schedule.explain import conflict
from handover.schedule.plan import Conflict
from hospital.admissions.days import in_words
from hospital.admissions.models import Patient, Placement
from hospital.people.models import Person
from hospital.sites.models import Hospital

SOONEST = ("now", "today", "")
READ_BACK_DAYS = 14  # how long a report that is no emergency waits to be read before it is history


# --- reports that nobody has answered -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Worry:
    """A report that asks for somebody's attention: what it says in a line, and how soon the carer was told to ring."""

    entry: LogEntry
    patient: Patient
    card: AnswerCard
    is_corrected: bool

    @property
    def is_urgent(self) -> bool:
        return self.card.phone == "now"

    @property
    def says(self) -> str:
        """The carer's own words, else what was not as usual, else why the carer was answered so."""
        reasons = (*self.card.reasons, *flags_in_words(self.entry), self.card.headline)
        return self.entry.worries or findings_in_words(self.entry) or reasons[0]


def worries(patients: Iterable[Patient], person: Person, hospital: Hospital, today: date) -> list[Worry]:
    """Reports of the list of worrying reports: "phone now" however old, others of the last days. The urgent come first,
    then those whose carer was told to ring today, the oldest first.

    "Phone now" counts for closed cases too, so all patients that the person sees are asked, not only `patients`.
    """
    since = today - timedelta(days=READ_BACK_DAYS)
    rows = worrying_reports(person, hospital).filter(
        Q(answer=Answer.PHONE_NOW) | Q(on__gte=since, patient__in=[patient.pk for patient in patients])
    )
    found = [Worry(e, e.patient, answer_card(e), bool(e.corrections.all())) for e in rows.prefetch_related("corrections")]
    return sorted(found, key=lambda each: (SOONEST.index(each.card.phone), each.entry.made_at, each.entry.pk))


# --- late things --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Overdue:
    """Something whose last day, or whose promised day, has gone by. `days_late` counts from that day.

    `kind`: "last" (the protocol's last day), "agreed" (a fixed day), or "promised" (still within the protocol's days).
    """

    outlook: Outlook
    event_id: str
    label: str
    kind: str
    was_due_on: date
    days_late: int
    promised_on: date | None

    @property
    def patient(self) -> Patient:
        return self.outlook.patient


def overdue(known: Mapping[int, Outlook], today: date) -> list[Overdue]:
    """What is late by the protocol, by agreement, or by the plan in force; the latest first."""
    found = [each for outlook in known.values() for each in _overdue(outlook, today)]
    return sorted(found, key=lambda each: (each.kind == "promised", -each.days_late, each.patient.pk, each.event_id))


def _overdue(outlook: Outlook, today: date) -> list[Overdue]:
    promised = {due.event_id: due.on for due in outlook.due}
    found = {}
    for late in outlook.late:
        kind = "agreed" if late.rule_id == PIN else "last"
        days = (today - late.last_day).days
        each = Overdue(outlook, late.event_id, outlook.label(late.event_id), kind, late.last_day, days, promised.get(late.event_id))
        if late.event_id not in found or found[late.event_id].days_late < days:
            found[late.event_id] = each
    for due in outlook.due:
        if due.on < today and due.event_id not in found:
            days = (today - due.on).days
            found[due.event_id] = Overdue(outlook, due.event_id, due.label, "promised", due.on, days, due.on)
    return list(found.values())


# --- plans that a person must settle ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Unsettled:
    """A plan that waits for a person, and why: sentences that may be empty for the kind."""

    patient: Patient
    placement: Placement | None
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unsettleds:
    """Plans whose dates collide, those never published for an animal at a carer's, those with a visit on a day on which
    the clinic is closed or the carer away, those that facts have overtaken."""

    colliding: list[Unsettled]
    unpublished: list[Unsettled]
    hindered: list[Unsettled]
    overtaken: list[Unsettled]

    @property
    def count(self) -> int:
        return len(self.colliding) + len(self.unpublished) + len(self.hindered) + len(self.overtaken)


def unsettled(known: Mapping[int, Outlook], today: date, with_reasons: bool = True) -> Unsettleds:
    """What a person must decide or publish. Reasons of collisions cost a search each: leave them out for a count."""
    all_of_them = list(known.values())
    calm = [outlook for outlook in all_of_them if not outlook.is_in_conflict]
    published = [(outlook, _hindrances(outlook, today)) for outlook in calm if outlook.is_published]
    return Unsettleds(
        colliding=[_unsettled(o, _collision(o) if with_reasons else ()) for o in all_of_them if o.is_in_conflict],
        unpublished=[_unsettled(o, o.unplanned) for o in calm if not o.is_published and _waits_at_home(o)],
        hindered=[_unsettled(o, (*why, *o.unplanned, *o.gone)) for o, why in published if why],
        overtaken=[_unsettled(o, (*o.unplanned, *o.gone)) for o, why in published if not why and (o.unplanned or o.gone)],
    )


def _hindrances(outlook: Outlook, today: date) -> tuple[str, ...]:
    """Promised visits that cannot be as things stand, in words. A day that a person fixed is meant so."""
    placement, hospital = here(outlook.patient), outlook.patient.hospital
    fixed = {(pin.event_id, pin.on) for pin in outlook.case.pins}
    coming = [due for due in outlook.due if due.at_clinic and due.on >= today and (due.event_id, due.on) not in fixed]
    closed, found = closed_among([due.on for due in coming], hospital), []
    for due in coming:
        words = {"what": due.label, "day": in_words(due.on), "carer": placement.carer if placement else ""}
        if due.on in closed:
            found.append(_("%(what)s, %(day)s: the clinic is closed.") % words)
        elif is_away(placement, due.on):
            found.append(_("%(what)s, %(day)s: %(carer)s is away.") % words)
    return tuple(found)


def _unsettled(outlook: Outlook, why: tuple[str, ...]) -> Unsettled:
    return Unsettled(outlook.patient, here(outlook.patient), why)


def _waits_at_home(outlook: Outlook) -> bool:
    """Before an animal goes to a carer nobody waits for its plan."""
    placement = here(outlook.patient)
    return bool(placement and placement.carer_id and outlook.unplanned)


def _collision(outlook: Outlook) -> tuple[str, ...]:
    if outlook.instance is None:
        return (outlook.trouble,)
    members = conflict(outlook.instance.problem)
    return tuple(line.words for line in conflict_lines(outlook.instance, Conflict(members))) if members else ()
