"""Eggs of a patient: how they came, where they are kept, what the light showed, what became of each."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned
from hospital.medications.models import MedicationOrder
from hospital.people.models import STAFF, Person, hospitals_where
from hospital.rules.logfile import COLDEST_C, WARMEST_C
from hospital.sites.models import Hospital

ANY_EGG_C = [MinValueValidator(COLDEST_C), MaxValueValidator(WARMEST_C)]
PERCENT = [MinValueValidator(0), MaxValueValidator(100)]
MOST_EGGS = 200


class IncubatorQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> IncubatorQuerySet:
        """Staff see their hospitals' incubators; carers none."""
        return self.filter(hospital__in=hospitals_where(person, STAFF))

    def at(self, hospital: Hospital) -> IncubatorQuerySet:
        return self.filter(hospital=hospital)


class Incubator(Versioned):
    """One incubator of a hospital. Its alarm range and its longest silence are the hospital's own settings."""

    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="incubators", db_index=False)
    name = models.CharField(_("name"), max_length=80)
    target_c = models.DecimalField(_("set to"), max_digits=4, decimal_places=1, validators=ANY_EGG_C)
    target_humidity_percent = models.PositiveSmallIntegerField(_("humidity"), null=True, blank=True, validators=PERCENT)
    alarm_low_c = models.DecimalField(_("alarm below"), max_digits=4, decimal_places=1, null=True, blank=True, validators=ANY_EGG_C)
    alarm_high_c = models.DecimalField(_("alarm above"), max_digits=4, decimal_places=1, null=True, blank=True, validators=ANY_EGG_C)
    alarm_low_humidity_percent = models.PositiveSmallIntegerField(_("humidity alarm below"), null=True, blank=True, validators=PERCENT)
    alarm_high_humidity_percent = models.PositiveSmallIntegerField(_("humidity alarm above"), null=True, blank=True, validators=PERCENT)
    silent_hours = models.PositiveSmallIntegerField(
        _("longest silence of the log"), default=24, validators=[MinValueValidator(1), MaxValueValidator(168)]
    )
    is_in_use = models.BooleanField(_("in use"), default=True)

    objects = IncubatorQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                "hospital", Lower("name"), name="an_incubator_has_its_own_name",
                violation_error_message=_("This hospital has an incubator of that name already."),
            ),
            models.CheckConstraint(
                condition=Q(alarm_low_c=None) | Q(alarm_low_c__lte=F("target_c")), name="an_alarm_below_lies_below_the_target",
                violation_error_message=_("The alarm below must not be higher than what it is set to."),
            ),
            models.CheckConstraint(
                condition=Q(alarm_high_c=None) | Q(alarm_high_c__gte=F("target_c")), name="an_alarm_above_lies_above_the_target",
                violation_error_message=_("The alarm above must not be lower than what it is set to."),
            ),
            models.CheckConstraint(
                condition=Q(alarm_low_humidity_percent=None)
                | Q(alarm_high_humidity_percent=None)
                | Q(alarm_low_humidity_percent__lt=F("alarm_high_humidity_percent")),
                name="a_humidity_alarm_below_lies_below_the_one_above",
                violation_error_message=_("The humidity alarm below must be lower than the one above."),
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.name


class ReadingQuerySet(models.QuerySet):
    def that_count(self) -> ReadingQuerySet:
        """Without those that somebody set aside."""
        return self.filter(set_aside=None)


class Reading(models.Model):
    """Temperature, and humidity if it was read, of an incubator at one moment. Rows are only added, and a moment has one."""

    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+", db_index=False)
    incubator = models.ForeignKey(Incubator, models.CASCADE, related_name="readings", db_index=False)
    read_at = models.DateTimeField(_("read at"))
    temperature_c = models.DecimalField(_("temperature"), max_digits=5, decimal_places=2, validators=ANY_EGG_C)
    humidity_percent = models.DecimalField(_("humidity"), max_digits=4, decimal_places=1, null=True, blank=True, validators=PERCENT)
    is_from_file = models.BooleanField(default=False)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["read_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["incubator", "read_at"], name="a_moment_has_one_reading",
                violation_error_message=_("There is a reading of this moment already."),
            )
        ]  # fmt: skip


class SetAside(models.Model):
    """A reading that does not count, and why. Both rows stay."""

    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+", db_index=False)
    reading = models.OneToOneField(Reading, models.CASCADE, related_name="set_aside")
    reason = models.CharField(_("why"), max_length=250)
    set_aside_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    set_aside_at = models.DateTimeField()


