"""Write down what was done, what went on or in, and when it came off or out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import in_words, locked, refuse_before, refuse_day
from hospital.admissions.models import Patient
from hospital.edits import save_edit
from hospital.people.models import Person
from hospital.procedures.models import Bandage, BandageChange, Closure, Implant, Milestone, Procedure
from hospital.procedures.queries import is_vet

RELEASE_ASSESSMENT = "release_assessment"
Row = Mapping[str, Any]
WENT_ON = {Closure: "closed_on", Bandage: "applied_on", Implant: "placed_on"}


@transaction.atomic
def record_procedure(
    patient: Patient,
    *,
    by: Person,
    closures: Iterable[Row],
    bandages: Iterable[Row],
    implants: Iterable[Row],
    key: UUID | None = None,
    **fields: Any,
) -> Procedure:
    """Write down a procedure that was done, with all that it left on or in the animal, and who says so.

    A `key` that was used before for this patient means the same form once more: the procedure it made is the answer.
    """
    patient = locked(patient)
    if key and (before := patient.procedures.filter(key=key).first()):
        return before
    refuse_day(patient, fields["done_on"], field="done_on")
    procedure = Procedure(patient=patient, recorded_by=by, **fields)
    procedure.key = key or procedure.key
    procedure.full_clean()
    procedure.save()
    _put_rows(procedure, {Closure: closures, Bandage: bandages, Implant: implants})
    return procedure


@transaction.atomic
def edit_procedure(
    procedure: Procedure,
    *,
    seen_version: int,
    closures: Iterable[Row],
    bandages: Iterable[Row],
    implants: Iterable[Row],
    **fields: Any,
) -> Procedure:
    """Correct a procedure and its rows. A day that changes takes the days of what went on that day with it."""
    patient = locked(procedure.patient)
    refuse_day(patient, fields["done_on"], field="done_on")
    for name, value in fields.items():
        setattr(procedure, name, value)
    save_edit(procedure, seen_version=seen_version)
    _put_rows(procedure, {Closure: closures, Bandage: bandages, Implant: implants})
    return procedure


def _put_rows(procedure: Procedure, rows_of: Mapping[type[models.Model], Iterable[Row]]) -> None:
    for model, rows in rows_of.items():
        for row in rows:
            _put_row(procedure, model, row)


def _put_row(procedure: Procedure, model: type[models.Model], row: Row) -> None:
    """Make, change or take away one row, as its `row_id`, `seen_version` and `is_mistake` say."""
    wanted = {
        name: value for name, value in row.items() if name not in ("row_id", "seen_version", "is_mistake")
    }
    kept = model.objects.filter(pk=row.get("row_id"), procedure=procedure).first()
    if row.get("is_mistake"):
        return _take_away(kept)
    thing = kept or model(patient=procedure.patient, procedure=procedure)
    for name, value in (wanted | {WENT_ON[model]: procedure.done_on}).items():
        setattr(thing, name, value)
    refuse_removal(procedure.patient, procedure.done_on, thing.removed_on)
    if kept:
        save_edit(thing, seen_version=row["seen_version"])
    else:
        thing.full_clean()
        thing.save()


def _take_away(row: models.Model | None) -> None:
    """Delete a row that was written by mistake. A bandage that was changed was no mistake."""
    if row is None:
        return
    if isinstance(row, Bandage) and row.changes.exists():
        raise ValidationError(
            _(
                "The bandage “%(site)s” has recorded changes, so it was there. Give the day it came off instead."
            )
            % {"site": row.site}
        )
    row.delete()


def refuse_removal(patient: Patient, went_on: date, removed_on: date | None) -> None:
    """Refuse a day off or out that lies in the future or before the day on or in."""
    if removed_on is None:
        return
    refuse_day(patient, removed_on, field="removed_on")
    refuse_before(
        removed_on, went_on, _("It cannot come off before it went on, on %(day)s."), field="removed_on"
    )


def _take_off(row: Closure | Bandage | Implant, removed_on: date) -> models.Model:
    """Give a row its day off, once. A second person is told what the first one wrote."""
    patient = locked(row.patient)
    row.refresh_from_db()
    if row.removed_on:
        raise ValidationError(
            _("Somebody has already recorded this, for %(day)s. Correct it there if that is wrong.")
            % {"day": in_words(row.removed_on)}
        )
    refuse_removal(patient, getattr(row, WENT_ON[type(row)]), removed_on)
    row.removed_on = removed_on
    return save_edit(row, seen_version=row.version)


@transaction.atomic
def take_closure_out(closure: Closure, *, removed_on: date) -> Closure:
    """Sutures or staples of one closure are out."""
    return _take_off(closure, removed_on)


@transaction.atomic
def take_bandage_off(bandage: Bandage, *, removed_on: date) -> Bandage:
    """A bandage came off for good."""
    last = bandage.changes.last()
    if last:
        refuse_before(removed_on, last.changed_on, _("It was changed later, on %(day)s."), field="removed_on")
    return _take_off(bandage, removed_on)


@transaction.atomic
def take_implant_out(implant: Implant, *, removed_on: date) -> Implant:
    """An implant is out."""
    return _take_off(implant, removed_on)


@transaction.atomic
def change_bandage(bandage: Bandage, *, by: Person, changed_on: date, note: str) -> BandageChange:
    """A bandage was looked at or changed; it stays on."""
    patient = locked(bandage.patient)
    bandage.refresh_from_db()
    if bandage.removed_on:
        off = _("This bandage came off on %(day)s. Record a new one instead.")
        raise ValidationError(off % {"day": in_words(bandage.removed_on)})
    refuse_day(patient, changed_on, field="changed_on")
    refuse_before(changed_on, bandage.applied_on, _("It was put on later, on %(day)s."), field="changed_on")
    change = BandageChange(patient=patient, bandage=bandage, changed_on=changed_on, changed_by=by, note=note)
    change.full_clean()
    change.save()
    return change


@transaction.atomic
def put_bandage_on(patient: Patient, *, kind: str, site: str, applied_on: date, **layers: str) -> Bandage:
    """A new bandage, dressing or splint without an operation; `layers` are those of models.LAYERS."""
    patient = locked(patient)
    refuse_day(patient, applied_on, field="applied_on")
    bandage = Bandage(patient=patient, kind=kind, site=site, applied_on=applied_on, **layers)
    bandage.full_clean()
    bandage.save()
    return bandage


@transaction.atomic
def edit_bandage(bandage: Bandage, *, seen_version: int, **fields: Any) -> Bandage:
    """Correct what was written about a bandage."""
    patient = locked(bandage.patient)
    refuse_day(patient, fields["applied_on"], field="applied_on")
    first = bandage.changes.first()
    if first and first.changed_on < fields["applied_on"]:
        raise ValidationError(
            {"applied_on": _("It was changed earlier, on %(day)s.") % {"day": in_words(first.changed_on)}}
        )
    refuse_removal(patient, fields["applied_on"], fields["removed_on"])
    for name, value in fields.items():
        setattr(bandage, name, value)
    return save_edit(bandage, seen_version=seen_version)


@transaction.atomic
def record_milestone(
    patient: Patient, *, by: Person, event: str, happened_on: date, note: str = ""
) -> Milestone:
    """Something happened that the care plan counts from. The same event twice on one day is one too many."""
    patient = locked(patient)
    refuse_day(patient, happened_on, field="happened_on")
    if event == RELEASE_ASSESSMENT and not is_vet(by, patient):
        raise ValidationError({"event": _("Whether it is fit to go is a vet's judgement.")})
    if patient.milestones.filter(event=event, happened_on=happened_on).exists():
        raise ValidationError({"event": _("This is already recorded for that day.")})
    milestone = Milestone(patient=patient, recorded_by=by, event=event, happened_on=happened_on, note=note)
    milestone.full_clean()
    milestone.save()
    return milestone


@transaction.atomic
def take_back(row: Milestone | BandageChange) -> None:
    """Remove something that was recorded by mistake; the audit keeps what it said."""
    locked(row.patient)
    row.delete()
