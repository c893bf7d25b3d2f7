"""How a case ended."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned


class Outcome(Versioned):
    """The end of a case: one per patient, recorded together with the patient's closing day."""

    class Kind(models.TextChoices):
        RELEASED = "released", _("Released")
        DIED = "died", _("Died")
        EUTHANASED = "euthanased", _("Euthanased")
        TRANSFERRED = "transferred", _("Transferred")
        HELD = "held", _("Held permanently")
        ESCAPED = "escaped", _("Escaped")
        DEAD_ON_ARRIVAL = "dead_on_arrival", _("Dead on arrival")

    patient = models.OneToOneField(Patient, models.CASCADE, related_name="outcome")
    kind = models.CharField(_("outcome"), max_length=16, choices=Kind)
    happened_on = models.DateField(_("on"))
    reason = models.TextField(_("reason"), blank=True)
    place = models.CharField(_("place"), max_length=250, blank=True)
    latitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True,
        validators=[MinValueValidator(-90), MaxValueValidator(90)],
    )
    longitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True,
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
    )
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True
    )  # empty: taken from an old file that does not say
    recorded_at = models.DateTimeField()


class Reopening(models.Model):
    """A closed case that was opened again: what had been recorded as its end, who opened it, and why."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="reopenings")
    outcome_kind = models.CharField(max_length=16, choices=Outcome.Kind)
    outcome_on = models.DateField()
    reason = models.CharField(_("why it is opened again"), max_length=250)
    reopened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reopened_at = models.DateTimeField()

    class Meta:
        ordering = ["reopened_at", "id"]
