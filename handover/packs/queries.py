"""Packs that were made: whose they are, which one is good, and what stands against an old one."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from handover.packs.models import Pack
from hospital.admissions.models import Patient
from hospital.people.models import STAFF, Person, hospitals_where


def packs_for(patient: Patient, person: Person) -> QuerySet[Pack]:
    """The patient's packs, the newest first: all of them for staff, for carers those that were made for them."""
    theirs = Q(placement__carer__person=person)
    staffed = Q(patient__hospital__in=hospitals_where(person, STAFF))
    return patient.packs.filter(theirs | staffed).select_related("made_by", "placement__carer__person", "plan").order_by("-version")


def latest_pack(patient: Patient) -> Pack | None:
    return patient.packs.select_related("placement").order_by("-version").first()


def pack_before(patient: Patient, placement_id: int | None) -> Pack | None:
    """The pack that whoever has the animal now holds in their hands."""
    return patient.packs.filter(placement_id=placement_id).order_by("-version").first()


def pack_with_key(key) -> Pack | None:
    return Pack.objects.select_related("patient__hospital", "placement__carer__person").filter(key=key).first()


def is_superseded(pack: Pack) -> bool:
    return Pack.objects.filter(patient=pack.patient_id, version__gt=pack.version).exists()


def is_plan_older(pack: Pack) -> bool:
    """Whether another plan has been published since the pack was printed."""
    return not Patient.objects.filter(pk=pack.patient_id, current_plan__plan=pack.plan_id).exists()


def has_moved_on(pack: Pack) -> bool:
    """Whether the animal no longer lives where it did when the pack was made."""
    open_now = pack.patient.placements.open().values_list("pk", flat=True).first()
    return open_now != pack.placement_id
