"""Medicines ordered and given. A licensed vet orders; this software checks arithmetic, not judgement."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned
from hospital.register.models import RegisterLine

MORE_THAN_NOTHING = [MinValueValidator(Decimal("0.0001"))]


class Route(models.TextChoices):
    MOUTH = "mouth", _("by mouth")
    UNDER_SKIN = "under_skin", _("under the skin")
    MUSCLE = "muscle", _("into muscle")
    VEIN = "vein", _("into a vein")
    BODY_CAVITY = "body_cavity", _("into the body cavity")
    EYE = "eye", _("on the eye")
    SKIN = "skin", _("on the skin")


INJECTED = {Route.UNDER_SKIN, Route.MUSCLE, Route.VEIN, Route.BODY_CAVITY}


class MedicationOrder(Versioned):
    """A course: dose from the weight used, volume from the strength on the bottle, times from the first dose."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="medication_orders")
    drug = models.CharField(_("medicine"), max_length=120)
    mg_per_kg = models.DecimalField(
        _("dose per kg, in mg"), max_digits=9, decimal_places=4, validators=MORE_THAN_NOTHING
    )
    mg_per_ml = models.DecimalField(
        _("strength, in mg per mL"), max_digits=9, decimal_places=4, validators=MORE_THAN_NOTHING
    )
    weight_g = models.DecimalField(max_digits=9, decimal_places=1, editable=False)  # that the dose was worked from
    dose_mg = models.DecimalField(max_digits=12, decimal_places=6, editable=False)
    volume_ml = models.DecimalField(max_digits=9, decimal_places=4, editable=False)
    syringe_ml = models.DecimalField(max_digits=6, decimal_places=2, editable=False)
    route = models.CharField(_("how given"), max_length=12, choices=Route)
    every_hours = models.PositiveSmallIntegerField(_("hours between doses"), validators=[MinValueValidator(1)])
    doses = models.PositiveSmallIntegerField(_("number of doses"), validators=[MinValueValidator(1)])
    first_dose_at = models.DateTimeField(_("first dose"))
    instruction = models.CharField(_("note for whoever gives it"), max_length=250, blank=True)
    dose_reason = models.CharField(_("why more than any published dose"), max_length=250, blank=True)
    checked_by = models.ForeignKey(  # the second person, for a dose above every published one
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True, blank=True
    )
    ordered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    ordered_at = models.DateTimeField()
    stopped_on = models.DateField(null=True, blank=True)
    stop_reason = models.CharField(max_length=250, blank=True)

    class Meta:
        ordering = ["first_dose_at", "id"]

    @property
    def is_injected(self) -> bool:
        """Whether a needle is in play, and its caution belongs on the page."""
        return self.route in INJECTED


class DoseGiven(models.Model):
    """One dose that was given, or could not be."""

    class Kind(models.TextChoices):
        GIVEN = "given", _("Given")
        REFUSED = "refused", _("Not taken")
        MISSED = "missed", _("Missed")

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="doses_given", db_index=False)
    order = models.ForeignKey(MedicationOrder, models.CASCADE, related_name="doses_given")
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.GIVEN)
    given_at = models.DateTimeField()
    given_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    note = models.CharField(max_length=250, blank=True)
    register_line = models.OneToOneField(  # where the drug came out of the register of controlled drugs, if it is kept there
        RegisterLine, models.PROTECT, related_name="dose", null=True, blank=True
    )

    class Meta:
        ordering = ["given_at", "id"]
        indexes = [models.Index(fields=["patient", "-given_at"], name="doses_of_a_patient")]
