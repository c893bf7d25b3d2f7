"""An animal in care: who found it, where, in what state, and where it lives now."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.edits import Versioned
from hospital.people.models import STAFF, Carer, Person, hospitals_where
from hospital.sites.models import Hospital
from hospital.words import species_name


class TaxonGroup(models.Model):
    """A group that protocols are written for: freshwater turtle → chelonian → reptile → animal."""

    slug = models.SlugField(primary_key=True)
    name = models.CharField(max_length=80)
    parent = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="children")
    body_plan = models.CharField(max_length=20, blank=True)
    path = models.JSONField(default=list, editable=False)  # its slug and its parents': asked for at every turn, changed by no page

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.path = [self.slug, *(self.parent.path if self.parent else ())]
        super().save(*args, **kwargs)

    def lineage(self) -> tuple[str, ...]:
        """This group's slug, then its parents', the widest last."""
        return tuple(self.path)


class Species(Versioned):
    """A species of the shipped list, or one that a hospital added."""

    scientific_name = models.CharField(max_length=120, unique=True)
    common_name = models.CharField(max_length=120)
    other_names = models.CharField(max_length=300, blank=True)
    class_name = models.CharField(max_length=30, blank=True)
    family = models.CharField(max_length=60, blank=True)
    group = models.ForeignKey(TaxonGroup, models.PROTECT, related_name="species")
    is_dangerous = models.BooleanField(default=False)
    danger_note = models.CharField(max_length=160, blank=True)
    non_native_note = models.CharField(max_length=200, blank=True)  # where the law restricts it as invasive, and who says so
    is_aquatic = models.BooleanField(default=False)  # needs water to live in: a carer with a pool
    sensitivity = models.PositiveSmallIntegerField(
        null=True, blank=True
    )  # 1 extreme … 4 low, 0 none; empty: not decided
    search_text = models.CharField(max_length=600, editable=False)  # all names, lower case, accents folded
    is_shipped = models.BooleanField(default=False, editable=False)  # of the shipped list, which may take it away again

    class Meta:
        ordering = ["common_name"]
        verbose_name_plural = "species"

    def __str__(self) -> str:
        return self.common_name

    @property
    def caution_kind(self) -> str:
        """Which of the usual cautions fits (templates/_caution.html); empty for a species that is not dangerous."""
        if not self.is_dangerous:
            return ""
        if self.group_id == "bat":
            return "bat"
        return "venom" if "venom" in self.danger_note.lower() else "bite"


class Cause(models.Model):
    """Why an animal needed help."""

    slug = models.SlugField(primary_key=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=30, blank=True)
    caution = models.CharField(max_length=250, blank=True)
    order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["order"]

    def __str__(self) -> str:
        return self.name


class Finder(Versioned):
    """Who found the animal. For the hospital's staff only: on no carer's page, pack, feed, log line or export."""

    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+")
    name = models.CharField(_("finder's name"), max_length=120, blank=True)
    phone = models.CharField(_("finder's phone"), max_length=40, blank=True)
    email = models.EmailField(_("finder's e-mail"), blank=True)
    wants_news = models.BooleanField(_("wants to hear how it went"), default=False)


class Sex(models.TextChoices):
    UNKNOWN = "unknown", _("Not known")
    FEMALE = "female", _("Female")
    MALE = "male", _("Male")


class LifeStage(models.TextChoices):
    UNKNOWN = "unknown", _("Not known")
    NEONATE = "neonate", _("Newborn or hatchling")
    JUVENILE = "juvenile", _("Juvenile")
    SUBADULT = "subadult", _("Subadult")
    ADULT = "adult", _("Adult")
    AGED = "aged", _("Aged")


class Triage(models.TextChoices):
    NOW = "now", _("Needs a vet now")
    TODAY = "today", _("See today")
    STABLE = "stable", _("Stable")


class PatientQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> PatientQuerySet:
        """Staff see their hospitals' patients; a carer sees the animals placed with them now."""
        placed = Placement.objects.filter(carer__person=person, ended_at=None).values("patient_id")
        return self.filter(Q(hospital__in=hospitals_where(person, STAFF)) | Q(pk__in=placed))

    def at(self, hospital: Hospital) -> PatientQuerySet:
        return self.filter(hospital=hospital)

    def in_care(self) -> PatientQuerySet:
        return self.filter(closed_on=None)


