"""The check of every live case: planned anew in batches, written down as proposals, and told by hospital.

Safe to run twice, to stop and to go on with: each batch is one transaction, and what a day's proposal already says about
the same facts and the same plan in force is not worked out again.
"""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby
from typing import Any, NamedTuple

from django.db import DatabaseError, transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from handover.plans.models import Proposal
from handover.plans.proposals import Checked, Found
from handover.plans.workers import Lost, worked_off
from hospital.admissions.models import PatientQuerySet, Placement
from hospital.clock import now, today
from hospital.sites.models import Hospital

Kind = Proposal.Kind
BATCH = 200  # animals read and written together
MOST_DEATHS = 50  # of processes; beyond that something is wrong with the machine, and searching on helps nobody
JOB = "handover.plans.proposals:check_batch"


class Piece(NamedTuple):
    """The arguments of one call of `check_batch`."""

    patient_ids: list[int]
    hospital: Hospital
    day: date
    again: bool


@dataclass(slots=True)
class Unchecked:
    """Animals that could not be checked, and why."""

    patient_ids: list[int]
    why: str


@dataclass(slots=True)
class Run:
    """How far the check has come. `days`: by hospital the day that it is made for, the one on which it began there."""

    total: int
    days: dict[int, date] = field(default_factory=dict)
    checked: int = 0
    standing: int = 0  # of those checked: nothing had changed since an earlier check of this day
    unchecked: list[Unchecked] = field(default_factory=list)
    reading_s: float = 0.0
    planning_s: float = 0.0
    writing_s: float = 0.0
    deaths: int = 0

    @property
    def done(self) -> int:
        return self.checked + sum(len(each.patient_ids) for each in self.unchecked)


def check_cases(patients: PatientQuerySet, *, workers: int = 1, batch: int = BATCH, again: bool = False) -> Iterator[Run]:
    """Check these live cases, each on its hospital's own day, and write down a proposal for each; yields after each batch.

    Reads nothing but facts and writes nothing but proposals. Stop it at any time: what was yielded is kept.
    """
    pieces = deque(_pieces(patients, batch, again))
    run = Run(sum(len(piece.patient_ids) for piece in pieces), {piece.hospital.pk: piece.day for piece in pieces})
    yield run
    for piece, answer in worked_off(JOB, pieces, min(workers, len(pieces))):
        if isinstance(answer, Lost):
            answer = _lost(run, piece, answer, pieces)
        if answer is not None:
            _write(run, piece, answer)
        yield run


def _pieces(patients: PatientQuerySet, batch: int, again: bool) -> Iterator[Piece]:
    """Batches by hospital; animals of one carer lie side by side, because they are planned with an eye on each other."""
    here = Placement.objects.open().filter(patient=OuterRef("pk"))
    rows = patients.in_care().annotate(carer=here.values("carer")[:1]).order_by("hospital", "carer", "pk")
    hospitals = Hospital.objects.in_bulk()
    for hospital_id, animals in groupby(rows.values_list("hospital", "pk"), key=lambda row: row[0]):
        hospital, ids = hospitals[hospital_id], [pk for _, pk in animals]
        day = today(hospital.zone)
        yield from (Piece(ids[start : start + batch], hospital, day, again) for start in range(0, len(ids), batch))


def _lost(run: Run, piece: Piece, lost: Lost, pieces: deque) -> Checked | None:
    """A batch whose process died is tried again in halves, until the one animal is found that it dies of."""
    run.deaths += lost.has_died
    if not lost.has_died or run.deaths > MOST_DEATHS:
        run.unchecked.append(Unchecked(piece.patient_ids, lost.why))
        return None
    if len(piece.patient_ids) == 1:
        sentence = _("The program that plans it broke off (%(why)s).") % {"why": lost.why}
        return Checked(found=[Found(piece.patient_ids[0], Kind.TROUBLE, why=[sentence])])
    half = len(piece.patient_ids) // 2
    pieces.extendleft(piece._replace(patient_ids=part) for part in (piece.patient_ids[half:], piece.patient_ids[:half]))
    return None


