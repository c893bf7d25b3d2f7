"""What was done to the animal's body, and what was left on it or in it."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned


class Procedure(Versioned):
    """One operation or manual treatment. Kinds and their anchoring facts are in fixtures/reference/vocabulary.toml."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)  # of the form: sent twice, stored once
    patient = models.ForeignKey(Patient, models.CASCADE, related_name="procedures")
    kind = models.CharField(_("procedure"), max_length=40)
    done_on = models.DateField(_("done on"))
    site = models.CharField(_("body site"), max_length=120, blank=True)
    indication = models.CharField(_("reason for it"), max_length=250, blank=True)
    anaesthetic = models.CharField(_("anaesthetic"), max_length=250, blank=True)
    findings = models.TextField(_("findings and what was done"), blank=True)
    complications = models.TextField(_("complications"), blank=True)
    surgeon = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["done_on", "id"]


def removed_after(field: str) -> Q:
    """The row's own truth that a thing comes off no earlier than it went on."""
    return Q(removed_on=None) | Q(removed_on__gte=F(field))


class Closure(Versioned):
    """A closed wound: what holds it, and when that came out."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="closures")
    procedure = models.ForeignKey(Procedure, models.CASCADE, related_name="closures")
    closed_on = models.DateField()
    site = models.CharField(_("wound"), max_length=120)
    pattern = models.CharField(_("pattern"), max_length=40, blank=True)
    material = models.CharField(_("material"), max_length=40)
    count = models.PositiveSmallIntegerField(_("how many"), null=True, blank=True, validators=[MinValueValidator(1)])
    removed_on = models.DateField(_("out on"), null=True, blank=True)

    class Meta:
        ordering = ["closed_on", "id"]
        constraints = [models.CheckConstraint(condition=removed_after("closed_on"), name="closure_out_after_in")]


LAYERS = ("contact", "padding", "conforming", "stiffening", "outer")  # from the skin outwards; common practice, no source


class Bandage(Versioned):
    """A bandage, dressing or splint with its layers, from when it went on until it came off for good."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="bandages")
    procedure = models.ForeignKey(Procedure, models.CASCADE, null=True, blank=True, related_name="bandages")
    kind = models.CharField(_("kind"), max_length=40)
    site = models.CharField(_("where"), max_length=120)
    contact = models.CharField(_("contact layer"), max_length=80, blank=True)
    padding = models.CharField(_("padding"), max_length=80, blank=True)
    conforming = models.CharField(_("conforming layer"), max_length=80, blank=True)
    stiffening = models.CharField(_("splint or cast"), max_length=80, blank=True)
    outer = models.CharField(_("outer layer"), max_length=80, blank=True)
    applied_on = models.DateField(_("put on"))
    removed_on = models.DateField(_("off on"), null=True, blank=True)

    class Meta:
        ordering = ["applied_on", "id"]
        constraints = [models.CheckConstraint(condition=removed_after("applied_on"), name="bandage_off_after_on")]


class BandageChange(models.Model):
    """A bandage looked at or changed by the hospital."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="+")
    bandage = models.ForeignKey(Bandage, models.CASCADE, related_name="changes")
    changed_on = models.DateField()
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    note = models.CharField(max_length=250, blank=True)

    class Meta:
        ordering = ["changed_on", "id"]


class Implant(Versioned):
    """Hardware left in or on the animal, and whether it must come out before release."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="implants")
    procedure = models.ForeignKey(Procedure, models.CASCADE, related_name="implants")
    kind = models.CharField(_("kind"), max_length=60)
    size = models.CharField(_("size"), max_length=60, blank=True)
    site = models.CharField(_("where"), max_length=120)
    position = models.CharField(_("position"), max_length=160, blank=True)
    must_come_out = models.BooleanField(_("must come out before release"), default=True)
    placed_on = models.DateField()
    removed_on = models.DateField(_("out on"), null=True, blank=True)

    class Meta:
        ordering = ["placed_on", "id"]
        constraints = [models.CheckConstraint(condition=removed_after("placed_on"), name="implant_out_after_in")]


class Milestone(models.Model):
    """Something that happened once and anchors the plan: first water, aviary, a test passed, a clear swab."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="milestones")
    event = models.SlugField(max_length=60)  # an event of fixtures/reference/events.toml
    happened_on = models.DateField()
    note = models.CharField(max_length=250, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["happened_on", "id"]
