"""Lengths and angles on a picture: points in pixels, millimetres from a marker of known size or from the file's spacing.

A point is (x, y): pixels to the right of and below the picture's upper left corner. A spacing may differ along rows and
columns, as DICOM PS3.3 C.7.6.1.1.5 (Pixel Spacing) allows, so each leg is scaled before lengths and angles are taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import NamedTuple

LEAST_MARKER_PX = 10  # ours: a shorter line is off by more than a tenth when each end is off by half a pixel
TENTH = Decimal("0.1")


class Point(NamedTuple):
    x: Decimal
    y: Decimal


@dataclass(frozen=True, slots=True)
class Spacing:
    """Millimetres from one pixel's centre to the next: down a column (between rows) and along a row (between columns).

    The order is that of DICOM's Pixel Spacing (0028,0030). Both above zero.
    """

    rows_mm: Decimal
    columns_mm: Decimal

    def __post_init__(self) -> None:
        if self.rows_mm <= 0 or self.columns_mm <= 0:
            raise ValueError("a spacing is above zero")


SQUARE_PIXELS = Spacing(Decimal(1), Decimal(1))


class TooShort(ValueError):
    """Points that fall together, or a marker of too few pixels to measure anything by."""


def _legs(start: Point, end: Point, spacing: Spacing) -> tuple[Decimal, Decimal]:
    return (end.x - start.x) * spacing.columns_mm, (end.y - start.y) * spacing.rows_mm


def length_px(start: Point, end: Point) -> Decimal:
    """The distance in pixels, exact to the decimal context."""
    across, down = _legs(start, end, SQUARE_PIXELS)
    return (across * across + down * down).sqrt()


def length_mm(start: Point, end: Point, spacing: Spacing) -> Decimal:
    """The distance in millimetres, by Pythagoras on scaled legs; not rounded."""
    across, down = _legs(start, end, spacing)
    return (across * across + down * down).sqrt()


def spacing_of_marker(start: Point, end: Point, marker_mm: Decimal, shape: Spacing = SQUARE_PIXELS) -> Spacing:
    """What a pixel spans where the marker lies: a line drawn along a thing of `marker_mm` real size, `marker_mm` above zero.

    `shape` says how tall a pixel is to its width, where the file says it; only its ratio counts. Raises TooShort.
    """
    if marker_mm <= 0:
        raise ValueError("a marker is above zero")
    if length_px(start, end) < LEAST_MARKER_PX:
        raise TooShort(f"a marker spans at least {LEAST_MARKER_PX} pixels")
    factor = marker_mm / length_mm(start, end, shape)
    return Spacing(shape.rows_mm * factor, shape.columns_mm * factor)


def marker_doubt_percent(start: Point, end: Point) -> Decimal:
    """By how many percent a length may be off because each end of the marker may be drawn one pixel off; rounded to 0.1."""
    return (200 / length_px(start, end)).quantize(TENTH, ROUND_HALF_EVEN)


def angle_degrees(first: Point, corner: Point, last: Point, shape: Spacing = SQUARE_PIXELS) -> Decimal:
    """The angle at `corner` between the arms to `first` and `last`, 0 to 180 degrees, rounded to 0.1. Raises TooShort.

    From the arms' cross and dot product by atan2, which stays exact near 0 and 180 where an arc cosine does not.
    """
    one, two = _legs(corner, first, shape), _legs(corner, last, shape)
    if not any(one) or not any(two):
        raise TooShort("an arm of the angle has no length")
    cross = one[0] * two[1] - one[1] * two[0]
    dot = one[0] * two[0] + one[1] * two[1]
    return Decimal(math.degrees(math.atan2(abs(cross), dot))).quantize(TENTH, ROUND_HALF_EVEN)


def in_tenths(length: Decimal) -> Decimal:
    """A length as it is shown: rounded to 0.1."""
    return length.quantize(TENTH, ROUND_HALF_EVEN)
