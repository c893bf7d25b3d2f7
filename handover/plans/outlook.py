"""How many animals stand against their plans, without planning anew: what is still to come of the plan in force, what is
late, and whether anything can be planned at all. For boards and lists."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from handover.facts import cases_of, setup_of
from handover.labels.events import event_label, name_of
from handover.protocols.queries import Book, book_of
from handover.schedule.case import Case, Instance, Late
from handover.schedule.changes import ASIDE
from handover.schedule.library import BadRule
from handover.schedule.network import can_be_planned
from handover.schedule.problem import CLINIC, BadProblem, Event
from handover.schedule.protocol import problem_for
from hospital.admissions.models import Patient


@dataclass(frozen=True, slots=True)
class Due:
    """An event of the plan in force that nothing has fulfilled yet, and its promised day."""

    event_id: str
    event: str
    label: str
    on: date
    at_clinic: bool
    minutes: int
    bring: str


@dataclass(frozen=True, slots=True)
class Outlook:
    """One animal. `instance` is None and `trouble` a sentence when its facts and rules make no problem at all.

    `due` are the promises that still stand, the next one first; `unplanned` the names of events that today's facts ask
    for and the plan in force knows nothing of; `gone` those of it that are asked for no more.
    """

    patient: Patient
    case: Case
    instance: Instance | None
    trouble: str
    is_published: bool
    is_in_conflict: bool
    due: tuple[Due, ...] = ()
    late: tuple[Late, ...] = ()
    unplanned: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()

    def label(self, event_id: str) -> str:
        return event_label(self.instance.meaning[event_id]) if self.instance else event_id


def outlooks(patients: Iterable[Patient], today: date) -> dict[int, Outlook]:
    """By patient, in a fixed number of queries for each hospital. The patients keep what was read for them."""
    patients = list(patients)
    cases = cases_of(patients)
    books = {hospital: book_of(hospital) for hospital in {patient.hospital for patient in patients}}
    return {each.pk: _outlook(each, cases[each.pk], books[each.hospital], today) for each in patients}


def _outlook(patient: Patient, case: Case, book: Book, today: date) -> Outlook:
    is_published = getattr(patient, "current_plan", None) is not None
    try:
        instance = problem_for(case, book.rules, book.gates, setup_of(patient, today))
    except (BadRule, BadProblem) as trouble:
        return Outlook(patient, case, None, str(trouble), is_published, is_in_conflict=True)
    opened = [e for e in instance.problem.events if not e.done and not e.id.startswith(ASIDE)]
    return Outlook(
        patient,
        case,
        instance,
        "",
        is_published,
        is_in_conflict=not can_be_planned(instance.problem),
        due=_due(instance, opened, case.previous),
        late=instance.late,
        unplanned=_unplanned(instance, opened, case.previous),
        gone=_gone(patient, instance) if is_published else (),
    )


def _due(instance: Instance, opened: list[Event], days: Mapping[str, date]) -> tuple[Due, ...]:
    due = [_promise(instance, event, days[event.id]) for event in opened if event.id in days]
    return tuple(sorted(due, key=lambda each: (each.on, each.label)))


def _promise(instance: Instance, event: Event, on: date) -> Due:
    meaning = instance.meaning[event.id]
    name = name_of(meaning.event)
    return Due(event.id, meaning.event, event_label(meaning), on, event.place == CLINIC, name.minutes, name.bring)


def _unplanned(instance: Instance, opened: list[Event], days: Mapping[str, date]) -> tuple[str, ...]:
    """Labels of what is new. A chain that only grew longer is nothing new: its next link has a day."""
    known = {_stem(instance, name) for name in days if name in instance.meaning}
    fresh = (event for event in opened if event.id not in days and _stem(instance, event.id) not in known)
    return tuple(dict.fromkeys(event_label(instance.meaning[event.id]) for event in fresh))


def _stem(instance: Instance, event_id: str) -> tuple[str, str]:
    meaning = instance.meaning[event_id]
    return meaning.event, meaning.subject


def _gone(patient: Patient, instance: Instance) -> tuple[str, ...]:
    """Names of what the plan in force still had to come and today's facts ask for no more; not links of a chain that
    goes on."""
    now = {event.id for event in instance.problem.events}
    stems = {(meaning.event, meaning.subject) for meaning in instance.meaning.values()}
    then = (e["id"] for e in patient.current_plan.plan.problem["events"] if not e.get("done"))
    names = (name for name in then if name not in now and not name.startswith(ASIDE))
    lost = (name for name in names if _parts(name) not in stems)
    return tuple(dict.fromkeys(name_of(name.partition(":")[0]).label for name in lost))


def _parts(event_id: str) -> tuple[str, str]:
    """Event and subject of an id; the number of a link is left out."""
    event, *rest = event_id.split(":")
    return event, next((part for part in rest if not part.isdecimal()), "")
