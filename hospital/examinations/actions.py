"""Write down what was seen, and at a recheck also what was done there and then."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.actions import record_weight
from hospital.admissions.days import locked, refuse_day
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import refuse_unseen, save_edit
from hospital.examinations.models import Examination, Problem, WoundMark
from hospital.examinations.queries import before
from hospital.examinations.vocabulary import VIEWS_OF
from hospital.people.models import Person
from hospital.procedures import actions as procedures
from hospital.procedures.models import Bandage, Closure, Implant
from hospital.procedures.queries import is_vet

NOON = time(12)


@transaction.atomic
def record_examination(
    patient: Patient, *, by: Person, weight_g: Decimal | None = None, is_sure: bool = False, problems: Iterable[str] = (), **fields: Any
) -> Examination:
    """Write down an examination, the problems that it found, and the weight if the animal was weighed."""
    patient = locked(patient)
    refuse_day(patient, fields["examined_on"], field="examined_on")
    _refuse_for_vets(patient, by, **fields)
    examination = Examination(patient=patient, examined_by=by, **fields)
    examination.full_clean()
    examination.save()
    for name in problems:
        open_problem(patient, by=by, name=name, found_on=examination.examined_on)
    if weight_g is not None:
        weighed_at = _moment_on(patient, examination.examined_on)
        with _said_at("examined_on", besides=("weight_g",)):
            record_weight(
                patient, by=by, now=now(), weight_g=weight_g, weighed_at=weighed_at, is_sure=is_sure
            )
    return examination


@transaction.atomic
def record_recheck(
    patient: Patient,
    *,
    by: Person,
    examined_on: date,
    closures_out: Iterable[Closure] = (),
    bandages_changed: Iterable[Bandage] = (),
    bandages_off: Iterable[Bandage] = (),
    implants_out: Iterable[Implant] = (),
    milestones: Iterable[str] = (),
    **seen: Any,
) -> Examination:
    """A recheck with everything that was done at it, all on that day: all of it is written, or nothing."""
    kind = Examination.Kind.RECHECK
    examination = record_examination(patient, by=by, kind=kind, examined_on=examined_on, **seen)
    with _said_at("examined_on"):
        for closure in list(closures_out):
            procedures.take_closure_out(closure, removed_on=examined_on)
        for bandage in bandages_changed:
            procedures.change_bandage(bandage, by=by, changed_on=examined_on, note="")
        for bandage in bandages_off:
            procedures.take_bandage_off(bandage, removed_on=examined_on)
        for implant in list(implants_out):
            procedures.take_implant_out(implant, removed_on=examined_on)
        for event in milestones:
            procedures.record_milestone(patient, by=by, event=event, happened_on=examined_on)
    return examination


@transaction.atomic
def edit_examination(
    examination: Examination, *, by: Person, seen_version: int, **fields: Any
) -> Examination:
    """Correct an examination. A vet's decision that stands in it stays as it is, whoever corrects the rest."""
    patient = locked(examination.patient)
    was = Examination.objects.values_list("decision", flat=True).get(pk=examination.pk)
    refuse_day(patient, fields["examined_on"], field="examined_on")
    _refuse_for_vets(patient, by, **fields | ({"decision": ""} if fields.get("decision") == was else {}))
    for name, value in fields.items():
        setattr(examination, name, value)
    return save_edit(examination, seen_version=seen_version)


# --- marks on the drawing ---------------------------------------------------------------------------------------------


@transaction.atomic
def mark(examination: Examination, *, by: Person, number: int | None = None, **fields: Any) -> WoundMark:
    """Set a mark on the drawing of an examination: a wound seen before under its number, a new one under the next."""
    patient = locked(examination.patient)
    if fields.get("view") not in VIEWS_OF.get(patient.species.group.body_plan, ()):
        raise ValidationError(_("There is no drawing of such an animal from this side."))
    numbers = WoundMark.objects.filter(examination__patient=patient).values_list("number", flat=True)
    made = WoundMark(examination=examination, number=number or max(numbers, default=0) + 1, **fields)
    made.full_clean()
    made.save()
    return made


