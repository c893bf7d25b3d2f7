"""Release criteria as assessed by people, and what is agreed for the day itself."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned


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


class GoAhead(models.Model):
    """A vet's decision that an animal goes although criteria are not met; which ones, in the words of that day."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="go_aheads")
    unmet = models.JSONField()  # the wordings
    reason = models.CharField(max_length=250)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()

    class Meta:
        ordering = ["decided_at", "id"]


class ReleaseDay(Versioned):
    """What is agreed for the day of the release: when, where, who drives, how to get there."""

    patient = models.OneToOneField(Patient, models.CASCADE, related_name="release_day")
    on = models.DateField(_("day"), null=True, blank=True)
    driver = models.CharField(_("who drives"), max_length=120, blank=True)
    place = models.CharField(_("place of release, in words"), max_length=250, blank=True)
    directions = models.TextField(_("how to get there"), max_length=2000, blank=True)
