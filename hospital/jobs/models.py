"""Work that takes longer than a page may: it runs in a process of its own and is watched from a page."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.people.models import STAFF, Person, hospitals_where
from hospital.sites.models import Hospital


class JobQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> JobQuerySet:
        return self.filter(hospital__in=hospitals_where(person, STAFF))


class Job(models.Model):
    """One piece of work: who asked for it, what it is about, and how far it came."""

    class State(models.TextChoices):
        WAITING = "waiting", _("Waiting")
        RUNNING = "running", _("Running")
        DONE = "done", _("Done")
        FAILED = "failed", _("Failed")

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="+")
    kind = models.CharField(max_length=20)  # of settings.JOBS
    subject = models.UUIDField()  # the key of what it works on
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=7, choices=State, default=State.WAITING)
    note = models.CharField(max_length=500, blank=True)  # why it failed, in a sentence

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["subject"], condition=models.Q(state__in=("waiting", "running")), name="one_job_at_a_time_for_a_subject"
            )
        ]
        indexes = [models.Index(fields=["subject", "-id"], name="jobs_of_a_subject")]
