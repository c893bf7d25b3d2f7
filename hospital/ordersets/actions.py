"""Keep a set of orders, and sign one for an animal: all its wanted lines are written, or none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import locked
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.edits import refuse_unseen, save_edit
from hospital.ordersets.lines import KINDS, Offered
from hospital.ordersets.models import OrderSet, SetLine, SignedSet
from hospital.people.models import Person
from hospital.sites.models import Hospital


@transaction.atomic
def make_set(hospital: Hospital, *, by: Person, **fields: Any) -> OrderSet:
    """Begin a set: its lines come one by one."""
    made = OrderSet(hospital=hospital, made_by=by, **fields)
    made.full_clean()
    made.save()
    return made


@transaction.atomic
def change_set(order_set: OrderSet, *, seen_version: int, **fields: Any) -> OrderSet:
    """Correct its name, when it is offered, and its note."""
    held = _held(order_set)
    for name, value in fields.items():
        setattr(held, name, value)
    return save_edit(held, seen_version=seen_version)


@transaction.atomic
def put_away(order_set: OrderSet, *, seen_version: int) -> OrderSet:
    """Take a set out of use. What was signed from it stays as it was written."""
    held = _held(order_set)
    held.put_away_at = now()
    return save_edit(held, seen_version=seen_version)


@transaction.atomic
def put_line(order_set: OrderSet, *, what: str, content: dict[str, Any], seen_version: int, line: SetLine | None = None) -> SetLine:
    """Add a line at the end, or put another content into one that is there. The set's version moves on."""
    held = save_edit(_held(order_set), seen_version=seen_version)
    last = held.lines.last()
    kept = line or SetLine(order_set=held, what=what, place=last.place + 1 if last else 1)
    kept.content = content
    kept.full_clean()
    kept.save()
    return kept


@transaction.atomic
def take_line_out(line: SetLine, *, seen_version: int) -> None:
    """Take a line out of its set."""
    save_edit(_held(line.order_set), seen_version=seen_version)
    line.delete()


def _held(order_set: OrderSet) -> OrderSet:
    held = OrderSet.objects.select_for_update().get(pk=order_set.pk)
    if held.put_away_at:
        raise ValidationError(_("This set was put away meanwhile."))
    return held


class LineRefused(Exception):
    """One line could not be written, and so none was: the line and what speaks against it."""

    def __init__(self, offered: Offered, refusal: ValidationError):
        super().__init__(str(refusal))
        self.offered, self.refusal = offered, refusal


@transaction.atomic
def sign_set(
    patient: Patient, order_set: OrderSet, offered: Sequence[Offered], *, by: Person, key: UUID, seen_version: int
) -> SignedSet:
    """Write every wanted line by the action that always writes it. One that is refused takes all others back (LineRefused).

    A `key` that was used before for this patient means the same form once more: what it wrote is the answer.
    """
    patient = locked(patient)
    if before := patient.signed_sets.filter(key=key).first():
        return before
    held = _held(order_set)
    refuse_unseen(held, seen_version)
    wanted = [each for each in offered if each.is_wanted]
    if not wanted:
        raise ValidationError(_("No line is ticked: nothing would be written."))
    signed = SignedSet(
        patient=patient, order_set=held, set_version=held.version, key=key, signed_by=by, signed_at=now(),
        written=[_written(each, patient, by) for each in wanted],
    )  # fmt: skip
    signed.full_clean()
    signed.save()
    return signed


def _written(offered: Offered, patient: Patient, by: Person) -> str:
    try:
        return KINDS[offered.line.what].write(patient, by, dict(offered.form.cleaned_data))
    except ValidationError as refusal:
        raise LineRefused(offered, refusal) from refusal
