"""Write down a sample and its result. A correction keeps the former value in the history of changes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import locked, locked_both, refuse_day
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.edits import save_edit
from hospital.labs.models import Finding, Sample
from hospital.people.models import Person


@transaction.atomic
def record_sample(
    patient: Patient, *, by: Person, findings: Sequence[dict[str, Any]] = (), key: UUID | None = None, **fields: Any
) -> Sample:
    """A sample, with its result if there is one already. A `key` that was used before means the same form once more."""
    patient = locked(patient)
    if key and (before := patient.samples(manager="written").filter(key=key).first()):
        return before
    sample = Sample(patient=patient, taken_by=by, **fields)
    sample.key = key or sample.key
    _refuse_days(sample)
    _refuse_half(sample, findings)
    sample.full_clean()
    sample.save()
    _put(sample, findings)
    return sample


@transaction.atomic
def edit_sample(sample: Sample, *, by: Person, seen_version: int, findings: Sequence[dict[str, Any]], **fields: Any) -> Sample:
    """The result of a sample that waited, or a correction."""
    locked(sample.patient)
    for name, value in fields.items():
        setattr(sample, name, value)
    _refuse_days(sample)
    _refuse_half(sample, findings)
    save_edit(sample, seen_version=seen_version)
    _put(sample, findings)
    return sample


@transaction.atomic
def withdraw_sample(sample: Sample, *, by: Person, why: str, to: Patient | None = None) -> Sample:
    """Mark a sample as a mistake; it stays on record. `to`: the animal that it was taken from, which gets it with all that was found."""
    right = locked_both(sample.patient, to)
    held = Sample.written.select_for_update(of=("self",)).get(pk=sample.pk)
    held.withdraw(by=by, at=now(), why=why)
    if right:
        refuse_day(right, held.taken_on, field="to")
        held.moved_to = _copy(held, right)
    return save_edit(held, seen_version=held.version)


def _copy(sample: Sample, to: Patient) -> Sample:
    """The sample under another animal. Who took it stays as it was."""
    copied = ("kind", "site", "taken_on", "taken_by", "laboratory", "number", "question", "resulted_on", "ranges_of", "conclusion")
    made = Sample(patient=to, **{name: getattr(sample, name) for name in copied})
    made.full_clean()
    made.save()
    for row in sample.findings.all():
        row.pk, row.sample = None, made
        row.save(force_insert=True)
    return made


def _refuse_days(sample: Sample) -> None:
    refuse_day(sample.patient, sample.taken_on, field="taken_on")
    result: date | None = sample.resulted_on
    if result:
        refuse_day(sample.patient, result, field="resulted_on")
        if result < sample.taken_on:
            raise ValidationError({"resulted_on": _("This is before the sample was taken.")})


def _refuse_half(sample: Sample, findings: Sequence[dict[str, Any]]) -> None:
    """A result has a day and says something."""
    if findings and not sample.resulted_on:
        raise ValidationError({"resulted_on": _("Give the day of the result.")})
    if sample.resulted_on and not findings and not sample.conclusion:
        raise ValidationError({"conclusion": _("Write what was found, in the lines or here.")})


def _put(sample: Sample, findings: Sequence[dict[str, Any]]) -> None:
    """Each line in its place: one that was there is changed, so that the history shows what it was."""
    there = {each.position: each for each in sample.findings.all()}
    for position, said in enumerate(findings, start=1):
        row = there.pop(position, None) or Finding(sample=sample, position=position)
        for name, value in {"value": None, "words": "", "unit": "", "low": None, "high": None, **said}.items():
            setattr(row, name, value)
        row.full_clean()
        row.save()
    for row in there.values():
        row.delete()
