"""What an animal is fed and which fluids it gets, as a vet signed it.

Rows are only added: a new plan replaces the one before, a stop is a row beside the plan that it ends.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.rules.fluids import Phase

ABOVE_NOTHING = [MinValueValidator(Decimal("0.0001"))]
NOT_BELOW_NOTHING = [MinValueValidator(Decimal(0))]
SOME_TIMES_A_DAY = [MinValueValidator(1), MaxValueValidator(24)]


class FluidRoute(models.TextChoices):
    MOUTH = "mouth", _("by mouth or by tube")
    UNDER_SKIN = "under_skin", _("under the skin")
    BODY_CAVITY = "body_cavity", _("into the body cavity")
    VEIN = "vein", _("into a vein")
    BONE = "bone", _("into a bone")


RUNNING = frozenset({FluidRoute.VEIN, FluidRoute.BONE})  # by the hour; the others so many times a day
AT_HOME = frozenset({FluidRoute.MOUTH, FluidRoute.UNDER_SKIN})  # what a vet may leave to a carer


class SignedPlan(models.Model):
    """What both plans hold: the weight that they were worked from, where the constant is from, and who signed when."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="%(class)ss", db_index=False)
    version = models.PositiveIntegerField(editable=False)  # counts the patient's plans of this kind from 1 on
    weight_g = models.DecimalField(max_digits=9, decimal_places=1, editable=False)
    source = models.CharField(max_length=250, editable=False)  # of the constant
    how_known = models.CharField(max_length=40, editable=False)
    note = models.CharField(_("note for whoever gives it"), max_length=250, blank=True)
    ordered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    ordered_at = models.DateTimeField()

    class Meta:
        abstract = True
        ordering = ["version"]

    @property
    def stopped(self) -> PlanStop | None:
        """The row that ended it before another plan replaced it."""
        return getattr(self, "stop", None)


class FeedingPlan(SignedPlan):
    """Energy need → grams for a meal. Energies are in kilocalories for a day, the energy of the food for one gram."""

    kcal_constant = models.DecimalField(_("constant"), max_digits=7, decimal_places=2, validators=ABOVE_NOTHING)  # × kg^0.75
    factor = models.DecimalField(_("times"), max_digits=4, decimal_places=2, validators=ABOVE_NOTHING)
    kept_at_c = models.DecimalField(_("kept at"), max_digits=4, decimal_places=1, null=True, blank=True)
    resting_kcal = models.DecimalField(max_digits=12, decimal_places=4, editable=False)
    need_kcal = models.DecimalField(max_digits=12, decimal_places=4, editable=False)
    food = models.CharField(_("food"), max_length=120)
    kcal_per_g = models.DecimalField(_("energy of the food"), max_digits=7, decimal_places=4, validators=ABOVE_NOTHING)
    food_source = models.CharField(max_length=250, editable=False)
    every_days = models.PositiveSmallIntegerField(
        _("fed every"), default=1, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    meals_per_day = models.PositiveSmallIntegerField(_("meals on such a day"), validators=SOME_TIMES_A_DAY)
    grams_per_meal = models.DecimalField(max_digits=9, decimal_places=2, editable=False)

    class Meta(SignedPlan.Meta):
        constraints = [models.UniqueConstraint(fields=["patient", "version"], name="a_feeding_plan_has_its_number")]


class FluidPlan(SignedPlan):
    """Maintenance, deficit and losses → a rate, or a volume for each time. Volumes are in millilitres.

    `phases` holds the figures that were signed: the deficit is given once, then the plan goes on without it.
    """

    fluid = models.CharField(_("fluid"), max_length=120)
    route = models.CharField(_("how given"), max_length=12, choices=FluidRoute)
    ml_per_kg_day = models.DecimalField(_("maintenance"), max_digits=6, decimal_places=2, validators=ABOVE_NOTHING)
    dehydration_percent = models.DecimalField(_("dehydration"), max_digits=4, decimal_places=1, validators=NOT_BELOW_NOTHING)
    deficit_hours = models.PositiveSmallIntegerField(_("deficit given within"), null=True, blank=True)
    half_in_hours = models.PositiveSmallIntegerField(_("half of it within"), null=True, blank=True)
    losses_ml_day = models.DecimalField(_("ongoing losses"), max_digits=8, decimal_places=2, validators=NOT_BELOW_NOTHING)
    times_per_day = models.PositiveSmallIntegerField(_("times a day"), null=True, blank=True, validators=SOME_TIMES_A_DAY)
    drops_per_ml = models.PositiveSmallIntegerField(_("giving set"), null=True, blank=True)
    starts_at = models.DateTimeField(_("begins"))
    deficit_ml = models.DecimalField(max_digits=12, decimal_places=4, editable=False)
    phases = models.JSONField(editable=False)  # rules.fluids.Phase, its decimals as text
    carer_gives = models.BooleanField(_("the carer gives it"), default=False)
    warned = models.TextField(blank=True, editable=False)  # what spoke against it, as the vet read it

    class Meta(SignedPlan.Meta):
        constraints = [
            models.UniqueConstraint(fields=["patient", "version"], name="a_fluid_plan_has_its_number"),
            models.CheckConstraint(
                condition=Q(carer_gives=False) | Q(route__in=["mouth", "under_skin"]), name="a_carer_gives_no_drip"
            ),
        ]

    def in_phases(self) -> list[tuple[Phase, models.DateTimeField, models.DateTimeField | None]]:
        """Each phase with the moments at which it begins and ends; the last one has no end."""
        phases = [Phase.from_json(kept) for kept in self.phases]
        starts = [self.starts_at + timedelta(hours=each.from_hour) for each in phases]
        return [(each, at, end) for each, at, end in zip(phases, starts, [*starts[1:], None], strict=True)]


class PlanStop(models.Model):
    """A plan was ended and none took its place."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="plan_stops")
    feeding = models.OneToOneField(FeedingPlan, models.CASCADE, related_name="stop", null=True, blank=True)
    fluid = models.OneToOneField(FluidPlan, models.CASCADE, related_name="stop", null=True, blank=True)
    reason = models.CharField(_("why"), max_length=250)
    stopped_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    stopped_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(feeding=None, fluid__isnull=False) | Q(feeding__isnull=False, fluid=None),
                name="a_stop_ends_one_plan",
            )
        ]
