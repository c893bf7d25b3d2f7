"""The images of a patient, and what each measurement on one comes to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import QuerySet
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.images.models import Image, Measurement, MeasurementKind, SpacingKind
from hospital.rules.measuring import (
    SQUARE_PIXELS,
    Point,
    Spacing,
    angle_degrees,
    in_tenths,
    length_mm,
    length_px,
    marker_doubt_percent,
    spacing_of_marker,
)


def images_of(patient: Patient) -> QuerySet[Image]:
    """The images that stand, the newest first."""
    return patient.images.filter(withdrawn_at=None).order_by("-taken_on", "-pk").select_related("added_by")


def withdrawn_of(patient: Patient) -> QuerySet[Image]:
    """Those that were a mistake, the newest first."""
    return patient.images.exclude(withdrawn_at=None).order_by("-taken_on", "-pk").select_related("withdrawn_by", "moved_to__patient")


def points_of(measurement: Measurement) -> list[Point]:
    return [Point(Decimal(x) / 10, Decimal(y) / 10) for x, y in measurement.points]


def file_spacing(image: Image) -> Spacing | None:
    return Spacing(image.rows_mm, image.columns_mm) if image.spacing_kind else None


def spacing_by(marker: Measurement, image: Image) -> Spacing:
    """What a pixel spans by a marker; where the file says how tall a pixel is to its width, that is kept."""
    start, end = points_of(marker)
    return spacing_of_marker(start, end, marker.marker_mm, file_spacing(image) or SQUARE_PIXELS)


@dataclass(frozen=True, slots=True)
class Reading:
    """A measurement with its value in words, and what the millimetres rest on."""

    row: Measurement
    value: str
    rests_on: str


def readings(image: Image, rows: Iterable[Measurement]) -> list[Reading]:
    return [Reading(row, *_in_words(image, row)) for row in rows]


def readings_of(image: Image) -> list[Reading]:
    """All that was drawn on an image, in the order of time, the withdrawn too."""
    return readings(image, image.measurements.select_related("drawn_by", "withdrawn_by", "by_marker"))


@dataclass(frozen=True, slots=True)
class Both:
    """One thing that was measured on two images under the same words; `change` is empty where the two cannot be compared."""

    name: str
    first: Reading
    second: Reading
    change: str


def measured_on_both(first: Image, second: Image) -> list[Both]:
    """Lengths and angles that carry the same words on both images; the newest of each that stands."""
    one, other = _by_words(first), _by_words(second)
    return [
        Both(_name(each.row), each, other[key], _change(first, each.row, second, other[key].row))
        for key, each in one.items()
        if key in other
    ]


def _by_words(image: Image) -> dict[tuple[str, str], Reading]:
    kinds = (MeasurementKind.LENGTH, MeasurementKind.ANGLE)
    standing = [each for each in readings_of(image) if each.row.kind in kinds and not each.row.is_withdrawn]
    return {(each.row.kind, each.row.words.strip().casefold()): each for each in standing}


def _name(row: Measurement) -> str:
    return f"{row.get_kind_display()}: {row.words}" if row.words else str(row.get_kind_display())


def _change(first: Image, row: Measurement, second: Image, other: Measurement) -> str:
    was, is_now = _comparable(first, row), _comparable(second, other)
    if was is None or is_now is None:
        return ""
    difference = is_now - was
    sign = "+" if difference > 0 else "−" if difference < 0 else ""
    unit = "°" if row.kind == MeasurementKind.ANGLE else "\N{NO-BREAK SPACE}mm"
    return f"{sign}{number_format(abs(difference))}{unit}"


def _comparable(image: Image, row: Measurement) -> Decimal | None:
    """What was measured as it is shown, where it is the body's own size; None else."""
    points = points_of(row)
    if row.kind == MeasurementKind.ANGLE:
        return angle_degrees(*points, file_spacing(image) or SQUARE_PIXELS)
    if row.by_marker:
        return None if row.by_marker.is_withdrawn else in_tenths(length_mm(*points, spacing_by(row.by_marker, image)))
    spacing = file_spacing(image) if image.spacing_kind == SpacingKind.BODY else None
    return in_tenths(length_mm(*points, spacing)) if spacing else None


def marker_in_force(image: Image) -> Measurement | None:
    """The newest marker that stands: what is drawn from now on is measured by it."""
    return image.measurements.filter(kind=MeasurementKind.MARKER, withdrawn_at=None).order_by("drawn_at", "pk").last()


def _in_words(image: Image, row: Measurement) -> tuple[str, str]:
    points = points_of(row)
    if row.kind == MeasurementKind.WORDS:
        return row.words, ""
    if row.kind == MeasurementKind.ANGLE:
        return f"{number_format(angle_degrees(*points, file_spacing(image) or SQUARE_PIXELS))}°", ""
    if row.kind == MeasurementKind.MARKER:
        told = {"mm": number_format(row.marker_mm.normalize()), "percent": number_format(marker_doubt_percent(*points))}
        return _("%(mm)s mm") % told, _("drawn one pixel off at each end, lengths are off by %(percent)s%%") % told
    return _length(image, row, points)


def _length(image: Image, row: Measurement, points: list[Point]) -> tuple[str, str]:
    if row.by_marker:
        length = length_mm(*points, spacing_by(row.by_marker, image))
        words = _("by the marker") if not row.by_marker.is_withdrawn else _("by a marker that was withdrawn: measure again")
    elif spacing := file_spacing(image):
        length = length_mm(*points, spacing)
        is_body = image.spacing_kind == SpacingKind.BODY
        words = _("by the file's spacing in the body") if is_body else _("by the spacing at the detector: the animal is smaller")
    else:
        pixels = number_format(in_tenths(length_px(*points)))
        return _("%(n)s pixels") % {"n": pixels}, _("no marker was drawn: pixels, not millimetres")
    return _("%(mm)s mm") % {"mm": number_format(in_tenths(length))}, words
