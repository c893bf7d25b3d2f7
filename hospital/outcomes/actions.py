"""End a case, and open it again."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.module_loading import import_string
from django.utils.translation import gettext as _

from hospital.admissions.days import admitted_on, in_words, locked, refuse_before, refuse_day
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import save_edit
from hospital.medications.queries import last_dose_at
from hospital.outcomes.models import Outcome, Reopening
from hospital.outcomes.queries import last_recorded_on
from hospital.people.models import Person
from hospital.procedures.queries import is_vet

Kind = Outcome.Kind


def refuse_outcome(
    patient: Patient, *, kind: str, happened_on: date, reason: str, place: str, latitude: Decimal | None,
    longitude: Decimal | None, decided_by: Person,
) -> None:  # fmt: skip
    """Refuse what cannot be true, or lacks what must be known, with a sentence at each field."""
    _refuse_day(patient, kind, happened_on)
    wrong = {
        **_unknown_place(kind, place, latitude, longitude),
        **(_undecided(patient, reason, decided_by) if kind == Kind.EUTHANASED else {}),
        **(_unfit(patient) if kind == Kind.RELEASED else {}),
    }
    if wrong:
        raise ValidationError(wrong)


def _refuse_day(patient: Patient, kind: str, happened_on: date) -> None:
    refuse_day(patient, happened_on, field="happened_on")
    last = last_recorded_on(patient)
    if last:
        later = _("Something was recorded for this animal on %(day)s. Look at the chart: one of the days is wrong.")
        refuse_before(happened_on, last, later, field="happened_on")
    if kind == Kind.DEAD_ON_ARRIVAL and happened_on != admitted_on(patient):
        arrived = _("Dead on arrival is the day of admission, %(day)s. If it died later, choose “Died”.")
        raise ValidationError({"happened_on": arrived % {"day": in_words(admitted_on(patient))}})


def _undecided(patient: Patient, reason: str, decided_by: Person) -> dict[str, str]:
    """What euthanasia lacks. That a vet decides is common practice, and law in many places."""
    wrong = {}
    if not reason.strip():
        wrong["reason"] = _("Give the reason for euthanasia.")
    if not is_vet(decided_by, patient):
        wrong["decided_by"] = _("Euthanasia is decided by a vet. Choose the vet who decided it.")
    return wrong


def _unfit(patient: Patient) -> dict[str, str]:
    """What speaks against a release. Criteria are judged above this layer, so settings name who is asked."""
    objection = import_string(settings.RELEASE_GATE)(patient)
    return {"kind": objection} if objection else {}


def _unknown_place(kind: str, place: str, latitude: Decimal | None, longitude: Decimal | None) -> dict[str, str]:
    wrong = {}
    if kind in (Kind.RELEASED, Kind.TRANSFERRED) and not place.strip():
        wrong["place"] = _("Say in words where it went.")
    if kind == Kind.RELEASED and latitude is None:
        wrong["latitude"] = _("Give the point on the map at which it was released.")
    if (latitude is None) != (longitude is None):
        wrong["longitude" if longitude is None else "latitude"] = _("A point needs both latitude and longitude.")
    return wrong


@transaction.atomic
def record_outcome(patient: Patient, *, by: Person, **fields) -> Outcome:
    """End the case: the outcome, the closing day, the end of its placement and of every course, all or nothing."""
    patient = locked(patient)
    refuse_outcome(patient, **fields)
    outcome = Outcome(patient=patient, recorded_at=now(), **fields)
    outcome.full_clean()
    outcome.save()
    _end_placement(patient, outcome.happened_on)
    _stop_courses(patient, outcome)
    Patient.objects.filter(pk=patient.pk).update(closed_on=outcome.happened_on, version=F("version") + 1)
    return outcome


def _end_placement(patient: Patient, on: date) -> None:
    """End where it lives: now if it happened today, else at the end of that day."""
    zone = ZoneInfo(patient.hospital.zone)
    ended_at = now() if on == today(patient.hospital.zone) else datetime.combine(on, time(23, 59), zone)
    for placement in patient.placements.open():
        placement.ended_at = max(placement.started_at, ended_at)
        save_edit(placement, seen_version=placement.version)


def _stop_courses(patient: Patient, outcome: Outcome) -> None:
    """Stop what would still be given, or waits for a second vet; a course that ended by itself is left as it was."""
    zone = patient.hospital.zone
    for order in patient.medication_orders(manager="written").filter(stopped_on=None):
        if last_dose_at(order, zone).date() < outcome.happened_on:
            continue
        order.stopped_on, order.stop_reason = outcome.happened_on, outcome.get_kind_display()
        save_edit(order, seen_version=order.version)


@transaction.atomic
def reopen(patient: Patient, *, by: Person, reason: str) -> Patient:
    """Open a closed case again. Its outcome goes (the audit keeps it); where it lives must be said anew."""
    patient = Patient.objects.select_for_update(of=("self",)).get(pk=patient.pk)
    outcome = Outcome.objects.filter(patient=patient).first()
    if outcome is None:
        raise ValidationError(_("This case is already open."))
    reopening = Reopening(
        patient=patient,
        outcome_kind=outcome.kind,
        outcome_on=outcome.happened_on,
        reason=reason,
        reopened_by=by,
        reopened_at=now(),
    )
    reopening.full_clean()
    reopening.save()
    outcome.delete()
    Patient.objects.filter(pk=patient.pk).update(closed_on=None, version=F("version") + 1)
    patient.refresh_from_db()
    return patient
