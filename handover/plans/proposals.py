"""Today's plan of many animals, held against the plan in force of each: what the night's check computes.

Nothing here writes: a batch goes in as keys, and comes out as plain values that another process can store.
"""

from __future__ import annotations

import hashlib
import json
import logging
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from functools import cache
from typing import Any

from django.db import InterfaceError, OperationalError
from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _

from handover.facts import cases_of, setup_of
from handover.labels.conflicts import conflict_lines
from handover.labels.events import event_label
from handover.plans.actions import change_to_json
from handover.plans.models import Plan, Proposal
from handover.plans.queries import LivePlan, changes_since, live_from, names_of
from handover.protocols.queries import Book, book_of
from handover.schedule.case import Case, Setup
from handover.schedule.changes import Change
from handover.schedule.changes import Kind as ChangeKind
from hospital.admissions.models import Patient
from hospital.sites.models import Hospital

Kind = Proposal.Kind
NO_DATABASE = (OperationalError, InterfaceError)  # concerns every animal, not one
LONGEST_REASON = 200
logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Found:
    """What the check found for one animal: the fields of a Proposal, as plain values."""

    patient_id: int
    kind: str
    plan_id: int | None = None
    facts: str = ""
    days: str = ""
    changes: list = field(default_factory=list)
    late: list = field(default_factory=list)
    conflict: list = field(default_factory=list)
    why: list = field(default_factory=list)


@dataclass(slots=True)
class Checked:
    """A batch that was worked off: what was found, whose proposal of that day still stands, and where the time went."""

    found: list[Found] = field(default_factory=list)
    standing: list[int] = field(default_factory=list)
    reading_s: float = 0.0
    planning_s: float = 0.0


@dataclass(slots=True)
class _Animal:
    """One animal on its way through the check."""

    patient: Patient
    case: Case
    book: Book
    facts: str
    live: LivePlan | None = None
    changes: tuple[Change, ...] = ()

    @property
    def published(self) -> Plan | None:
        current = getattr(self.patient, "current_plan", None)
        return current.plan if current else None

    @property
    def plan_id(self) -> int | None:
        return self.published.pk if self.published else None


def check_batch(patient_ids: Iterable[int], hospital: Hospital, day: date, again: bool = False) -> Checked:
    """Check these animals of one hospital, in a fixed number of queries; those no longer in care are passed over.

    Unless `again`, an animal whose proposal of this day is about the same facts and plan in force is not planned anew.
    What is wrong with one animal's rows is told as that animal's trouble. Raises OperationalError when the database
    itself cannot be read.
    """
    patient_ids, checked, began = list(patient_ids), Checked(), time.perf_counter()
    earlier = {} if again else _earlier(patient_ids, day)
    animals = []
    for each in _read(patient_ids, book_of(hospital), day, checked):
        if earlier.get(each.patient.pk) == (each.facts, each.plan_id):
            checked.standing.append(each.patient.pk)
        else:
            animals.append(each)
    checked.reading_s, began = time.perf_counter() - began, time.perf_counter()
    animals = [each for each in animals if _managed(_plan, each, day, checked)]
    _read_names(animals)
    for each in animals:
        _managed(_tell, each, checked, checked)
    checked.planning_s = time.perf_counter() - began
    return checked


def _earlier(patient_ids: list[int], day: date) -> dict[int, tuple[str, int | None]]:
    """By patient: what its proposal of this day is about."""
    rows = Proposal.objects.filter(patient__in=patient_ids, on=day).values_list("patient_id", "facts", "plan_id")
    return {patient_id: (facts, plan_id) for patient_id, facts, plan_id in rows}


def _read(patient_ids: list[int], book: Book, day: date, checked: Checked) -> list[_Animal]:
    """The animals with their cases. Those that cannot be read are found by halving, so that one never hides the others."""
    try:
        return _read_together(patient_ids, book, day)
    except NO_DATABASE:
        raise
    except Exception as wrong:
        if len(patient_ids) == 1:
            checked.found.append(_unreadable(patient_ids[0], wrong))
            return []
        half = len(patient_ids) // 2
        return [each for part in (patient_ids[:half], patient_ids[half:]) for each in _read(part, book, day, checked)]


def _read_together(patient_ids: list[int], book: Book, day: date) -> list[_Animal]:
    rows = Patient.objects.in_care().filter(pk__in=patient_ids).select_related("hospital", "species")
    patients = list(rows.order_by("pk"))
    cases = cases_of(patients)
    adoptions = sorted(book.adoptions.values())
    return [_Animal(each, cases[each.pk], book, facts_name(cases[each.pk], adoptions, setup_of(each, day))) for each in patients]


