"""Handover packs that were made: what was printed, for whom, from which plan."""

import uuid

from django.conf import settings
from django.db import models

from handover.plans.models import Plan
from hospital.admissions.models import Patient, Placement
from hospital.people.models import PAPERS, PRINT_SIZES


class Pack(models.Model):
    """One printed pack, never changed. Its code leads to the animal's log and says when a newer one exists."""

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="packs", db_index=False)
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="packs")
    placement = models.ForeignKey(Placement, models.PROTECT, null=True, related_name="packs")
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    paper = models.CharField(max_length=6, choices=PAPERS, default="A4")
    print_size = models.CharField(max_length=5, choices=PRINT_SIZES, default="usual")
    language = models.CharField(max_length=8, choices=settings.LANGUAGES, default=settings.LANGUAGE_CODE)
    contents = models.JSONField()  # the frozen value the pages were set from
    file = models.FileField(upload_to="packs")
    sha256 = models.CharField(max_length=64)
    pages = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["patient", "version"], name="pack_versions_are_numbered")]


class AnimalCode(models.Model):
    """The code on one pack, by which whoever holds the paper reports about that animal. Only a keyed hash of it is kept."""

    pack = models.OneToOneField(Pack, models.PROTECT, related_name="animal_code")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
