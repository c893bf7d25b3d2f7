"""Radiographs from DICOM files (PS3.10): grey levels and the few tags that are kept; never who, never where.

pydicom is loaded when a file comes: it takes half a second. What it cannot decode is refused by name: JPEG lossless and
12-bit JPEG need a reader that is under the GPL, which stays out.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from hospital.images.models import ImageKind, SpacingKind
from hospital.pictures import TOP_LEVEL, Scan, grey_scan, size_inside

MOST_PIXELS = 24_000_000  # a plate of 43 × 43 cm at 0.1 mm has 18 million
MOST_RLE_BYTES = 8 * 1024**2  # two bytes may stand for 128: what unpacks to more than half a gigabyte is not begun
_DEFLATED = b"1.2.840.10008.1.2.1.99"  # unpacked before anything can be looked at: PS3.5 A.5
_PLAIN = {"1.2.840.10008.1.2", "1.2.840.10008.1.2.1", "1.2.840.10008.1.2.2"}
_RLE = "1.2.840.10008.1.2.5"
_STREAMS = {f"1.2.840.10008.1.2.4.{n}" for n in (50, 90, 91, 201, 202, 203)}  # 8-bit JPEG, JPEG 2000, and its faster form
_KINDS = {
    "CR": ImageKind.RADIOGRAPH, "DX": ImageKind.RADIOGRAPH, "RG": ImageKind.RADIOGRAPH, "IO": ImageKind.RADIOGRAPH,
    "CT": ImageKind.CT, "MR": ImageKind.MR, "US": ImageKind.ULTRASOUND,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Radiograph:
    """What is kept of a DICOM file: the picture encoded anew, its window in its own levels, and five tags."""

    scan: Scan
    window: tuple[int, int] | None
    kind: str
    taken_on: date | None
    body_part: str
    view_position: str
    spacing_mm: tuple[Decimal, Decimal] | None  # between rows, between columns
    spacing_kind: str


def looks_like_dicom(data: bytes) -> bool:
    """PS3.10, 7.1: 128 bytes of anything, then these four letters."""
    return data[128:132] == b"DICM"


def read_dicom(data: bytes) -> Radiograph:
    """One grey picture of a DICOM file. Refuses the rest with a sentence."""
    if _DEFLATED in data[:2048]:
        raise _unreadable_syntax("Deflated Explicit VR Little Endian")
    try:
        dataset = _parsed(data)
        return _radiograph(dataset)
    except ValidationError:
        raise
    except Exception:  # a decoder given a crafted file may raise anything, as in hospital.pictures
        raise ValidationError(_("This DICOM file is damaged or not complete. Export it again.")) from None


def _parsed(data: bytes) -> Any:
    import pydicom

    pydicom.config.settings.reading_validation_mode = pydicom.config.IGNORE  # a slip in a tag that is not kept is no matter
    return pydicom.dcmread(io.BytesIO(data))


def _radiograph(dataset: Any) -> Radiograph:
    _refuse_other_pictures(dataset)
    levels, window = _levels(dataset)
    spacing, where = _spacing(dataset)
    return Radiograph(
        scan=grey_scan(levels, dataset.Columns, dataset.Rows),
        window=window,
        kind=_KINDS.get(dataset.get("Modality", ""), ImageKind.OTHER),
        taken_on=_day(dataset),
        body_part=_words(dataset.get("BodyPartExamined")),
        view_position=_words(dataset.get("ViewPosition")),
        spacing_mm=spacing,
        spacing_kind=where,
    )


def _refuse_other_pictures(dataset: Any) -> None:
    if "PixelData" not in dataset:
        raise ValidationError(_("This DICOM file holds no picture."))
    if int(dataset.get("NumberOfFrames") or 1) > 1:
        raise ValidationError(_("This DICOM file holds several pictures. Export the one that you need."))
    if dataset.SamplesPerPixel != 1 or dataset.PhotometricInterpretation not in ("MONOCHROME1", "MONOCHROME2"):
        raise ValidationError(_("This DICOM file holds a coloured picture. Export it as JPEG or PNG."))
    if dataset.BitsAllocated not in (8, 16):
        raise ValidationError(_("This DICOM file stores its levels in a way that cannot be read here. Export it as PNG."))
    if not 0 < dataset.Rows * dataset.Columns <= MOST_PIXELS:
        most = MOST_PIXELS // 1_000_000
        raise ValidationError(_("This picture has more than %(most)d million pixels. Send a smaller one.") % {"most": most})
    _refuse_packed(dataset)


def _refuse_packed(dataset: Any) -> None:
    """What lies inside must be readable, and as large as the file says, before a decoder makes room for it."""
    from pydicom.encaps import get_frame

    syntax = dataset.file_meta.TransferSyntaxUID
    if syntax in _PLAIN:
        return
    if syntax != _RLE and syntax not in _STREAMS:
        raise _unreadable_syntax(syntax.name)
    frame = get_frame(dataset.PixelData, 0, number_of_frames=1)
    if syntax == _RLE and len(frame) > MOST_RLE_BYTES:
        raise _unreadable_syntax(syntax.name)
    if syntax in _STREAMS and size_inside(frame) != (dataset.Columns, dataset.Rows):
        raise ValidationError(_("This DICOM file is damaged or not complete. Export it again."))


def _unreadable_syntax(name: str) -> ValidationError:
    words = _("This DICOM file is packed in a way that cannot be read here (%(name)s). Export it uncompressed or as JPEG 2000.")
    return ValidationError(words % {"name": name})


def _levels(dataset: Any) -> tuple[bytes, tuple[int, int] | None]:
    """The stored values as levels of 0 and up, white for dense, and the file's window in the same levels."""
    import numpy

    stored = dataset.pixel_array.astype(numpy.int32)
    lowest = min(int(stored.min()), 0)
    stored -= lowest
    slope, intercept = float(dataset.get("RescaleSlope") or 1), float(dataset.get("RescaleIntercept") or 0)
    window = _window(dataset, slope, intercept, lowest)
    if (dataset.PhotometricInterpretation == "MONOCHROME1") != (slope < 0):
        stored = TOP_LEVEL - stored
        window = window and (TOP_LEVEL - window[1], TOP_LEVEL - window[0])
    return stored.astype("<u2").tobytes(), window


