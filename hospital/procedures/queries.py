"""What is on or in an animal now, and who may have put it there."""

from __future__ import annotations

from django.db.models import QuerySet

from hospital.admissions.models import Patient
from hospital.people.models import CLINICAL, Person, Role
from hospital.procedures.models import Bandage, Closure, Implant


def clinical_staff(patient: Patient) -> QuerySet[Person]:
    """Vets and nurses of the patient's hospital, by name."""
    theirs = {"memberships__hospital": patient.hospital_id, "memberships__role__in": CLINICAL}
    return Person.objects.filter(is_active=True, **theirs).distinct().order_by("name")


def is_vet(person: Person, patient: Patient) -> bool:
    """Whether the person is a vet at the patient's hospital."""
    return person.memberships.filter(hospital=patient.hospital_id, role=Role.VET).exists()


def closures_in(patient: Patient) -> QuerySet[Closure]:
    """Closures that have not been taken out."""
    return patient.closures.filter(removed_on=None)


def bandages_on(patient: Patient) -> QuerySet[Bandage]:
    """Bandages that are on now."""
    return patient.bandages.filter(removed_on=None)


def implants_in(patient: Patient) -> QuerySet[Implant]:
    """Implants that are in the animal now."""
    return patient.implants.filter(removed_on=None)
