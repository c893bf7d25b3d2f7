"""What was seen when the animal was looked at."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned


class Examination(Versioned):
    """An examination on admission, at a recheck, or for release."""

    class Kind(models.TextChoices):
        ADMISSION = "admission", _("On admission")
        RECHECK = "recheck", _("Recheck")
        RELEASE = "release_assessment", _("Release assessment")
        OTHER = "other", _("Other")

    class Wound(models.TextChoices):
        NONE = "none", _("No wound")
        CLEAN = "clean", _("Clean and closed")
        HEALING = "healing", _("Healing, not sealed yet")
        SLOW = "slow", _("Slower than hoped")
        INFECTED = "infected", _("Infected")
        OPEN = "open", _("Open again")

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="examinations")
    kind = models.CharField(max_length=20, choices=Kind)
    examined_on = models.DateField(_("examined on"))
    examined_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    wound = models.CharField(_("wound"), max_length=10, choices=Wound, default=Wound.NONE)
    body_condition = models.CharField(_("body condition"), max_length=60, blank=True)
    findings = models.TextField(_("findings"), blank=True)
    advice = models.TextField(_("what the carer is told"), blank=True)

    class Meta:
        ordering = ["examined_on", "id"]
