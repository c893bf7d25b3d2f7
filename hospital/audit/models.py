"""Who changed what, when: rows written by the database itself, so that no code path can forget them."""

from django.conf import settings
from django.db import models


class AuditEntry(models.Model):
    """One insert, change or removal of one row, with the row before and after. Written only by triggers."""

    at = models.DateTimeField()
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.DO_NOTHING, null=True, related_name="+", db_constraint=False
    )
    came_from = models.CharField(max_length=100, blank=True)  # a page's name, or a command's
    request_key = models.CharField(max_length=36, blank=True)
    action = models.CharField(max_length=6, choices=[("insert", "insert"), ("update", "update"), ("delete", "delete")])
    table = models.CharField(max_length=63)
    row_id = models.CharField(max_length=36)
    patient_id = models.BigIntegerField(null=True)
    hospital_id = models.BigIntegerField(null=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["patient_id", "-id"], name="audit_of_a_patient"),
            models.Index(fields=["table", "row_id", "-id"], name="audit_of_a_row"),
        ]

    def changed(self) -> dict[str, tuple[object, object]]:
        """Column → (before, after), for the columns that differ."""
        before, after = self.before or {}, self.after or {}
        return {
            column: (before.get(column), after.get(column))
            for column in [*before, *(c for c in after if c not in before)]
            if before.get(column) != after.get(column)
        }
