"""An animal's time in theatre: on the day's list, under anaesthesia, in recovery, done; and what was read meanwhile."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned
from hospital.procedures.models import Procedure
from hospital.rules.anaesthesia import PhysicalStatus


class Stage(models.TextChoices):
    """Where it stands; worked out from the moments that were written down."""

    PLANNED = "planned", _("Planned")
    UNDER = "under", _("Under anaesthesia")
    RECOVERY = "recovery", _("In recovery")
    DONE = "done", _("Done")
    CALLED_OFF = "called_off", _("Called off")


class Fasted(models.TextChoices):
    YES = "yes", _("Yes, as ordered")
    NO = "no", _("No")
    NOT_WANTED = "not_wanted", _("Not wanted for this animal")


class Tube(models.TextChoices):
    MASK = "mask", _("Mask")
    TRACHEAL = "tracheal", _("Tracheal tube")
    SUPRAGLOTTIC = "supraglottic", _("Supraglottic airway")
    AIR_SAC = "air_sac", _("Air sac cannula")
    NONE = "none", _("None")


class Ventilation(models.TextChoices):
    SPONTANEOUS = "spontaneous", _("Breathes by itself")
    ASSISTED = "assisted", _("Assisted by hand")
    MECHANICAL = "mechanical", _("Ventilator")


class Depth(models.TextChoices):
    LIGHT = "light", _("Light")
    WANTED = "wanted", _("As wanted")
    DEEP = "deep", _("Too deep")


CHECKS = ("is_airway_checked", "is_machine_checked", "is_scavenging_on", "are_emergency_drugs_ready", "is_weighed_today")


class Anaesthetic(Versioned):
    """One anaesthetic, for a procedure or alone. It begins as a line of the day's list."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="anaesthetics")
    procedure = models.ForeignKey(Procedure, models.SET_NULL, null=True, blank=True, related_name="anaesthetics", editable=False)
    kind = models.CharField(_("what for"), max_length=40, blank=True)  # of fixtures/reference/vocabulary.toml; none: no procedure
    planned_on = models.DateField(_("on which day"))
    place = models.PositiveSmallIntegerField(_("order in the day"), default=1, validators=[MinValueValidator(1), MaxValueValidator(99)])
    vet = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("vet"))
    note = models.CharField(_("note for theatre"), max_length=250, blank=True)
    fasting = models.CharField(_("food and water before it"), max_length=120, blank=True)
    planned_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", editable=False)
    called_off = models.CharField(_("why it is called off"), max_length=250, blank=True)

    asa = models.CharField(_("ASA physical status"), max_length=1, blank=True, choices=[(each.value, each.name) for each in PhysicalStatus])
    is_emergency = models.BooleanField(_("emergency (E)"), default=False)
    fasted = models.CharField(_("fasted"), max_length=12, blank=True, choices=Fasted)
    is_airway_checked = models.BooleanField(_("mouth and airway looked at and clear"), default=False)
    is_machine_checked = models.BooleanField(_("machine and circuit checked, no leak"), default=False)
    is_scavenging_on = models.BooleanField(_("waste gas is led away"), default=False)
    are_emergency_drugs_ready = models.BooleanField(_("emergency medicines worked out for this weight"), default=False)
    is_weighed_today = models.BooleanField(_("weighed today"), default=False)
    tube = models.CharField(_("airway"), max_length=12, blank=True, choices=Tube)
    tube_mm = models.DecimalField(_("inner diameter"), max_digits=4, decimal_places=1, null=True, blank=True)
    is_cuffed = models.BooleanField(_("cuffed"), default=False)
    ventilation = models.CharField(_("breathing"), max_length=12, blank=True, choices=Ventilation)
    rate_per_minute = models.PositiveSmallIntegerField(_("breaths given a minute"), null=True, blank=True)
    peak_cmh2o = models.PositiveSmallIntegerField(_("peak airway pressure"), null=True, blank=True)
    agents = models.CharField(_("gas and how it was begun"), max_length=250, blank=True)
    fluids = models.CharField(_("fluids during it"), max_length=250, blank=True)
    warmth = models.CharField(_("how it is kept warm"), max_length=120, blank=True)
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+", editable=False)

    begun_at = models.DateTimeField(_("anaesthesia began"), null=True, blank=True)
    gas_off_at = models.DateTimeField(_("gas off"), null=True, blank=True)
    extubated_at = models.DateTimeField(_("tube out, or mask off"), null=True, blank=True)
    righted_at = models.DateTimeField(_("righted itself"), null=True, blank=True)
    recovered_at = models.DateTimeField(_("recovered"), null=True, blank=True)
    recovered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+", editable=False)
    check_every_minutes = models.PositiveSmallIntegerField(_("looked at every"), default=15)

    class Meta:
        ordering = ["planned_on", "place", "id"]
        indexes = [models.Index(fields=["planned_on"], name="theatre_list_of_a_day")]
        constraints = [
            models.CheckConstraint(
                condition=Q(recovered_at=None) | Q(righted_at__isnull=False, recovered_by__isnull=False),
                name="recovered_means_righted_and_seen",
                violation_error_message=_("It has recovered once it has righted itself and somebody says so."),
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{later: None}) | Q(**{f"{later}__gte": F(earlier)}),
                    name=f"{later}_follows",
                    violation_error_message=_("These moments are not in order: began, gas off, tube out, righted, recovered."),
                )
                for earlier, later in (
                    ("begun_at", "gas_off_at"), ("gas_off_at", "extubated_at"),
                    ("extubated_at", "righted_at"), ("righted_at", "recovered_at"),
                )
            ),
        ]  # fmt: skip

    @property
    def stage(self) -> Stage:
        if self.called_off:
            return Stage.CALLED_OFF
        if self.begun_at is None:
            return Stage.PLANNED
        if self.recovered_at or self.patient.closed_on:
            return Stage.DONE
        return Stage.RECOVERY if self.gas_off_at else Stage.UNDER


