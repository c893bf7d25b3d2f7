"""Medicines ordered and given, and the formulary that a hospital's vets adopted.

A licensed vet orders; this software checks arithmetic, not judgement.
"""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient, TaxonGroup
from hospital.edits import Versioned
from hospital.register.models import RegisterLine
from hospital.rules.dosetimes import LateDose
from hospital.sites.models import Hospital

MORE_THAN_NOTHING = [MinValueValidator(Decimal("0.0001"))]


class Route(models.TextChoices):
    MOUTH = "mouth", _("by mouth")
    UNDER_SKIN = "under_skin", _("under the skin")
    MUSCLE = "muscle", _("into muscle")
    VEIN = "vein", _("into a vein")
    BODY_CAVITY = "body_cavity", _("into the body cavity")
    EYE = "eye", _("on the eye")
    SKIN = "skin", _("on the skin")


class LateDoseRule(models.TextChoices):
    """The values are those of rules.dosetimes.LateDose."""

    KEEP_TIMES = LateDose.KEEP_TIMES.value, _("the others keep their times")
    SHIFT = LateDose.SHIFT.value, _("the later ones move by as much")


INJECTED = {Route.UNDER_SKIN, Route.MUSCLE, Route.VEIN, Route.BODY_CAVITY}


class DoseUnit(models.TextChoices):
    """What a dose and a strength are counted in. The values are those of rules.doses.AmountUnit and rules.wording.Unit."""

    MICROGRAM = "microgram", _("micrograms")
    MG = "mg", _("mg")
    UNIT = "unit", _("units")


class FormularyAdoption(models.Model):
    """A row of the reference list that a vet of this hospital put in force, or a row of the hospital's own.

    A change of figures ends one adoption and begins the next version.
    """

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="formulary_adoptions", db_index=False)
    slug = models.CharField(max_length=120)  # of fixtures/reference/drugs.toml; own rows begin with "own."
    group = models.ForeignKey(TaxonGroup, models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)
    content = models.JSONField()  # the fields of rules.formulary.Entry
    source = models.TextField()
    how_known = models.CharField(max_length=40)
    adopted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    adopted_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["hospital", "slug"], condition=Q(ended_at=None), name="one_formulary_row_in_force"
            ),
            models.UniqueConstraint(fields=["hospital", "slug", "version"], name="a_formulary_version_is_made_once"),
        ]


class OrdersInForce(models.Manager):
    """Orders that stand. One that waits for a second vet is on no sheet, no plan and no pack, whoever asks.

    That is why this is the manager which every relation uses; `MedicationOrder.written` holds the waiting ones as well.
    """

    def get_queryset(self) -> models.QuerySet:
        return super().get_queryset().filter(Q(needs_countersign=False) | Q(countersigned_at__isnull=False))


