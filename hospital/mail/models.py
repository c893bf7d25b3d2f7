"""Letters that wait, went or could not be delivered, and when each person wants to be written to."""

from __future__ import annotations

from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from hospital.edits import Versioned
from hospital.people.models import STAFF, Person, hospitals_where
from hospital.sites.models import Hospital


class LetterQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> LetterQuerySet:
        """One's own letters, and for staff those of their hospitals."""
        return self.filter(Q(to=person) | Q(hospital__in=hospitals_where(person, STAFF)))


class Letter(models.Model):
    """One letter to one person. `key` names what it tells of, so that nothing is told twice; the words are made when it goes.

    A sender takes a letter on a lease; one that dies lets it run out, and the next sender takes the letter again.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("Waiting")
        FOLDED = "folded", _("In a daily letter")
        SENT = "sent", _("Sent")
        LAPSED = "lapsed", _("No longer needed")
        FAILED = "failed", _("Not delivered")
        SETTLED = "settled", _("Told in another way")

    key = models.CharField(max_length=120, unique=True)
    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+", db_index=False)
    to = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    kind = models.SlugField(max_length=20, db_index=False)
    facts = models.JSONField(default=dict, blank=True)  # ids of what it tells of
    is_urgent = models.BooleanField(default=False)  # goes in quiet hours too, and never into a daily letter
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    written_at = models.DateTimeField()
    next_try_at = models.DateTimeField()
    tries = models.PositiveSmallIntegerField(default=0)
    lease = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    folded_into = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="members")
    subject = models.CharField(max_length=200, blank=True)  # as it went, or as it was tried
    body = models.TextField(blank=True)
    error = models.CharField(max_length=250, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    objects = LetterQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["next_try_at", "id"], condition=Q(state="waiting"), name="letters_that_wait"),
            models.Index(fields=["hospital", "state", "-written_at"], name="letters_of_a_hospital"),
        ]


class MailChoice(Versioned):
    """When a person wants letters. Somebody without a row gets each as it happens, and none from nine to seven."""

    class How(models.TextChoices):
        EACH = "each", _("Each as it happens")
        DAILY = "daily", _("One letter a day")

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="mail_choice")
    how = models.CharField(max_length=5, choices=How, default=How.EACH)
    daily_at = models.TimeField(default=time(18))
    quiet_from = models.TimeField(null=True, blank=True, default=time(21))
    quiet_until = models.TimeField(null=True, blank=True, default=time(7))
    wants_reminders = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quiet_from=None, quiet_until=None) | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="quiet_hours_have_both_ends",
            )
        ]
