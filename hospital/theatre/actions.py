"""Put an animal on the day's list, begin, read, let it wake, and say that it has recovered."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import admitted_on, in_words, locked
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import refuse_unseen, save_edit
from hospital.people.models import Person
from hospital.procedures.models import Procedure
from hospital.rules.anaesthesia import mark
from hospital.theatre.models import FIGURES, SAID, Anaesthetic, Stage, TheatreReading

CLOCKS_MAY_DIFFER = timedelta(minutes=5)
STEPS = ("gas_off_at", "extubated_at", "righted_at", "recovered_at")


@transaction.atomic
def plan(patient: Patient, *, by: Person, planned_on: date, **fields: Any) -> Anaesthetic:
    """Put an animal on the list of a day."""
    patient = locked(patient)
    if planned_on < today(patient.hospital.zone):
        raise ValidationError({"planned_on": _("This day has passed. Choose today or a later day.")})
    planned = Anaesthetic(patient=patient, planned_by=by, planned_on=planned_on, **fields)
    planned.full_clean()
    planned.save()
    return planned


def _held(anaesthetic: Anaesthetic) -> Anaesthetic:
    """The row as it is now, with its patient held until the transaction ends. Refuses what was called off."""
    patient = locked(anaesthetic.patient)
    held = Anaesthetic.objects.get(pk=anaesthetic.pk)
    held.patient = patient
    if held.called_off:
        raise ValidationError(_("This was called off: %(why)s") % {"why": held.called_off})
    return held


@transaction.atomic
def change(anaesthetic: Anaesthetic, *, seen_version: int, **fields: Any) -> Anaesthetic:
    """Correct a line of the list."""
    held = _held(anaesthetic)
    for name, value in fields.items():
        setattr(held, name, value)
    if held.planned_on < admitted_on(held.patient):
        raise ValidationError({"planned_on": _("This is before admission on %(day)s.") % {"day": in_words(admitted_on(held.patient))}})
    return save_edit(held, seen_version=seen_version)


@transaction.atomic
def check(anaesthetic: Anaesthetic, *, by: Person, seen_version: int, **fields: Any) -> Anaesthetic:
    """Write down the check before it, the airway, the breathing and the agents. Whoever saved last answers for the check."""
    held = _held(anaesthetic)
    for name, value in (fields | {"checked_by": by}).items():
        setattr(held, name, value)
    if held.ventilation == "spontaneous" and (held.rate_per_minute or held.peak_cmh2o):
        raise ValidationError({"ventilation": _("It breathes by itself: leave rate and pressure empty, or choose how it is helped.")})
    return save_edit(held, seen_version=seen_version)


@transaction.atomic
def call_off(anaesthetic: Anaesthetic, *, seen_version: int, called_off: str) -> Anaesthetic:
    """Take a line off the list, with the reason. What has begun cannot be called off."""
    held = _held(anaesthetic)
    if held.begun_at:
        raise ValidationError(_("It has begun already. Let it wake and write that down."))
    held.called_off = called_off
    return save_edit(held, seen_version=seen_version)


@transaction.atomic
def begin(anaesthetic: Anaesthetic, *, seen_version: int) -> Anaesthetic:
    """Anaesthesia begins now. One animal is under one anaesthetic at a time."""
    held = _held(anaesthetic)
    if held.begun_at:
        raise ValidationError(_("It has begun already."))
    others = [each for each in held.patient.anaesthetics.exclude(pk=held.pk) if each.stage in (Stage.UNDER, Stage.RECOVERY)]
    if others:
        raise ValidationError(_("This animal has not recovered from its last anaesthetic: close that record first."))
    held.begun_at = now()
    held.planned_on = today(held.patient.hospital.zone)
    return save_edit(held, seen_version=seen_version)


@transaction.atomic
def take_step(anaesthetic: Anaesthetic, step: str, *, by: Person, seen_version: int) -> Anaesthetic:
    """The next thing that happened, just now: gas off, tube out, righted, recovered. None may be left out."""
    held = _held(anaesthetic)
    if held.begun_at is None or step != next_step(held):
        raise ValidationError(_("This is not the next step: look again, somebody may have pressed before you."))
    setattr(held, step, now())
    if step == "recovered_at":
        held.recovered_by = by
    return save_edit(held, seen_version=seen_version)


def next_step(anaesthetic: Anaesthetic) -> str | None:
    """What has yet to happen first; None once it has recovered."""
    return next((step for step in STEPS if getattr(anaesthetic, step) is None), None)


@transaction.atomic
def correct_moments(anaesthetic: Anaesthetic, *, by: Person, seen_version: int, **moments: datetime | None) -> Anaesthetic:
    """Put the moments right that were pressed too early, too late or by mistake. An emptied one has not happened yet."""
    held = _held(anaesthetic)
    if held.begun_at is None:
        raise ValidationError(_("It has not begun."))
    wrong = {}
    for name, at in moments.items():
        setattr(held, name, at)
        if at and at > now() + CLOCKS_MAY_DIFFER:
            wrong[name] = _("This is in the future.")
    gap = [name for name, later in zip(STEPS, STEPS[1:], strict=False) if getattr(held, name) is None and getattr(held, later)]
    wrong |= {name: _("Something later is written down: give this moment too, or empty the later one.") for name in gap}
    if wrong:
        raise ValidationError(wrong)
    held.recovered_by = (held.recovered_by or by) if held.recovered_at else None
    return save_edit(held, seen_version=seen_version)


@transaction.atomic
def read(anaesthetic: Anaesthetic, *, by: Person, at: datetime, seen_version: int, **said: Any) -> TheatreReading:
    """Write down what is read at a five-minute mark, or correct it; the former reading stays. `seen_version` 0: none was there."""
    held = _held(anaesthetic)
    if held.begun_at is None:
        raise ValidationError(_("It has not begun."))
    at = mark(at)
    if at < mark(held.begun_at) or at > mark(now() + CLOCKS_MAY_DIFFER):
        raise ValidationError({"at": _("Give a time between the beginning and now.")})
    if not any(said.get(name) not in (None, "") for name in SAID):
        raise ValidationError(_("Nothing is written: give one figure, a word or a note."))
    last = held.readings.filter(at=at).order_by("version").last()
    refuse_unseen(last, seen_version)
    reading = TheatreReading(
        patient=held.patient, anaesthetic=held, at=at, version=seen_version + 1, recorded_by=by, recorded_at=now(), **said
    )  # fmt: skip
    reading.full_clean()
    reading.save()
    return reading


@transaction.atomic
def read_same(anaesthetic: Anaesthetic, *, by: Person, at: datetime) -> TheatreReading:
    """Somebody looked, and all figures are those of the reading before; words are not repeated."""
    held = _held(anaesthetic)
    before = held.readings.filter(at__lt=mark(at)).order_by("at", "version").last()
    if before is None:
        raise ValidationError(_("There is no reading before this one: write the figures down."))
    same = {name: getattr(before, name) for name in (*FIGURES, "depth")}
    return read(held, by=by, at=at, seen_version=0, note=_("Same as before"), **same)


@transaction.atomic
def belongs_to(anaesthetic: Anaesthetic, procedure: Procedure, *, seen_version: int) -> Anaesthetic:
    """Say which procedure the anaesthetic was for."""
    held = _held(anaesthetic)
    if procedure.patient_id != held.patient_id:
        raise ValidationError(_("That procedure was done on another animal."))
    held.procedure = procedure
    return save_edit(held, seen_version=seen_version)