def _managed(step: Callable, animal: _Animal, given: Any, checked: Checked) -> bool:
    """Whether the step was done; if not, why is told as this animal's trouble."""
    try:
        step(animal, given)
    except NO_DATABASE:
        raise
    except Exception as wrong:
        checked.found.append(_unreadable(animal.patient.pk, wrong))
        return False
    return True


def _unreadable(patient_id: int, wrong: Exception) -> Found:
    logger.info("patient %s cannot be planned", patient_id, exc_info=wrong)
    what = f"{type(wrong).__name__}: {wrong}".strip(": ")[:LONGEST_REASON]
    return Found(patient_id, Kind.TROUBLE, why=[_("Its records cannot be read or planned (%(what)s).") % {"what": what}])


def _plan(animal: _Animal, day: date) -> None:
    animal.live = live_from(animal.patient, animal.case, animal.book, day)
    animal.changes = changes_since(animal.published, animal.live)


def _read_names(animals: list[_Animal]) -> None:
    """The words of published events that are planned no more, for all animals in one query; the others name themselves."""
    prefetch_related_objects([each.published for each in animals if each.published and _names_what_is_gone(each)], "dates")


def _names_what_is_gone(animal: _Animal) -> bool:
    assert animal.live is not None
    known = animal.live.instance.meaning if animal.live.instance else {}
    told = (name for change in animal.changes for name in (change.event_id, *(cause.event_id for cause in change.causes)))
    return any(name and name not in known for name in told)


def _tell(animal: _Animal, checked: Checked) -> None:
    live = animal.live
    assert live is not None
    names = names_of(live, animal.published if _names_what_is_gone(animal) else None)
    conflict = conflict_lines(live.instance, live.conflict) if live.instance and live.conflict else []
    found = Found(
        patient_id=animal.patient.pk,
        kind=str(kind_of(live, animal.published, animal.changes)),
        plan_id=animal.plan_id,
        facts=animal.facts,
        days=live.digest,
        changes=[change_to_json(change, names) for change in animal.changes],
        late=_late(live),
        conflict=list(live.conflict.members) if live.conflict else [],
        why=[live.trouble] if live.trouble else [line.words for line in conflict],
    )
    checked.found.append(found)


def kind_of(live: LivePlan, published: Plan | None, differences: tuple[Change, ...]) -> Proposal.Kind:
    """What a person should call it. A thing that was done on another day is past: no day that is to come would change."""
    if live.instance is None:
        return Kind.TROUBLE
    if live.conflict:
        return Kind.CONFLICT
    if all(change.kind is ChangeKind.DONE for change in differences):
        return Kind.AGREED
    return Kind.CHANGED if published else Kind.FIRST


def _late(live: LivePlan) -> list[dict[str, str]]:
    """What is late, each thing once, since its earliest last day."""
    if live.instance is None:
        return []
    days: dict[str, date] = {}
    for late in live.instance.late:
        days[late.event_id] = min(late.last_day, days.get(late.event_id, late.last_day))
    meaning = live.instance.meaning
    return [{"event_id": name, "what": event_label(meaning[name]), "last_day": day.isoformat()} for name, day in days.items()]


# --- whether a proposal still holds -------------------------------------------------------------------------------


def facts_name(case: Case, adoptions: Iterable[int], setup: Setup) -> str:
    """A short name for everything that decides a plan: facts, decisions, the plan in force, rules in force, closed days.

    Two equal names mean the same plan, as long as the software is the same.
    """
    content = [_plain(case), _plain(setup), sorted(adoptions)]
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()[:16]


def still_holds(proposal: Proposal, patient: Patient, case: Case, adoptions: Iterable[int], today: date) -> bool:
    """Whether a proposal of today is still about the plan in force and the facts as they are now. Asks the database nothing
    if `case` was read with its patient. One without facts, because they could not be read, holds for its day."""
    if proposal.on != today:
        return False
    if not proposal.facts:
        return True
    current = getattr(patient, "current_plan", None)
    if proposal.plan_id != (current.plan_id if current else None):
        return False
    return proposal.facts == facts_name(case, adoptions, setup_of(patient, today))


def _plain(value: Any) -> Any:
    """A value of the planning core as lists and text, in an order that is the same in every process."""
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    if isinstance(value, frozenset):
        return sorted(map(str, value))
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return sorted((str(key), _plain(each)) for key, each in value.items())
    return [_plain(getattr(value, name)) for name in _field_names(type(value))]


@cache
def _field_names(kind: type) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind))
