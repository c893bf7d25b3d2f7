"""Diagnostic images of a patient, and what was measured on them."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Withdrawable


class ImageKind(models.TextChoices):
    RADIOGRAPH = "radiograph", _("Radiograph")
    ULTRASOUND = "ultrasound", _("Ultrasound")
    CT = "ct", _("CT slice")
    MR = "mr", _("MR slice")
    ENDOSCOPY = "endoscopy", _("Endoscopy")
    OTHER = "other", _("Other image")


class SpacingKind(models.TextChoices):
    """Where the millimetres of the file's pixel spacing hold."""

    DETECTOR = "detector", _("at the detector")
    BODY = "body", _("in the body")


class Image(Withdrawable):
    """One image, encoded anew; `file` lies below MEDIA_ROOT under a name of our own, and never is the upload."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="images")
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    file = models.FileField(upload_to="images")
    kind = models.CharField(max_length=10, choices=ImageKind)
    taken_on = models.DateField()
    body_part = models.CharField(max_length=60, blank=True)
    view_position = models.CharField(max_length=60, blank=True)
    note = models.CharField(max_length=250, blank=True)
    is_grey = models.BooleanField()  # grey levels in a PNG; else colours in a JPEG
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    lowest = models.PositiveIntegerField()  # grey levels that occur
    highest = models.PositiveIntegerField()
    window_low = models.PositiveIntegerField()  # black up to here, as the file asked for
    window_high = models.PositiveIntegerField()  # white from here
    rows_mm = models.DecimalField(max_digits=10, decimal_places=6, null=True, blank=True)  # DICOM Pixel Spacing, first value
    columns_mm = models.DecimalField(max_digits=10, decimal_places=6, null=True, blank=True)  # the second
    spacing_kind = models.CharField(max_length=8, choices=SpacingKind, blank=True)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    added_at = models.DateTimeField()
    moved_to = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="moved_from", editable=False)

    class Meta:
        ordering = ["taken_on", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(window_low__lt=F("window_high")), name="a_window_is_open"),
            models.CheckConstraint(
                condition=Q(rows_mm=None, columns_mm=None, spacing_kind="")
                | Q(rows_mm__isnull=False, columns_mm__isnull=False, rows_mm__gt=0, columns_mm__gt=0, spacing_kind__in=SpacingKind.values),
                name="a_spacing_says_where_it_holds",
            ),
        ]

    def __str__(self) -> str:
        return " ".join(filter(None, [self.get_kind_display(), self.body_part, self.view_position]))


class MeasurementKind(models.TextChoices):
    MARKER = "marker", _("Marker of known size")
    LENGTH = "length", _("Length")
    ANGLE = "angle", _("Angle")
    WORDS = "words", _("Words")


class Measurement(Withdrawable):
    """Points that somebody set on an image. The value is worked out from them, and from the marker drawn before."""

    image = models.ForeignKey(Image, models.CASCADE, related_name="measurements")
    kind = models.CharField(max_length=6, choices=MeasurementKind)
    points = models.JSONField()  # [[x, y], …] in whole tenths of a pixel
    marker_mm = models.DecimalField(
        max_digits=6, decimal_places=2, null=True, blank=True,
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal(1000))],
    )  # fmt: skip
    by_marker = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    words = models.CharField(max_length=160, blank=True)
    drawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    drawn_at = models.DateTimeField()

    class Meta:
        ordering = ["drawn_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind=MeasurementKind.MARKER, marker_mm__isnull=False, marker_mm__gt=0)
                | (~Q(kind=MeasurementKind.MARKER) & Q(marker_mm=None)),
                name="a_marker_has_a_size",
            )
        ]
