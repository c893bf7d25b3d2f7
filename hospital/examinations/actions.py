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
from hospital.edits import save_edit
from hospital.examinations.models import Examination
from hospital.people.models import Person
from hospital.procedures import actions as procedures
from hospital.procedures.models import Bandage, Closure, Implant
from hospital.procedures.queries import is_vet

NOON = time(12)


@transaction.atomic
def record_examination(
    patient: Patient, *, by: Person, weight_g: Decimal | None = None, is_sure: bool = False, **fields: Any
) -> Examination:
    """Write down an examination, and the weight if the animal was weighed."""
    patient = locked(patient)
    refuse_day(patient, fields["examined_on"], field="examined_on")
    _refuse_release(patient, by, fields["kind"])
    examination = Examination(patient=patient, examined_by=by, **fields)
    examination.full_clean()
    examination.save()
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
    """Correct an examination."""
    patient = locked(examination.patient)
    refuse_day(patient, fields["examined_on"], field="examined_on")
    _refuse_release(patient, by, fields["kind"])
    for name, value in fields.items():
        setattr(examination, name, value)
    return save_edit(examination, seen_version=seen_version)


def _refuse_release(patient: Patient, by: Person, kind: str) -> None:
    if kind == Examination.Kind.RELEASE and not is_vet(by, patient):
        raise ValidationError(
            {"kind": _("A release assessment is a vet's judgement. Choose “Other”, or ask a vet.")}
        )


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
