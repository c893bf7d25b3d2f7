"""Named sets of orders that a hospital's vets keep, and each time that one of them was signed for an animal."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned
from hospital.sites.models import Hospital


class What(models.TextChoices):
    """What a line of a set orders."""

    MEDICINE = "medicine", _("Medicine")
    FEEDING = "feeding", _("Food")
    BANDAGE = "bandage", _("Bandage, dressing or splint")
    MILESTONE = "milestone", _("Step or fact that the plan counts from")
    TOLD = "told", _("What the carer is told")


class OrderSet(Versioned):
    """A named set. It orders nothing by itself: a vet signs its lines for one animal."""

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="order_sets")
    name = models.CharField(_("name"), max_length=80)
    kind = models.CharField(_("offered after"), max_length=40, blank=True)  # of fixtures/reference/vocabulary.toml; none: after all
    note = models.CharField(_("note for the vet who signs"), max_length=250, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", editable=False)
    put_away_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["hospital", "name"], condition=Q(put_away_at=None), name="a_set_has_its_name",
                violation_error_message=_("The hospital has a set of this name already."),
            )
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.name


class SetLine(models.Model):
    """One order of a set: `content` holds the values of the form that will order it, as plain text."""

    order_set = models.ForeignKey(OrderSet, models.CASCADE, related_name="lines")
    what = models.CharField(max_length=10, choices=What)
    place = models.PositiveSmallIntegerField()
    content = models.JSONField()

    class Meta:
        ordering = ["place", "id"]


class SignedSet(models.Model):
    """A set that a vet signed for an animal, with what was written in words. Rows are only added."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="signed_sets")
    order_set = models.ForeignKey(OrderSet, models.PROTECT, related_name="signatures")
    set_version = models.PositiveIntegerField()
    key = models.UUIDField(default=uuid.uuid4, unique=True)  # of the form: sent twice, written once
    written = models.JSONField()
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()

    class Meta:
        ordering = ["signed_at", "id"]