class Patient(Versioned):
    """One animal, one case: from the finder's call to the outcome."""

    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="patients", db_index=False)
    case_number = models.CharField(max_length=9, unique=True, editable=False)
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("called"), max_length=60, blank=True)
    species = models.ForeignKey(Species, models.PROTECT, related_name="patients")
    admitted_at = models.DateTimeField(_("admitted at"))
    cause = models.ForeignKey(Cause, models.PROTECT, related_name="+", null=True, blank=True)
    circumstances = models.TextField(_("what happened"), blank=True)
    finder = models.ForeignKey(Finder, models.SET_NULL, null=True, blank=True, related_name="patients")
    found_on = models.DateField(_("found on"), null=True, blank=True)
    found_place = models.CharField(_("where found, in words"), max_length=250, blank=True)
    found_latitude = models.DecimalField(
        max_digits=9,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(-90), MaxValueValidator(90)],
    )
    found_longitude = models.DecimalField(
        max_digits=9,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
    )
    found_uncertainty_m = models.PositiveIntegerField(_("how exact, in metres"), null=True, blank=True)
    sex = models.CharField(max_length=8, choices=Sex, default=Sex.UNKNOWN)
    life_stage = models.CharField(max_length=9, choices=LifeStage, default=LifeStage.UNKNOWN)
    is_gravid = models.BooleanField(_("gravid or pregnant"), default=False)
    triage = models.CharField(max_length=6, choices=Triage, default=Triage.TODAY)
    triage_note = models.CharField(_("what is wrong, in a line"), max_length=250, blank=True)
    is_biosecurity_risk = models.BooleanField(_("keep apart from other animals"), default=False)
    is_zoonosis_risk = models.BooleanField(_("may be catching for people"), default=False)
    admitted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    dam = models.ForeignKey("self", models.SET_NULL, null=True, blank=True, related_name="young")
    closed_on = models.DateField(null=True, blank=True, editable=False)  # set with the outcome, in one transaction

    objects = PatientQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(found_latitude=None, found_longitude=None)
                | Q(found_latitude__isnull=False, found_longitude__isnull=False),
                name="a_place_has_both_coordinates",
            ),
            models.CheckConstraint(
                condition=Q(found_uncertainty_m=None) | Q(found_uncertainty_m__gt=0),
                name="a_place_is_never_exact_to_nothing",
            ),
        ]
        indexes = [
            models.Index(fields=["hospital", "-admitted_at"], name="patients_by_admission"),
            models.Index(fields=["hospital"], condition=Q(closed_on=None), name="patients_in_care"),
        ]

    def __str__(self) -> str:
        return f"{self.case_number} {self.called}"

    @property
    def called(self) -> str:
        """Name and species: "Bracken, Red fox"."""
        species = species_name(self.species.scientific_name, self.species.common_name)
        return f"{self.name}, {species}" if self.name else species

    @property
    def is_in_care(self) -> bool:
        return self.closed_on is None

    def latest_weight(self) -> Weight | None:
        return self.weights.last()

    def open_placement(self) -> Placement | None:
        """Where the animal lives now; None when it was never placed or the case is closed."""
        return self.placements.open().select_related("carer__person").first()

    def latest_photo(self) -> Photo | None:
        return self.photos.order_by("taken_at", "pk").last()


class CaseCounter(models.Model):
    """The running number behind case numbers: one row, locked while the next is taken."""

    last = models.PositiveIntegerField(default=0)


class Identification(models.Model):
    """A mark that tells one animal from another."""

    class Kind(models.TextChoices):
        MICROCHIP = "microchip", _("Microchip")
        RING = "ring", _("Ring or band")
        NOTCHES = "notches", _("Shell notches")
        EAR_TAG = "ear_tag", _("Ear tag")
        FORMER = "former", _("Former number")
        OTHER = "other", _("Other mark")

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="identifications")
    kind = models.CharField(max_length=9, choices=Kind)
    value = models.CharField(max_length=60)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["patient", "kind", "value"], name="a_mark_is_noted_once")]
        indexes = [models.Index(fields=["kind", "value"], name="marks_by_value")]


class Weight(models.Model):
    """One weighing, in grams. Rows are only added; a correction is a later row."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="weights", db_index=False)
    weighed_at = models.DateTimeField()
    weight_g = models.DecimalField(max_digits=9, decimal_places=1, validators=[MinValueValidator(0.1)])
    weighed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True)
    note = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["weighed_at", "id"]
        indexes = [models.Index(fields=["patient", "-weighed_at"], name="weights_of_a_patient")]


class Photo(models.Model):
    """A photograph, re-encoded and without location data; `file` lies below MEDIA_ROOT under a name of our own."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="photos")
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    file = models.FileField(upload_to="photos")
    caption = models.CharField(max_length=160, blank=True)
    taken_at = models.DateTimeField()
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")


class PlacementQuerySet(models.QuerySet):
    def open(self) -> PlacementQuerySet:
        return self.filter(ended_at=None)


class Placement(Versioned):
    """Where a patient lives: in the ward (no carer) or with a carer. It decides who may see whom."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="placements")
    carer = models.ForeignKey(Carer, models.PROTECT, null=True, blank=True, related_name="placements")
    ward = models.CharField(_("ward or cage"), max_length=80, blank=True)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)  # the carer has taken the animal over
    declined_at = models.DateTimeField(null=True, blank=True)  # or has said that they cannot: it never came to them
    declined_why = models.CharField(max_length=250, blank=True)
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    note = models.CharField(max_length=250, blank=True)

    objects = PlacementQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["patient"], condition=Q(ended_at=None), name="one_open_placement_per_patient"
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(ended_at__gte=F("started_at")), name="placement_ends_after_it_starts"
            ),
            models.CheckConstraint(
                condition=Q(declined_at=None) | Q(accepted_at=None, ended_at__isnull=False), name="what_was_declined_is_over"
            ),
        ]
        indexes = [models.Index(fields=["carer"], condition=Q(ended_at=None), name="open_placements_of_a_carer")]
