"""Keep an image, draw on it, and mark what was a mistake."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import PurePath

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import locked, locked_both, refuse_day
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.images.dicom import Radiograph
from hospital.images.models import Image, ImageKind, Measurement, MeasurementKind
from hospital.images.queries import marker_in_force, points_of
from hospital.people.models import Person
from hospital.pictures import Scan
from hospital.rules.measuring import TooShort, angle_degrees, length_px, spacing_of_marker

# What a copy under another animal has of its own, or not at all.
OWN = {"id", "key", "patient", "file", "moved_to", "withdrawn_at", "withdrawn_by", "withdrawn_why"}
POINTS = {MeasurementKind.MARKER: 2, MeasurementKind.LENGTH: 2, MeasurementKind.ANGLE: 3, MeasurementKind.WORDS: 1}


@transaction.atomic
def add_image(
    patient: Patient, *, by: Person, picture: Scan | Radiograph, kind: str, taken_on: date | None, body_part: str, view_position: str,
    note: str,
) -> Image:  # fmt: skip
    """Keep an image that was made safe before. What was left empty is taken from a DICOM file's own tags."""
    patient = locked(patient)
    told = picture if isinstance(picture, Radiograph) else None
    scan = told.scan if told else picture
    taken_on = taken_on or (told and told.taken_on)
    if not taken_on:
        raise ValidationError({"taken_on": _("Give the day on which it was taken.")})
    refuse_day(patient, taken_on, field="taken_on")
    low, high = (told and told.window) or (scan.lowest, max(scan.highest, scan.lowest + 1))
    image = Image(
        patient=patient, kind=kind or (told.kind if told else ImageKind.OTHER), taken_on=taken_on, note=note, is_grey=scan.is_grey,
        body_part=body_part or (told.body_part if told else ""), view_position=view_position or (told.view_position if told else ""),
        width_px=scan.width_px, height_px=scan.height_px, lowest=scan.lowest, highest=scan.highest, window_low=low, window_high=high,
        spacing_kind=told.spacing_kind if told else "", added_by=by, added_at=now(),
    )  # fmt: skip
    if told and told.spacing_mm:
        image.rows_mm, image.columns_mm = told.spacing_mm
    image.file = ContentFile(scan.data, name=f"{image.key}.{'png' if scan.is_grey else 'jpg'}")
    image.full_clean()
    image.save()
    return image


@transaction.atomic
def draw(image: Image, *, by: Person, kind: str, points: list[list[int]], marker_mm: Decimal | None, words: str) -> Measurement:
    """Set a marker, a length, an angle or words on an image. `points` in whole tenths of a pixel."""
    locked(image.patient)
    if Image.objects.get(pk=image.pk).is_withdrawn:
        raise ValidationError(_("This image was withdrawn."))
    row = Measurement(image=image, kind=kind, points=points, words=words, drawn_by=by, drawn_at=now())
    _refuse_outside(image, row)
    if kind == MeasurementKind.MARKER:
        row.marker_mm = marker_mm
    if kind == MeasurementKind.LENGTH:
        row.by_marker = marker_in_force(image)
    _refuse_nothing_drawn(row)
    row.full_clean()
    row.save()
    return row


def _refuse_outside(image: Image, row: Measurement) -> None:
    inside = all(0 <= x <= image.width_px * 10 and 0 <= y <= image.height_px * 10 for x, y in row.points)
    if len(row.points) != POINTS[row.kind] or not inside:
        raise ValidationError({"points": _("Draw it on the picture again: the points do not fit.")})


def _refuse_nothing_drawn(row: Measurement) -> None:
    points = points_of(row)
    try:
        if row.kind == MeasurementKind.MARKER:
            if row.marker_mm is None:
                raise ValidationError({"marker_mm": _("Say how long the marker is, in millimetres.")})
            spacing_of_marker(*points, row.marker_mm)
        if row.kind == MeasurementKind.ANGLE:
            angle_degrees(*points)
    except TooShort:
        raise ValidationError({"points": _("This is too short to measure by. Zoom in and draw it again.")}) from None
    if row.kind == MeasurementKind.LENGTH and not length_px(*points):
        raise ValidationError({"points": _("This is too short to measure by. Zoom in and draw it again.")})
    if row.kind == MeasurementKind.WORDS and not row.words:
        raise ValidationError({"words": _("Write the words that belong there.")})


@transaction.atomic
def withdraw_measurement(measurement: Measurement, *, by: Person) -> Measurement:
    """Mark what was drawn as a mistake; it stays on record."""
    locked(measurement.image.patient)
    row = Measurement.objects.select_for_update().get(pk=measurement.pk)
    row.withdraw(by=by, at=now())
    row.full_clean()
    row.save()
    return row


@transaction.atomic
def withdraw_image(image: Image, *, by: Person, why: str, to: Patient | None = None) -> Image:
    """Mark an image as a mistake; it stays on record, and in no list. `to`: the animal that it shows, which gets it with what was drawn."""
    right = locked_both(image.patient, to)
    held = Image.objects.select_for_update().get(pk=image.pk)
    held.withdraw(by=by, at=now(), why=why)
    if right:
        refuse_day(right, held.taken_on, field="to")
        held.moved_to = _copy(held, right)
    held.full_clean()
    held.save()
    return held


def _copy(image: Image, to: Patient) -> Image:
    """The image under another animal, with all that was drawn on it. Who added and who drew stays as it was."""
    with image.file.open("rb") as file:
        data = file.read()
    made = Image(**{field.attname: getattr(image, field.attname) for field in Image._meta.concrete_fields if field.name not in OWN})
    made.patient, made.file = to, ContentFile(data, name=f"{made.key}{PurePath(image.file.name).suffix}")
    made.full_clean()
    made.save()
    markers: dict[int, Measurement] = {}
    for row in image.measurements.order_by("drawn_at", "pk"):
        former, row.pk, row.image, row.by_marker = row.pk, None, made, markers.get(row.by_marker_id)
        row.save(force_insert=True)
        markers[former] = row
    return made
