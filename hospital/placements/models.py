"""What the law or a permit lets carers hold, and what the hospital lends them."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient, TaxonGroup
from hospital.edits import Versioned
from hospital.people.models import Carer
from hospital.sites.models import Hospital


class HoldingLimit(models.Model):
    """At most so many animals of a group at one carer, or so many days of one with carers: the hospital writes down what
    its law or permit says. Nothing is shipped: no such number holds everywhere."""

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="holding_limits", db_index=False)
    group = models.ForeignKey(TaxonGroup, models.PROTECT, related_name="+")
    most_animals = models.PositiveSmallIntegerField(_("animals at one carer at most"), null=True, blank=True)
    most_days = models.PositiveSmallIntegerField(
        _("days with carers at most"), null=True, blank=True, validators=[MinValueValidator(1)]
    )
    source = models.CharField(_("where it is written"), max_length=160)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["hospital", "group"], name="a_group_has_one_limit_per_hospital"),
            models.CheckConstraint(
                condition=Q(most_animals__isnull=False) | Q(most_days__isnull=False), name="a_limit_limits_something"
            ),
        ]


class Loan(Versioned):
    """A thing of the hospital's that a carer has, or had: until when, and what became of it."""

    class Ending(models.TextChoices):
        BACK = "back", _("Came back")
        BROKEN = "broken", _("Came back broken")
        LOST = "lost", _("Lost")

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="loans", db_index=False)
    carer = models.ForeignKey(Carer, models.PROTECT, related_name="loans")
    patient = models.ForeignKey(Patient, models.PROTECT, null=True, blank=True, related_name="loans")
    what = models.CharField(_("what"), max_length=120)
    lent_at = models.DateTimeField()
    lent_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    due_on = models.DateField(_("due back on"), null=True, blank=True)  # none: with the animal
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    ending = models.CharField(max_length=6, choices=Ending, blank=True)
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering = ["lent_at", "id"]
        indexes = [models.Index(fields=["hospital"], condition=Q(ended_at=None), name="loans_that_are_out")]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at=None, ending="") | (Q(ended_at__gte=F("lent_at")) & ~Q(ending="")), name="a_loan_ends_somehow"
            )
        ]