@transaction.atomic
def unmark(made: WoundMark, *, by: Person, seen_version: int) -> None:
    """Take a mark away that was set by mistake. The history of changes keeps it."""
    locked(made.examination.patient)
    refuse_unseen(WoundMark.objects.filter(pk=made.pk).first(), seen_version)
    made.delete()


@transaction.atomic
def take_marks_over(examination: Examination, *, by: Person) -> list[WoundMark]:
    """The marks of the examination before, under their numbers, to be looked at again. Those that are there stay as they are."""
    locked(examination.patient)
    earlier = before(examination)
    there = set(examination.marks.values_list("number", flat=True))
    rows = [each for each in earlier.marks.all() if each.number not in there] if earlier else []
    if not rows:
        raise ValidationError(_("No earlier marks are left to take over."))
    for each in rows:
        each.pk, each.version, each.examination = None, 1, examination
        each.save(force_insert=True)
    return rows


# --- problems ---------------------------------------------------------------------------------------------------------


@transaction.atomic
def open_problem(patient: Patient, *, by: Person, name: str, found_on: date, note: str = "") -> Problem:
    """Put something on the list of what is wrong. The same one is not opened twice."""
    patient = locked(patient)
    refuse_day(patient, found_on, field="found_on")
    if patient.problems.filter(closed_on=None, name__iexact=name).exists():
        raise ValidationError(_("“%(name)s” is on the list already.") % {"name": name})
    problem = Problem(patient=patient, name=name, note=note, found_on=found_on, found_by=by)
    problem.full_clean()
    problem.save()
    return problem


@transaction.atomic
def edit_problem(problem: Problem, *, by: Person, seen_version: int, **fields: Any) -> Problem:
    """Call it by another name, or correct its day: a diagnosis grows clearer."""
    patient = locked(problem.patient)
    refuse_day(patient, fields["found_on"], field="found_on")
    for name, value in fields.items():
        setattr(problem, name, value)
    return save_edit(problem, seen_version=seen_version)


@transaction.atomic
def close_problem(problem: Problem, *, by: Person, seen_version: int, closed_on: date, close_reason: str) -> Problem:
    """It is over, or was something else."""
    patient = locked(problem.patient)
    refuse_day(patient, closed_on, field="closed_on")
    if closed_on < problem.found_on:
        raise ValidationError({"closed_on": _("This is before it was found.")})
    problem.closed_on, problem.closed_by, problem.close_reason = closed_on, by, close_reason
    return save_edit(problem, seen_version=seen_version)


def _refuse_for_vets(patient: Patient, by: Person, *, kind: str, decision: str = "", **_rest: Any) -> None:
    if is_vet(by, patient):
        return
    if kind == Examination.Kind.RELEASE:
        raise ValidationError({"kind": _("A release assessment is a vet's judgement. Choose “Other”, or ask a vet.")})
    if decision in (Examination.Decision.EUTHANASE, Examination.Decision.TRANSFER):
        raise ValidationError({"decision": _("This is a vet's decision. Write what you saw, and ask a vet.")})


def _moment_on(patient: Patient, on: date) -> datetime:
    """Now, or noon of an earlier day."""
    if on == today(patient.hospital.zone):
        return now()
    return datetime.combine(on, NOON, ZoneInfo(patient.hospital.zone))


@contextmanager
def _said_at(field: str, besides: tuple[str, ...] = ()) -> Iterator[None]:
    """What a smaller action refuses at a field of its own is said at `field` of this page."""
    try:
        yield
    except ValidationError as refusal:
        if set(getattr(refusal, "error_dict", {})) & set(besides):
            raise
        raise ValidationError({field: refusal.messages}) from refusal
