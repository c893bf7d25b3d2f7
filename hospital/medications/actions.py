"""Order a course, stop it, write down doses."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import admitted_on, in_words, locked, refuse_before, refuse_day
from hospital.admissions.models import Patient, Weight
from hospital.clock import now, today
from hospital.edits import save_edit
from hospital.medications.dosing import Sheet, excess, sheet, stops, weight_doubt
from hospital.medications.formulary import Stop
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import clinical_colleagues, recent_weights
from hospital.people.models import Person
from hospital.rules.wording import body_weight

CLOCKS_MAY_DIFFER = timedelta(minutes=5)
A_YEAR = timedelta(days=366)


def checked_sheet(
    patient: Patient, *, by: Person, drug: str, route: str, mg_per_kg: Decimal, mg_per_ml: Decimal, every_hours: int,
    doses: int, first_dose_at: datetime, is_weight_checked: bool, is_warning_read: bool, dose_reason: str,
    checked_by: Person | None, seen_weight_g: Decimal | None,
) -> Sheet:  # fmt: skip
    """Work an order out, or refuse it with a sentence at each field that speaks against it."""
    warned = _refuse_stops(patient, drug, route)
    recent = recent_weights(patient)
    if not recent:
        raise ValidationError(_("There is no weight yet. Weigh the animal, then order."))
    first = first_dose_at.astimezone(ZoneInfo(patient.hospital.zone))
    course = {"every_hours": every_hours, "doses": doses, "first_dose_at": first}
    worked = sheet(recent[0].weight_g, mg_per_kg=mg_per_kg, mg_per_ml=mg_per_ml, **course)
    wrong = {
        **_weight_doubts(patient, recent, is_weight_checked, seen_weight_g),
        **_unread(warned, is_warning_read),
        **_second_person(patient, by, excess(patient, drug, mg_per_kg), dose_reason, checked_by),
        **_impossible_start(patient, first.date()),
    }
    if wrong:
        raise ValidationError(wrong)
    return worked


def _refuse_stops(patient: Patient, drug: str, route: str) -> list[Stop]:
    """Refuse what must never be given; the warnings that remain must be read."""
    refused, warned = stops(patient, drug, route)
    if refused:
        raise ValidationError({"drug": [f"{stop.reason} ({stop.source})" for stop in refused]})
    return warned


def _weight_doubts(
    patient: Patient, recent: list[Weight], is_weight_checked: bool, seen_weight_g: Decimal | None
) -> dict[str, str]:
    """A weight that came in after the page was opened, and one that is old or moved far."""
    zone, wrong = patient.hospital.zone, {}
    if seen_weight_g is not None and seen_weight_g != recent[0].weight_g:
        moved = _("The animal was weighed meanwhile: %(weight)s. The dose is worked out anew: look at it, then save.")
        wrong["seen_weight_g"] = moved % {"weight": body_weight(recent[0].weight_g)}
    if (doubt := weight_doubt(recent, today(zone), zone)) and not is_weight_checked:
        wrong["is_weight_checked"] = f"{doubt} " + _("Weigh it again, or say that this weight is right.")
    return wrong


def _unread(warned: list[Stop], is_warning_read: bool) -> dict[str, str]:
    if not warned or is_warning_read:
        return {}
    reasons = " ".join(stop.reason for stop in warned)
    return {"is_warning_read": reasons + " " + _("Tick each warning that you have read.")}


def _impossible_start(patient: Patient, first_on: date) -> dict[str, str]:
    if first_on < admitted_on(patient):
        before = _("This is before admission on %(day)s.") % {"day": in_words(admitted_on(patient))}
        return {"first_dose_at": before}
    if first_on > today(patient.hospital.zone) + A_YEAR:
        return {"first_dose_at": _("This is more than a year ahead. Look at the year.")}
    return {}


def _second_person(
    patient: Patient, by: Person, why: str, dose_reason: str, checked_by: Person | None
) -> dict[str, str]:
    """A dose above every listed one needs a reason and a colleague who checked it: a box to tick would be too easy."""
    if not why:
        return {}
    wrong = {}
    if not dose_reason.strip():
        wrong["dose_reason"] = f"{why} " + _("Correct the dose, or give the reason for it.")
    if checked_by is None or not clinical_colleagues(patient, by).filter(pk=checked_by.pk).exists():
        wrong["checked_by"] = _("Name the colleague who checked this dose with you.")
    return wrong


@transaction.atomic
def order_medication(patient: Patient, *, by: Person, instruction: str, **asked) -> MedicationOrder:
    """Order a course, worked out from the newest weight."""
    patient = locked(patient)
    worked = checked_sheet(patient, by=by, **asked)
    kept = {
        name: asked[name]
        for name in ("drug", "route", "mg_per_kg", "mg_per_ml", "every_hours", "doses", "first_dose_at")
    }
    is_excess = bool(excess(patient, asked["drug"], asked["mg_per_kg"]))
    order = MedicationOrder(
        patient=patient,
        instruction=instruction,
        ordered_by=by,
        ordered_at=now(),
        weight_g=worked.weight_g,
        dose_mg=round(worked.drawn.dose_mg, 6),
        volume_ml=worked.drawn.volume_ml,
        syringe_ml=worked.drawn.syringe.capacity_ml,
        dose_reason=asked["dose_reason"] if is_excess else "",
        checked_by=asked["checked_by"] if is_excess else None,
        **kept,
    )
    order.full_clean()
    order.save()
    return order


@transaction.atomic
def stop_medication(order: MedicationOrder, *, stopped_on: date, stop_reason: str) -> MedicationOrder:
    """Stop a course before its last dose. A second person is told what the first one wrote."""
    patient = locked(order.patient)
    order.refresh_from_db()
    if order.stopped_on:
        before = _("This course was already stopped on %(day)s: %(reason)s")
        raise ValidationError(before % {"day": in_words(order.stopped_on), "reason": order.stop_reason})
    refuse_day(patient, stopped_on, field="stopped_on")
    zone = ZoneInfo(patient.hospital.zone)
    last = order.doses_given.last()
    if last:
        given_on = last.given_at.astimezone(zone).date()
        refuse_before(stopped_on, given_on, _("A dose was written down on %(day)s."), field="stopped_on")
    order.stopped_on, order.stop_reason = stopped_on, stop_reason
    return save_edit(order, seen_version=order.version)


@transaction.atomic
def give_dose(
    order: MedicationOrder,
    *,
    by: Person,
    kind: str,
    given_at: datetime,
    note: str,
    is_not_double: bool = False,
) -> DoseGiven:
    """Write down one dose: given, not taken or missed. One that follows too soon must be meant."""
    patient = locked(order.patient)
    order.refresh_from_db()
    _refuse_dose(patient, order, given_at)
    if kind == DoseGiven.Kind.GIVEN and not is_not_double:
        _refuse_double(order, given_at)
    dose = DoseGiven(patient=patient, order=order, kind=kind, given_at=given_at, given_by=by, note=note)
    dose.full_clean()
    dose.save()
    return dose


def _refuse_dose(patient: Patient, order: MedicationOrder, given_at: datetime) -> None:
    given_on = given_at.astimezone(ZoneInfo(patient.hospital.zone)).date()
    if given_at > now() + CLOCKS_MAY_DIFFER:
        raise ValidationError({"given_at": _("This is in the future. Give the moment at which it happened.")})
    refuse_day(patient, given_on, field="given_at")
    if order.stopped_on and given_on > order.stopped_on:
        stopped = _("This course was stopped on %(day)s.") % {"day": in_words(order.stopped_on)}
        raise ValidationError({"given_at": stopped})
    if order.doses_given.count() >= order.doses:
        raise ValidationError(
            _("All %(doses)d doses of this course are written down. A vet must order more.")
            % {"doses": order.doses}
        )


def _refuse_double(order: MedicationOrder, given_at: datetime) -> None:
    """Less than half the interval after or before another dose: two people may both have given it."""
    half = timedelta(hours=order.every_hours) / 2
    near = order.doses_given.filter(
        kind=DoseGiven.Kind.GIVEN, given_at__gt=given_at - half, given_at__lt=given_at + half
    )
    other = near.select_related("given_by").last()
    if other:
        told = {"time": f"{other.given_at.astimezone(given_at.tzinfo):%H:%M}", "name": other.given_by}
        raise ValidationError(
            {"is_not_double": _("%(name)s gave a dose at %(time)s. If this is another one, say so.") % told}
        )


@transaction.atomic
def take_dose_back(dose: DoseGiven) -> None:
    """Remove a dose that was written down by mistake; the audit keeps what it said."""
    locked(dose.patient)
    dose.delete()
