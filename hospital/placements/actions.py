"""Writing about carers and placements: each is one transaction, and an animal is always in one place."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import locked
from hospital.admissions.models import Patient, Placement, TaxonGroup
from hospital.edits import EditCollision, save_edit
from hospital.people.models import Carer, CarerAway, Membership, Person, Role
from hospital.placements.models import HoldingLimit, Loan
from hospital.placements.queries import carers_of, suitability
from hospital.placements.words import reasons_against
from hospital.sites.models import Hospital

# --- where an animal lives ----------------------------------------------------------------------------------------


@transaction.atomic
def place(
    patient: Patient,
    *,
    carer: Carer,
    by: Person,
    at: datetime,
    on: date,
    seen_placement: int | None = None,
    note: str = "",
) -> Placement:
    """Send the patient to a carer: the open placement ends and the next begins in the same moment.

    Refused without authority for the species' group on the day `on`; without room, or while the carer is away, a note
    must say why all the same. `seen_placement` is the open placement that the person saw (0: none).
    """
    patient = locked(patient)
    now_at = patient.open_placement()
    _refuse_if_moved(patient, now_at, seen_placement)
    if now_at and now_at.carer_id == carer.pk:
        raise ValidationError({"carer": _("The animal is with this carer already.")})
    Carer.objects.select_for_update().get(pk=carer.pk)  # two animals must not take the same last room
    _refuse_unsuitable(patient, carer, on, note)
    return _move(patient, now_at, Placement(carer=carer, placed_by=by, note=note), at)


def _refuse_if_moved(patient: Patient, now_at: Placement | None, seen_placement: int | None) -> None:
    if seen_placement is not None and seen_placement != (now_at.pk if now_at else 0):
        raise EditCollision(now_at or patient)


def _refuse_unsuitable(patient: Patient, carer: Carer, on: date, note: str) -> None:
    found = carers_of(patient.hospital, on).filter(pk=carer.pk, is_active=True)
    if not found:
        raise ValidationError({"carer": _("This carer takes no animals of this hospital now.")})
    judged = suitability(found, patient, on)[0]
    sentences = " ".join(reasons_against(judged))
    if judged.is_refused:
        raise ValidationError({"carer": sentences})
    if judged.needs_a_reason and not note.strip():
        raise ValidationError({"note": _("%(reasons)s Write why it goes there all the same.") % {"reasons": sentences}})


def _move(patient: Patient, now_at: Placement | None, to: Placement, at: datetime) -> Placement:
    if now_at:
        now_at.ended_at = at
        save_edit(now_at, seen_version=now_at.version)
    to.patient, to.started_at = patient, at
    to.full_clean()
    to.save()
    return to


@transaction.atomic
def bring_back(
    patient: Patient, *, by: Person, at: datetime, seen_placement: int | None = None, ward: str = "", note: str = ""
) -> Placement:
    """Take the patient into the ward, or into another place of it."""
    patient = locked(patient)
    now_at = patient.open_placement()
    _refuse_if_moved(patient, now_at, seen_placement)
    return _move(patient, now_at, Placement(ward=ward, placed_by=by, note=note), at)


@transaction.atomic
def accept(patient: Patient, *, by: Person, at: datetime) -> Placement:
    """The carer says that the animal is now in their hands. Saying it again changes nothing."""
    placement = patient.placements.open().select_for_update().filter(carer__person=by).first()
    if placement is None:
        raise ValidationError(_("This animal is not placed with you now. Phone the hospital."))
    if placement.accepted_at:
        return placement
    placement.accepted_at = at
    return save_edit(placement, seen_version=placement.version)


@transaction.atomic
def decline(patient: Patient, *, by: Person, at: datetime, why: str) -> Placement:
    """The carer says that they cannot take the animal, and why: it stays where it was before it was offered to them."""
    patient = locked(patient)
    offered = patient.placements.open().select_for_update().filter(carer__person=by).first()
    if offered is None or offered.accepted_at:
        raise ValidationError(_("You have taken this animal over, or it is not placed with you. Phone the hospital."))
    before = patient.placements.filter(ended_at=offered.started_at).order_by("-pk").first()
    offered.declined_at, offered.declined_why = at, why
    back = Placement(placed_by=by, note=_("%(carer)s cannot take it: %(why)s") % {"carer": offered.carer, "why": why})
    back.note = back.note[:250]
    if before and before.carer_id:
        back.carer, back.accepted_at = before.carer, before.accepted_at and at
    elif before:
        back.ward = before.ward
    return _move(patient, offered, back, at)


# --- what is lent -------------------------------------------------------------------------------------------------


@transaction.atomic
def lend(carer: Carer, *, by: Person, at: datetime, today: date, what: str, due_on: date | None, patient: Patient | None = None) -> Loan:
    """Write down a thing of the hospital's that the carer takes home, by itself or with an animal."""
    if due_on and due_on < today:
        raise ValidationError({"due_on": _("This day is over. Give today or a day to come.")})
    if patient and not carer.placements.open().filter(patient=patient).exists():
        raise ValidationError({"patient": _("This animal is not with this carer.")})
    loan = Loan(hospital=carer.hospital, carer=carer, patient=patient, what=what, lent_at=at, lent_by=by, due_on=due_on)
    loan.full_clean()
    loan.save()
    return loan