class MedicationOrder(Versioned):
    """A course: dose from the weight used, volume from the strength on the bottle, times from the first dose."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="medication_orders")
    drug = models.CharField(_("medicine"), max_length=120)
    dose_per_kg = models.DecimalField(_("dose per kg"), max_digits=12, decimal_places=4, validators=MORE_THAN_NOTHING)
    dose_unit = models.CharField(_("unit of the dose"), max_length=10, choices=DoseUnit, default=DoseUnit.MG)
    strength_per_ml = models.DecimalField(
        _("strength per mL"), max_digits=12, decimal_places=4, validators=MORE_THAN_NOTHING
    )
    strength_unit = models.CharField(_("unit of the strength"), max_length=10, choices=DoseUnit, default=DoseUnit.MG)
    dilution_parts = models.PositiveSmallIntegerField(  # 1 part of the bottle in so many parts; 1: undiluted
        _("diluted to so many parts in all"), default=1, validators=[MinValueValidator(1)]
    )
    weight_g = models.DecimalField(max_digits=9, decimal_places=1, editable=False)  # that the dose was worked from
    dose_amount = models.DecimalField(max_digits=14, decimal_places=6, editable=False)  # in dose_unit, before rounding
    volume_ml = models.DecimalField(max_digits=9, decimal_places=4, editable=False)  # to the mark, of what is drawn up
    syringe_ml = models.DecimalField(max_digits=6, decimal_places=2, editable=False)
    route = models.CharField(_("how given"), max_length=12, choices=Route)
    every_hours = models.PositiveSmallIntegerField(_("hours between doses"), validators=[MinValueValidator(1)])
    doses = models.PositiveSmallIntegerField(_("number of doses"), validators=[MinValueValidator(1)])
    first_dose_at = models.DateTimeField(_("first dose"))
    late_dose = models.CharField(_("when a dose is late"), max_length=12, choices=LateDoseRule, default=LateDoseRule.KEEP_TIMES)
    instruction = models.CharField(_("note for whoever gives it"), max_length=250, blank=True)
    adoption = models.ForeignKey(  # the row of the formulary that the dose was judged by; none: not in the formulary
        FormularyAdoption, models.PROTECT, related_name="orders", null=True, blank=True
    )
    discard_days = models.PositiveSmallIntegerField(null=True, blank=True)  # after opening; none: not known, read the label
    half_life_hours = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)  # as the row had it; none: not known
    is_controlled = models.BooleanField(default=False)  # by the hospital's formulary; the law of the place decides
    flagged = models.TextField(blank=True)  # what spoke against the order, as the vet read it
    dose_reason = models.CharField(_("why it was ordered all the same"), max_length=250, blank=True)
    needs_countersign = models.BooleanField(default=False)
    countersigned_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True, blank=True
    )
    countersigned_at = models.DateTimeField(null=True, blank=True)
    ordered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    ordered_at = models.DateTimeField()
    stopped_on = models.DateField(null=True, blank=True)
    stop_reason = models.CharField(max_length=250, blank=True)

    objects = OrdersInForce()
    written = models.Manager()

    class Meta:
        ordering = ["first_dose_at", "id"]
        indexes = [
            models.Index(
                fields=["patient"],
                condition=Q(needs_countersign=True, countersigned_at=None, stopped_on=None),
                name="orders_waiting_for_a_vet",
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(countersigned_by=None, countersigned_at=None)
                | Q(countersigned_by__isnull=False, countersigned_at__isnull=False),
                name="a_countersign_has_its_moment",
                violation_error_message=_("A countersign has a person and a moment."),
            ),
            models.CheckConstraint(
                condition=Q(countersigned_by=None) | ~Q(countersigned_by=F("ordered_by")),
                name="nobody_countersigns_their_own_order",
                violation_error_message=_("Somebody else than the vet who ordered must sign."),
            ),
            models.CheckConstraint(
                condition=Q(dose_unit="unit", strength_unit="unit") | (~Q(dose_unit="unit") & ~Q(strength_unit="unit")),
                name="dose_and_strength_count_the_same",
                violation_error_message=_("Dose and strength must both be in units, or both in mg or micrograms."),
            ),
        ]

    @property
    def is_injected(self) -> bool:
        """Whether a needle is in play, and its caution belongs on the page."""
        return self.route in INJECTED

    @property
    def is_waiting(self) -> bool:
        """Whether a second vet has yet to sign: nothing may be given."""
        return self.needs_countersign and self.countersigned_at is None and self.stopped_on is None

    @property
    def stock_ml(self) -> Decimal:
        """What one dose takes out of the undiluted bottle, in mL."""
        return self.volume_ml / self.dilution_parts


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
    given_ml = models.DecimalField(  # what went in, when it was not what was ordered; the note says why
        max_digits=9, decimal_places=4, null=True, blank=True, validators=MORE_THAN_NOTHING
    )
    register_line = models.OneToOneField(  # where the drug came out of the register of controlled drugs, if it is kept there
        RegisterLine, models.PROTECT, related_name="dose", null=True, blank=True
    )

    class Meta:
        ordering = ["given_at", "id"]
        indexes = [models.Index(fields=["patient", "-given_at"], name="doses_of_a_patient")]
        constraints = [
            models.CheckConstraint(condition=Q(given_ml=None) | (Q(kind="given") & ~Q(note="")), name="another_amount_has_its_reason")
        ]

    @property
    def amount_ml(self) -> Decimal:
        """What was drawn up and went in: as ordered, or as written beside it."""
        return self.order.volume_ml if self.given_ml is None else self.given_ml
