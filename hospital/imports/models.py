"""An old spreadsheet taken in: the file, what its columns and words mean, what is wrong with its rows, and the cases made of them."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned
from hospital.people.models import STAFF, Person, hospitals_where
from hospital.sites.models import Hospital


class ImportQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> ImportQuerySet:
        return self.filter(hospital__in=hospitals_where(person, STAFF))

    def at(self, hospital: Hospital) -> ImportQuerySet:
        return self.filter(hospital=hospital)


class Import(Versioned):
    """One uploaded file on its way to being cases. Nothing of it is a case before it is written, and an undone one is none again."""

    class State(models.TextChoices):
        DRAFT = "draft", _("Not checked yet")
        CHECKED = "checked", _("Checked, nothing written yet")
        WRITTEN = "written", _("Written")
        UNDONE = "undone", _("Undone")

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="imports")
    file = models.FileField(upload_to="imports", blank=True)  # removed after settings.UPLOADS_KEPT_DAYS
    file_name = models.CharField(max_length=200)
    encoding = models.CharField(max_length=30, blank=True)
    delimiter = models.CharField(max_length=1, blank=True)
    sheet = models.CharField(max_length=100, blank=True)
    columns = models.JSONField(default=list, blank=True)  # what each column means, in the order of the file
    reading = models.JSONField(default=dict, blank=True)  # day_order, comma, weight_unit, species of every row
    words = models.JSONField(default=dict, blank=True)  # field → the file's word, folded → what it means here
    counts = models.JSONField(default=dict, blank=True)  # what the last check found
    state = models.CharField(max_length=8, choices=State, default=State.DRAFT)
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField()
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    written_at = models.DateTimeField(null=True, blank=True)
    last_audit_id = models.BigIntegerField(null=True, blank=True)  # of what it wrote; whatever is newer, people did
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)

    objects = ImportQuerySet.as_manager()

    class Meta:
        ordering = ["-uploaded_at", "-id"]

    def __str__(self) -> str:
        return self.file_name


class RowProblem(models.Model):
    """Something about one row of the file that a person should know: the row is refused, or a part of it stays as it stood."""

    of = models.ForeignKey(Import, models.CASCADE, related_name="problems", db_index=False)
    row = models.PositiveIntegerField()
    field = models.CharField(max_length=20)
    code = models.CharField(max_length=30)
    sentence = models.CharField(max_length=400)
    is_refusal = models.BooleanField()

    class Meta:
        ordering = ["row", "id"]
        indexes = [models.Index(fields=["of", "is_refusal", "row"], name="problems_of_an_import")]


class ImportedCase(models.Model):
    """What a case was made of: the row as it stood, kept beside what was understood of it."""

    patient = models.OneToOneField(Patient, models.CASCADE, related_name="imported")
    of = models.ForeignKey(Import, models.PROTECT, related_name="cases")
    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+", db_index=False)
    row = models.PositiveIntegerField()
    identity = models.CharField(max_length=64)  # a hash of the row: the same row is never taken in twice
    cells = models.JSONField()  # heading → cell; without the columns that were left out
    ended_on = models.DateField(null=True, blank=True)  # known also where the kind of end is not one of ours
    end_words = models.CharField(max_length=200, blank=True)  # how it ended, as the file says
    notes = models.JSONField(default=list, blank=True)  # what could not be understood, or stands for something else

    class Meta:
        ordering = ["row"]
        constraints = [models.UniqueConstraint(fields=["hospital", "identity"], name="a_row_is_taken_in_once")]
