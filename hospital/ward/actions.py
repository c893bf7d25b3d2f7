"""One tap at the cage: a dose, a meal or fluids, given or not taken; and its undoing within a minute."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import locked
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.feeding.models import FeedingPlan, FluidPlan
from hospital.feeding.queries import feeding_now, fluids_now
from hospital.medications.actions import give_dose, take_dose_back
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import dose_due_at
from hospital.people.models import Person
from hospital.register.queries import pages_of_drug
from hospital.rules.sheet import State, state_at
from hospital.ward.models import Attended, Minder
from hospital.ward.queries import planned_moments, waits_of

UNDO_FOR = timedelta(minutes=1)
EARLY = timedelta(hours=2)  # how long before its time a meal may be written


@transaction.atomic
def sign_dose(order: MedicationOrder, *, by: Person, number: int, kind: str) -> DoseGiven:
    """Write the dose with this number (from 0) as given now, not taken or missed. Whoever comes second is told who was first.

    A drug that is kept in the register is never given by one tap: drawing it up has a page of its own.
    """
    patient = locked(order.patient)
    written = list(order.doses_given.select_related("given_by").order_by("given_at", "pk"))
    if number < len(written):
        raise ValidationError(_already(written[number].given_by, written[number].get_kind_display(), written[number].given_at, patient))
    if number > len(written):
        raise ValidationError(_("An earlier dose of this course is not written down yet. Write that one first."))
    due_at = dose_due_at(order, number, patient.hospital.zone)
    if due_at > now() + EARLY:
        raise ValidationError(_("This is not due yet."))
    if kind == DoseGiven.Kind.GIVEN and state_at(due_at, now(), **waits_of(patient.hospital)) is State.MISSED:
        raise ValidationError(_("This dose is hours late. Ask a vet; then write it on its own page, or as missed here."))
    if kind == DoseGiven.Kind.GIVEN and pages_of_drug(patient.hospital, order.drug):
        raise ValidationError(_("%(drug)s is kept in the register: draw it up on its own page.") % {"drug": order.drug})
    return give_dose(order, by=by, kind=kind, given_at=now(), note="")


@transaction.atomic
def attend(plan: FeedingPlan | FluidPlan, *, by: Person, due_at: datetime, kind: str) -> Attended:
    """Write one meal or one lot of fluids. Whoever comes second is told who was first."""
    patient, at = locked(plan.patient), now()
    which = {"feeding": plan} if isinstance(plan, FeedingPlan) else {"fluid": plan}
    if there := Attended.objects.filter(**which, due_at=due_at).select_related("done_by").first():
        raise ValidationError(_already(there.done_by, there.get_kind_display(), there.done_at, patient))
    if plan.pk not in {each.pk for each in (feeding_now(patient), fluids_now(patient)) if isinstance(each, type(plan))}:
        raise ValidationError(_("This plan was replaced or stopped meanwhile. Look at the sheet again before you give anything."))
    if due_at not in planned_moments(plan, due_at, due_at + timedelta(minutes=1)):
        raise ValidationError(_("The sheet has changed. Look again, then tap."))
    if due_at > at + EARLY:
        raise ValidationError(_("This is not due yet."))
    row = Attended(patient=patient, due_at=due_at, kind=kind, done_at=at, done_by=by, **which)
    row.full_clean()
    row.save()
    return row


def _already(who: Person, what: str, when: datetime, patient: Patient) -> str:
    local = when.astimezone(ZoneInfo(patient.hospital.zone))
    return _("%(who)s wrote this down already at %(time)s: %(what)s.") % {"who": who, "time": f"{local:%H:%M}", "what": what.lower()}


@transaction.atomic
def undo(row: DoseGiven | Attended, *, by: Person) -> None:
    """Take one's own tap back within a minute; later it is corrected with a reason, on the animal's page."""
    locked(row.patient)
    row = type(row).objects.filter(pk=row.pk).first() or row
    if row.pk is None:
        raise ValidationError(_("It is taken back already."))
    at, who = (row.given_at, row.given_by_id) if isinstance(row, DoseGiven) else (row.done_at, row.done_by_id)
    if who != by.pk:
        raise ValidationError(_("Somebody else wrote this. Ask them, or correct it on the animal’s page."))
    if now() - at > UNDO_FOR:
        raise ValidationError(_("The minute for undoing is over. Correct it on the animal’s page."))
    if isinstance(row, DoseGiven):
        take_dose_back(row)
    else:
        row.delete()


@transaction.atomic
def mind(patient: Patient, *, by: Person) -> Minder:
    """Take an animal among one's own on the sheet; once is enough."""
    patient = locked(patient)
    return Minder.objects.get_or_create(patient=patient, person=by, ended_at=None, defaults={"taken_at": now()})[0]


@transaction.atomic
def mind_no_more(patient: Patient, *, by: Person) -> None:
    """Somebody else minds it, or nobody."""
    for row in Minder.objects.filter(patient=patient, person=by, ended_at=None):
        row.ended_at = now()
        row.save()