def _window(dataset: Any, slope: float, intercept: float, lowest: int) -> tuple[int, int] | None:
    """The first window of the file, taken back through its rescaling: PS3.3 C.11.2.1.2.1 (linear)."""
    centre, width = _first(dataset.get("WindowCenter")), _first(dataset.get("WindowWidth"))
    if centre is None or width is None or width < 1 or not slope:
        return None
    ends = (centre - 0.5 - (width - 1) / 2, centre - 0.5 + (width - 1) / 2)
    low, high = sorted(round((end - intercept) / slope) - lowest for end in ends)
    low, high = max(low, 0), min(high, TOP_LEVEL)
    return (low, high) if low < high else None


def _first(value: Any) -> float | None:
    values = value if isinstance(value, list) or (hasattr(value, "__iter__") and not isinstance(value, str)) else [value]
    return next((float(each) for each in values if each not in (None, "")), None)


def _spacing(dataset: Any) -> tuple[tuple[Decimal, Decimal] | None, str]:
    """Slices and calibrated pictures are measured in the body; a projection's spacing is that of its detector: PS3.3 10.7."""
    if pair := _pair(dataset.get("PixelSpacing")):
        in_body = dataset.get("Modality") in ("CT", "MR") or dataset.get("PixelSpacingCalibrationType") in ("GEOMETRY", "FIDUCIAL")
        return pair, SpacingKind.BODY if in_body else SpacingKind.DETECTOR
    if pair := _pair(dataset.get("ImagerPixelSpacing")):
        return pair, SpacingKind.DETECTOR
    return None, ""


def _pair(value: Any) -> tuple[Decimal, Decimal] | None:
    try:
        rows, columns = (round(Decimal(str(each)), 6) for each in value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return (rows, columns) if all(Decimal("0.001") <= each <= 50 for each in (rows, columns)) else None


def _day(dataset: Any) -> date | None:
    for name in ("AcquisitionDate", "ContentDate", "StudyDate"):
        text = str(dataset.get(name) or "")
        try:
            return date.fromisoformat(text)
        except ValueError:
            continue
    return None


def _words(value: Any) -> str:
    """A code string such as ELBOW or DV, as PS3.5 6.2 allows it: capitals, digits, spaces, underscores; at most 16."""
    text = str(value or "").strip()[:16]
    is_code = all(each.isascii() and (each.isalnum() or each in " _") for each in text)
    return text.replace("_", " ").capitalize() if is_code and len(text) > 3 else text if is_code else ""
