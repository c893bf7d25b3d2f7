"""Reading the audit."""

from __future__ import annotations

from django.db.models import Model, QuerySet

from hospital.audit.models import AuditEntry


def history_of(row: Model) -> QuerySet[AuditEntry]:
    """What happened to one row, newest first."""
    return AuditEntry.objects.filter(table=row._meta.db_table, row_id=str(row.pk)).select_related("actor").order_by("-id")


def history_of_patient(patient_id: int) -> QuerySet[AuditEntry]:
    """What happened to everything that belongs to a patient, newest first."""
    return AuditEntry.objects.filter(patient_id=patient_id).select_related("actor").order_by("-id")
