"""What carers ask about an animal, what the hospital answers, and who has to read what."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from hospital.admissions.models import Patient
from hospital.people.models import STAFF, Person, hospitals_where


class QuestionQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> QuestionQuerySet:
        """Those of a hospital's patients for its staff; for a carer their own."""
        return self.filter(Q(patient__hospital__in=hospitals_where(person, STAFF)) | Q(asked_by=person))


class Question(models.Model):
    """One question and everything said on it. What waits for whom is kept here; what was said is in its messages."""

    key = models.UUIDField(unique=True)  # that of its first message
    patient = models.ForeignKey(Patient, models.PROTECT, related_name="questions")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    waits_since = models.DateTimeField(null=True, blank=True)  # the hospital has not answered since
    unread_since = models.DateTimeField(null=True, blank=True)  # the carer has not said that the answer is read since
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    objects = QuestionQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-id"]
        indexes = [
            models.Index(fields=["waits_since"], condition=Q(waits_since__isnull=False), name="questions_that_wait"),
            models.Index(fields=["asked_by"], condition=Q(unread_since__isnull=False), name="answers_not_read"),
        ]

    @property
    def last_words(self) -> str:
        """What was said last, from messages that were read before."""
        return list(self.messages.all())[-1].words


class Message(models.Model):
    """One thing that was said, never changed. `key` is made where it was written, so that sending it twice stores it once."""

    key = models.UUIDField(unique=True)
    question = models.ForeignKey(Question, models.PROTECT, related_name="messages")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    is_from_staff = models.BooleanField()
    at = models.DateTimeField()
    words = models.TextField(max_length=2000)
    photo = models.FileField(upload_to="questions", blank=True)

    class Meta:
        ordering = ["at", "id"]