def _write(run: Run, piece: Piece, checked: Checked) -> None:
    began = time.perf_counter()
    try:
        store(checked.found, piece.hospital, piece.day)
    except DatabaseError as wrong:
        run.unchecked.append(Unchecked(piece.patient_ids, f"{type(wrong).__name__}: {wrong}"))
        return
    run.checked += len(piece.patient_ids)
    run.standing += len(checked.standing)
    run.reading_s += checked.reading_s
    run.planning_s += checked.planning_s
    run.writing_s += time.perf_counter() - began


@transaction.atomic
def store(found: Iterable[Found], hospital: Hospital, day: date) -> None:
    """Write down what was found in place of what an earlier check had found for the same animals."""
    at = now()
    rows = [Proposal(hospital=hospital, on=day, made_at=at, **_fields(each)) for each in found]
    columns = [each.name for each in Proposal._meta.concrete_fields if each.name not in ("id", "patient")]
    Proposal.objects.bulk_create(rows, update_conflicts=True, unique_fields=["patient"], update_fields=columns)


def written(patients: PatientQuerySet, days: Mapping[int, date]) -> int:
    """How many of these cases in care have a proposal of the run's day, from this run or an earlier one."""
    cases = Proposal.objects.filter(patient__in=patients.in_care().order_by().values("pk"))
    return sum(cases.filter(hospital=hospital, on=day).count() for hospital, day in days.items())


def _fields(found: Found) -> dict[str, Any]:
    return {name: getattr(found, name) for name in Found.__slots__}


def forget_closed_cases() -> int:
    """Take away the proposals of animals that are no longer in care; answers how many."""
    return Proposal.objects.filter(patient__closed_on__isnull=False).delete()[0]


# --- what was found -----------------------------------------------------------------------------------------------


@dataclass(slots=True)
class Tally:
    """One hospital's proposals of its day: how many of each kind, how many animals with something late, and all those
    that a person should look at."""

    hospital: Hospital
    day: date
    counts: Counter[str] = field(default_factory=Counter)
    late: int = 0
    told: list[Proposal] = field(default_factory=list)

    @property
    def checked(self) -> int:
        return sum(self.counts.values())

    @property
    def needs_a_person(self) -> bool:
        return any(is_for_a_person(each) for each in self.told)


def tallies(patients: PatientQuerySet, days: Mapping[int, date]) -> list[Tally]:
    """What the proposals say about these animals in care, by hospital in the order of their names. `days`: those of the run,
    which may have gone on beyond midnight."""
    found = []
    for hospital in Hospital.objects.filter(pk__in=list(days)).order_by("name"):
        tally = Tally(hospital, days[hospital.pk])
        for proposal in _of_the_day(patients, tally):
            tally.counts[proposal.kind] += 1
            tally.late += bool(proposal.late)
            if proposal.kind != Kind.AGREED or proposal.late:
                tally.told.append(proposal)
        found.append(tally)
    return found


def _of_the_day(patients: PatientQuerySet, tally: Tally) -> QuerySet[Proposal]:
    at_home = Placement.objects.open().filter(patient=OuterRef("patient"), carer__isnull=False)
    rows = Proposal.objects.filter(patient__in=patients.in_care().order_by().values("pk"), hospital=tally.hospital, on=tally.day)
    return rows.select_related("patient__species").annotate(is_at_home=Exists(at_home)).order_by("patient__case_number")


def is_for_a_person(proposal: Proposal) -> bool:
    """Whether somebody must decide or publish. Before an animal goes to a carer nobody waits for its first plan."""
    if proposal.late or proposal.kind in (Kind.CHANGED, Kind.CONFLICT, Kind.TROUBLE):
        return True
    return proposal.kind == Kind.FIRST and proposal.is_at_home
