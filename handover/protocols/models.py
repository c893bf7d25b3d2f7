"""The shipped library of protocols, and what each hospital's vets have adopted of it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import TaxonGroup
from hospital.sites.models import Hospital


class Kind(models.TextChoices):
    RULE = "rule", _("Dates and windows")
    GATE = "gate", _("Season")
    WATER = "water", _("Water time")
    CRITERION = "criterion", _("Fit for release")


class LibraryRow(models.Model):
    """One row of the shipped library: a proposal with its evidence, in force nowhere until a vet adopts it."""

    kind = models.CharField(max_length=10, choices=Kind)
    slug = models.CharField(max_length=120)  # the id of the pure value, with dots
    group = models.ForeignKey(TaxonGroup, models.PROTECT, related_name="+")
    content = models.JSONField()  # the fields of the pure value: schedule.protocol.Rule, SeasonGate, …
    is_alternative = models.BooleanField(default=False)
    source = models.TextField()
    how_known = models.CharField(max_length=40)
    order = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["order"]
        constraints = [models.UniqueConstraint(fields=["kind", "slug"], name="a_library_row_has_one_slug")]


class Adoption(models.Model):
    """A row that a vet of this hospital put in force. A change of figures ends one adoption and begins the next."""

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="adoptions", db_index=False)
    kind = models.CharField(max_length=10, choices=Kind)
    slug = models.CharField(max_length=120)  # the id of the pure value, with dots
    group = models.ForeignKey(TaxonGroup, models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)
    content = models.JSONField()
    source = models.TextField()
    how_known = models.CharField(max_length=40)
    adopted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    adopted_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["hospital", "kind", "slug"], condition=Q(ended_at=None), name="one_adoption_in_force")
        ]


class Advice(models.Model):
    """Plain words for carers of a taxon group: what is normal, when to phone, hygiene, handling."""

    class Topic(models.TextChoices):
        PHONE_NOW = "phone_now", _("Phone now, day or night")
        PHONE_TODAY = "phone_today", _("Phone today")
        NORMAL = "normal", _("This is normal")
        HYGIENE = "hygiene", _("Keep clean, keep safe")
        ZOONOSIS = "zoonosis", _("What people can catch")
        HANDLING = "handling", _("Handling")
        HOUSING = "housing", _("Where it lives")
        FEEDING = "feeding_basics", _("Food and water")

    group = models.ForeignKey(TaxonGroup, models.CASCADE, related_name="advice")
    topic = models.CharField(max_length=16, choices=Topic)
    order = models.PositiveSmallIntegerField(default=0)
    text = models.CharField(max_length=200)
    icon = models.CharField(max_length=30, blank=True)
    source = models.CharField(max_length=250, blank=True)
    how_known = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["order", "id"]
        verbose_name_plural = "advice"