class Clutch(Versioned):
    """The eggs that one animal carries or has laid. Before laying it holds what an image showed."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="clutches")
    imaged_on = models.DateField(_("eggs seen on an image of"), null=True, blank=True)
    imaged_eggs = models.PositiveSmallIntegerField(
        _("eggs on the image"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(MOST_EGGS)]
    )
    is_way_clear = models.BooleanField(_("a vet saw that nothing blocks the way"), default=False)
    laid_from = models.DateTimeField(_("first egg laid"), null=True, blank=True)
    laid_until = models.DateTimeField(_("last egg laid"), null=True, blank=True)
    is_top_marked = models.BooleanField(_("the top of each egg is marked"), default=False)
    note = models.CharField(_("note"), max_length=250, blank=True)
    own_days_least = models.PositiveSmallIntegerField(_("hatches from day"), null=True, blank=True, validators=[MinValueValidator(5)])
    own_days_most = models.PositiveSmallIntegerField(_("until day"), null=True, blank=True, validators=[MaxValueValidator(500)])
    own_days_source = models.CharField(_("where these days are from"), max_length=250, blank=True)
    begun_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()

    class Meta:
        ordering = ["begun_at", "id"]
        verbose_name_plural = "clutches"
        constraints = [
            models.CheckConstraint(
                condition=Q(laid_until=None) | Q(laid_from__isnull=False, laid_until__gte=F("laid_from")),
                name="laying_ends_after_it_begins",
                violation_error_message=_("The last egg cannot come before the first."),
            ),
            models.CheckConstraint(
                condition=Q(own_days_least=None, own_days_most=None, own_days_source="")
                | (Q(own_days_least__lte=F("own_days_most")) & ~Q(own_days_source="")),
                name="own_days_are_a_span_with_a_source",
                violation_error_message=_("Give both days, the earlier one first, and where they are from; or none of the three."),
            ),
        ]


class Induction(models.Model):
    """An order of medicine that is meant to bring the eggs. Dose and safety lie with the order."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    clutch = models.ForeignKey(Clutch, models.CASCADE, related_name="inductions")
    order = models.OneToOneField(MedicationOrder, models.PROTECT, related_name="induction")
    tied_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    tied_at = models.DateTimeField()

    class Meta:
        ordering = ["tied_at", "id"]


class Stay(models.Model):
    """The eggs went into an incubator, and are there until the next stay begins."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    clutch = models.ForeignKey(Clutch, models.CASCADE, related_name="stays")
    incubator = models.ForeignKey(Incubator, models.PROTECT, related_name="stays")
    since = models.DateTimeField(_("since"))
    moved_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["since", "id"]
        constraints = [models.UniqueConstraint(fields=["clutch", "since"], name="a_clutch_is_in_one_incubator_at_a_time")]


class Egg(Versioned):
    """One egg, by its number in the clutch. How it stands is read from the last candling until it hatches or is lost."""

    class End(models.TextChoices):
        HATCHED = "hatched", _("Hatched")
        LOST = "lost", _("Lost")

    class Loss(models.TextChoices):
        BROKEN = "broken", _("broken")
        INFERTILE = "infertile", _("clear, never developed")
        DIED = "died", _("died in the egg")
        ROTTEN = "rotten", _("rotten")
        TAKEN = "taken", _("taken out as the authority decided")
        OTHER = "other", _("other")

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    clutch = models.ForeignKey(Clutch, models.CASCADE, related_name="eggs")
    number = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(MOST_EGGS)])
    end = models.CharField(max_length=8, choices=End, blank=True, editable=False)
    ended_on = models.DateField(null=True, blank=True, editable=False)
    loss = models.CharField(max_length=10, choices=Loss, blank=True, editable=False)
    loss_note = models.CharField(max_length=250, blank=True, editable=False)
    hatchling = models.OneToOneField(Patient, models.SET_NULL, null=True, blank=True, related_name="egg", editable=False)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["clutch", "number"], name="an_egg_has_its_number"),
            models.CheckConstraint(
                condition=Q(end="", ended_on=None, loss="")
                | Q(end="hatched", ended_on__isnull=False, loss="")
                | (Q(end="lost", ended_on__isnull=False) & ~Q(loss="")),
                name="an_egg_ends_on_a_day_and_a_loss_has_its_reason",
            ),
            models.CheckConstraint(condition=Q(hatchling=None) | Q(end="hatched"), name="only_a_hatched_egg_has_a_hatchling"),
        ]


class EggWeight(Versioned):
    """What one egg weighed on one day, without the dish."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    egg = models.ForeignKey(Egg, models.CASCADE, related_name="weights")
    weighed_on = models.DateField(_("weighed on"))
    weight_g = models.DecimalField(_("weight"), max_digits=7, decimal_places=2, validators=[MinValueValidator(Decimal("0.01"))])
    weighed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["weighed_on", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["egg", "weighed_on"], name="an_egg_has_one_weight_a_day",
                violation_error_message=_("This egg was weighed on that day already. Correct that weight at the egg."),
            )
        ]  # fmt: skip


class Candling(models.Model):
    """The eggs were held before a light on one day."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    clutch = models.ForeignKey(Clutch, models.CASCADE, related_name="candlings")
    candled_on = models.DateField(_("candled on"))
    note = models.CharField(_("note"), max_length=250, blank=True)
    candled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["candled_on", "id"]


class CandledEgg(models.Model):
    """What the light showed of one egg."""

    class Seen(models.TextChoices):
        DEVELOPING = "developing", _("developing")
        CLEAR = "clear", _("clear")
        DEAD = "dead", _("dead")
        UNSURE = "unsure", _("unsure")

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    candling = models.ForeignKey(Candling, models.CASCADE, related_name="results")
    egg = models.ForeignKey(Egg, models.CASCADE, related_name="candled")
    seen = models.CharField(max_length=10, choices=Seen)

    class Meta:
        ordering = ["candling__candled_on", "candling_id"]
        constraints = [models.UniqueConstraint(fields=["candling", "egg"], name="an_egg_is_seen_once_in_a_candling")]
