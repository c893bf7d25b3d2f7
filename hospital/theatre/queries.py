"""What is on a day's list, what was read, and which check is late."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import Max, Q, QuerySet

from hospital.admissions.models import Patient
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import next_dose_at, orders_of
from hospital.people.models import Person
from hospital.register.models import RegisterLine
from hospital.register.queries import apart_from_doses
from hospital.rules.anaesthesia import next_check_at
from hospital.sites.models import Hospital
from hospital.theatre.models import Anaesthetic, Stage, TheatreReading


def list_of(person: Person, hospital: Hospital, day: date) -> QuerySet[Anaesthetic]:
    """The day's list, and whatever was begun before and has not recovered."""
    seen = Anaesthetic.objects.filter(patient__in=Patient.objects.visible_to(person).filter(hospital=hospital))
    still_here = Q(begun_at__isnull=False, recovered_at=None, patient__closed_on=None, planned_on__lt=day)
    listed = seen.filter(Q(planned_on=day) | still_here).select_related("patient__species", "patient__hospital", "vet", "recovered_by")
    return listed.annotate(last_read_at=Max("readings__at")).order_by("planned_on", "place", "pk")


def anaesthetics_of(patient: Patient) -> QuerySet[Anaesthetic]:
    """Every anaesthetic of a patient, planned ones too, with the people it names."""
    return patient.anaesthetics.select_related("patient__hospital", "vet", "planned_by", "checked_by", "recovered_by", "procedure")


def newest(readings: Iterable[TheatreReading]) -> list[TheatreReading]:
    """The reading that holds at each mark, in the order of time; each knows those that it corrected as `former`."""
    held: dict[datetime, list[TheatreReading]] = {}
    for each in readings:
        held.setdefault(each.at, []).append(each)
    rows = [sorted(versions, key=lambda row: row.version) for _at, versions in sorted(held.items())]
    for row in rows:
        row[-1].former = row[:-1]
    return [row[-1] for row in rows]


def readings_of(anaesthetic: Anaesthetic) -> list[TheatreReading]:
    """What holds at each mark, with who read it."""
    return newest(anaesthetic.readings.select_related("recorded_by"))


def check_due_at(anaesthetic: Anaesthetic, last_read_at: datetime | None) -> datetime | None:
    """When it must be looked at next while it recovers; None in any other stage."""
    if anaesthetic.stage != Stage.RECOVERY:
        return None
    looks = [last_read_at] if last_read_at else []
    return next_check_at(anaesthetic.extubated_at or anaesthetic.gas_off_at, looks, anaesthetic.check_every_minutes)


def orders_under(anaesthetic: Anaesthetic, zone: str) -> list[MedicationOrder]:
    """Orders of the patient that stand and whose doses are not all written: what can be given under this anaesthetic."""
    orders = orders_of(anaesthetic.patient).filter(stopped_on=None)
    return [order for order in orders if next_dose_at(order, zone) is not None]


def drawn_up_apart(anaesthetic: Anaesthetic, until: datetime) -> QuerySet[RegisterLine]:
    """Controlled drugs drawn up for the patient meanwhile without an order: in the register only."""
    begun = anaesthetic.begun_at
    lines = apart_from_doses(anaesthetic.patient).filter(done_at__lte=anaesthetic.recovered_at or until)
    return lines.filter(done_at__gte=begun.replace(hour=0, minute=0)) if begun else lines.none()


def doses_during(anaesthetic: Anaesthetic, until: datetime) -> QuerySet[DoseGiven]:
    """Medicines given through the patient's orders on the day of the anaesthetic until it had recovered."""
    given = anaesthetic.patient.doses_given.filter(kind=DoseGiven.Kind.GIVEN, given_at__lte=anaesthetic.recovered_at or until)
    begun = anaesthetic.begun_at
    if begun is None:
        return given.none()
    return given.filter(given_at__gte=begun.replace(hour=0, minute=0)).select_related("order", "given_by", "register_line__page")