def whole(label: str, most: int) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(label, null=True, blank=True, validators=[MaxValueValidator(most)])


def tenths(label: str, most: int) -> models.DecimalField:
    limits = [MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(most))]
    return models.DecimalField(label, max_digits=4, decimal_places=1, null=True, blank=True, validators=limits)


class TheatreReading(models.Model):
    """What was read at one mark of the five-minute grid. Rows are only added: a later version corrects, the former stays.

    The largest figures only catch slips of the hand (common practice, no source); they judge no animal.
    """

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    anaesthetic = models.ForeignKey(Anaesthetic, models.CASCADE, related_name="readings", db_index=False)
    at = models.DateTimeField()  # a five-minute mark of the clock
    version = models.PositiveSmallIntegerField(editable=False)  # counts the readings of this mark from 1 on
    heart_per_minute = whole(_("heart rate"), 1500)
    breaths_per_minute = whole(_("breathing rate"), 400)
    spo2_percent = whole(_("oxygen saturation"), 100)
    etco2_mmhg = whole(_("end-tidal CO₂"), 150)
    temperature_c = tenths(_("temperature"), 50)
    vaporiser_percent = tenths(_("vaporiser"), 10)
    oxygen_l_min = tenths(_("oxygen"), 20)
    depth = models.CharField(_("depth"), max_length=8, blank=True, choices=Depth)
    reflexes = models.CharField(_("reflexes"), max_length=120, blank=True)
    note = models.CharField(_("note"), max_length=250, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["at", "version"]
        constraints = [models.UniqueConstraint(fields=["anaesthetic", "at", "version"], name="a_reading_has_its_mark")]


FIGURES = (
    "heart_per_minute", "breaths_per_minute", "spo2_percent", "etco2_mmhg", "temperature_c", "vaporiser_percent", "oxygen_l_min",
)  # fmt: skip
SAID = (*FIGURES, "depth", "reflexes", "note")
