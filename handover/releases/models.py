"""Release criteria as assessed by people."""

from django.conf import settings
from django.db import models

from hospital.admissions.models import Patient


class CriterionFinding(models.Model):
    """Somebody judged one criterion for one animal. The latest finding counts; earlier ones stay readable."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="criterion_findings")
    criterion = models.CharField(max_length=120)  # the id of the criterion, with dots
    is_met = models.BooleanField()
    evidence = models.CharField(max_length=250, blank=True)
    found_on = models.DateField()
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["found_on", "id"]
