"""Which sets a hospital keeps, and which were signed for an animal."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from hospital.admissions.models import Patient
from hospital.ordersets.models import OrderSet, SignedSet
from hospital.sites.models import Hospital


def sets_of(hospital: Hospital) -> QuerySet[OrderSet]:
    """The sets in use, by name, with their lines."""
    return OrderSet.objects.filter(hospital=hospital, put_away_at=None).prefetch_related("lines")


def sets_after(hospital: Hospital, kind: str) -> QuerySet[OrderSet]:
    """The sets offered after a kind of procedure, those of the kind before those for all; empty ones are not offered."""
    fitting = sets_of(hospital).filter(Q(kind="") | Q(kind=kind)).filter(lines__isnull=False).distinct()
    return fitting.order_by("-kind", "name", "pk")


def signed_for(patient: Patient) -> QuerySet[SignedSet]:
    """What was signed for an animal, the newest first."""
    return patient.signed_sets.select_related("order_set", "signed_by").order_by("-signed_at", "-pk")