@transaction.atomic
def end_loan(loan: Loan, *, by: Person, at: datetime, seen_version: int, ending: str, note: str = "") -> Loan:
    """The thing came back, or never will."""
    if loan.ended_at:
        raise ValidationError(_("Somebody has written this down already."))
    if ending != Loan.Ending.BACK and not note.strip():
        raise ValidationError({"note": _("Write what happened to it.")})
    loan.ended_at, loan.ended_by, loan.ending, loan.note = at, by, ending, note
    return save_edit(loan, seen_version=seen_version)


# --- limits of the law --------------------------------------------------------------------------------------------


@transaction.atomic
def set_limit(hospital: Hospital, *, group: TaxonGroup, most_animals: int | None, most_days: int | None, source: str) -> HoldingLimit:
    """Write down how many animals of a group one carer may hold, or for how many days; an earlier limit of it is replaced."""
    if most_animals is None and most_days is None:
        raise ValidationError({"most_animals": _("Give a number of animals, of days, or both.")})
    hospital.holding_limits.filter(group=group).delete()
    limit = HoldingLimit(hospital=hospital, group=group, most_animals=most_animals, most_days=most_days, source=source)
    limit.full_clean()
    limit.save()
    return limit


@transaction.atomic
def remove_limit(limit: HoldingLimit) -> None:
    """No limit is written down for the group any more."""
    limit.delete()


# --- carers -------------------------------------------------------------------------------------------------------


@transaction.atomic
def add_carer(hospital: Hospital, *, person: Person) -> Carer:
    """Begin the profile of somebody who is a carer of the hospital; they hold nothing until it says what they may."""
    if not Membership.objects.filter(person=person, hospital=hospital, role=Role.CARER).exists():
        raise ValidationError({"person": _("This person is not a carer of this hospital.")})
    carer = Carer(person=person, hospital=hospital)
    carer.full_clean()
    carer.save()
    return carer


@transaction.atomic
def correct_carer(carer: Carer, *, seen_version: int, phone: str, **fields: Any) -> Carer:
    """Change what a carer offers and may hold, and how to reach them."""
    for name, value in fields.items():
        setattr(carer, name, value)
    if not carer.is_active and carer.placements.open().exists():
        raise ValidationError({"is_active": _("Animals are there now. Bring them back first.")})
    saved = save_edit(carer, seen_version=seen_version)
    if saved.person.phone != phone:
        saved.person.phone = phone
        saved.person.full_clean()
        saved.person.save(update_fields=["phone"])
    return saved


@transaction.atomic
def add_away(carer: Carer, *, today: date, starts_on: date, ends_on: date, note: str = "") -> CarerAway:
    """The carer can neither nurse nor drive on these days, both included; care plans keep visits off them."""
    if ends_on < starts_on:
        raise ValidationError({"ends_on": _("The last day comes before the first. Change one of them.")})
    if ends_on < today:
        raise ValidationError({"ends_on": _("These days are over. Give days to come.")})
    overlap = carer.away.filter(starts_on__lte=ends_on, ends_on__gte=starts_on)
    if overlap.exists():
        raise ValidationError({"starts_on": _("Some of these days are in the list already.")})
    away = CarerAway(carer=carer, starts_on=starts_on, ends_on=ends_on, note=note)
    away.full_clean()
    away.save()
    return away


@transaction.atomic
def remove_away(away: CarerAway) -> None:
    """The carer is there after all."""
    away.delete()
