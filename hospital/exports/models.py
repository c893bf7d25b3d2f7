"""Files made for somebody outside, or for a spreadsheet: who asked for what, until when it is kept, and who fetched it."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.people.models import STAFF, Person, hospitals_where
from hospital.sites.models import Hospital


class ExportQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> ExportQuerySet:
        return self.filter(hospital__in=hospitals_where(person, STAFF))


class Export(models.Model):
    """One file of records, made once and kept for a stated time."""

    class Kind(models.TextChoices):
        REGISTER = "register", _("Register of admissions: a row for each case")
        RETURN = "return", _("Annual return: counts")
        DARWIN_CORE = "darwin_core", _("Darwin Core archive, for biodiversity records")
        GEOJSON = "geojson", _("GeoJSON, for maps")

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="exports")
    kind = models.CharField(max_length=12, choices=Kind)
    file_format = models.CharField(max_length=8)  # csv, xlsx, zip, geojson
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until and including"))
    choices = models.JSONField(default=dict)  # columns, groups
    has_exact_places = models.BooleanField(default=False)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    file = models.FileField(upload_to="exports", blank=True)
    cases = models.PositiveIntegerField(null=True, blank=True)
    kept_until = models.DateTimeField(null=True, blank=True)

    objects = ExportQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-id"]


class Download(models.Model):
    """Somebody fetched the file."""

    of = models.ForeignKey(Export, models.CASCADE, related_name="downloads")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at"]
