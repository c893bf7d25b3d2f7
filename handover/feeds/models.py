"""Addresses from which a phone may read a calendar without signing in."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from hospital.sites.models import Hospital


class Feed(models.Model):
    """One person's address of one calendar. The address itself is kept nowhere: only its hash, as with a password."""

    class Kind(models.TextChoices):
        MINE = "mine", _("My animals")  # a carer's
        HOSPITAL = "hospital", _("All visits to the hospital")  # for staff

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="feeds")
    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="feeds")
    kind = models.CharField(max_length=8, choices=Kind)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "hospital", "kind"], condition=Q(ended_at=None), name="one_address_per_calendar")
        ]
