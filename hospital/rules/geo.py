"""Coordinates: checked, read from what people type, and generalised before anyone outside sees them.

Decimal degrees on WGS84, latitude first, north and east above 0. The stored point never changes: a
generalised copy is made at output, always the same for the same input (Chapman 2020, GBIF guide to
generalising sensitive species data).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import IntEnum, StrEnum

SEMI_MAJOR_AXIS_M = 6378137.0
FLATTENING = 1 / 298.257223563
ECCENTRICITY_SQUARED = FLATTENING * (2 - FLATTENING)
TYPED_PLACES = Decimal("1e-10")  # of degrees worked out from minutes and seconds: a hundredth of a millimetre

EXAMPLE = "for example 51.5072, -0.1276 or 51°30′26″N 0°07′39″W"


class Axis(StrEnum):
    LATITUDE = "latitude"
    LONGITUDE = "longitude"


class Sensitivity(IntEnum):
    """How far a species' places are hidden. The categories of the GBIF guide; 0 is somebody's decision to
    show all.
    """

    NONE = 0
    EXTREME = 1
    HIGH = 2
    MEDIUM = 3
    LOW = 4


UNLISTED = Sensitivity.HIGH  # until somebody decides (common practice: the safer default)
_PLACES = {Sensitivity.HIGH: 1, Sensitivity.MEDIUM: 2, Sensitivity.LOW: 3}
_LIMITS = {Axis.LATITUDE: 90, Axis.LONGITUDE: 180}
_LETTERS = {Axis.LATITUDE: "NS", Axis.LONGITUDE: "EW"}


@dataclass(frozen=True, slots=True)
class PublicPlace:
    """What may be shown of a place. Coordinates None: withheld. `uncertainty_m` None: withheld or not
    known.

    `precision_deg` is the size of the cell that the point was moved to the middle of; None when it was not
    moved.
    """

    latitude: Decimal | None
    longitude: Decimal | None
    uncertainty_m: int | None
    precision_deg: Decimal | None
    category: Sensitivity


def checked(value: Decimal, axis: Axis) -> Decimal:
    """A coordinate that exists, or ValueError with a sentence."""
    limit = _LIMITS[axis]
    if not value.is_finite() or abs(value) > limit:
        raise ValueError(f"A {axis} lies between -{limit} and {limit} degrees, not {value}.")
    return value


def generalise(
    latitude: Decimal,
    longitude: Decimal,
    category: int | None,
    own_uncertainty_m: int | None = None,
) -> PublicPlace:
    """The public copy of a place: rounded to the cell of its category, or withheld in the extreme one.

    Category None (nobody has decided) counts as high. The uncertainty is half the cell's diagonal in its
    middle, rounded up, plus the record's own; it is worked from the rounded point, so that it gives nothing
    away.
    """
    checked(latitude, Axis.LATITUDE)
    checked(longitude, Axis.LONGITUDE)
    level = UNLISTED if category is None else Sensitivity(category)
    if level is Sensitivity.EXTREME:
        return PublicPlace(None, None, None, None, level)
    if level is Sensitivity.NONE:
        return PublicPlace(latitude, longitude, own_uncertainty_m, None, level)
    cell_deg = cell_of(level)
    assert cell_deg is not None
    middle = latitude.quantize(cell_deg, ROUND_HALF_UP)
    uncertainty_m = math.ceil(_diagonal_m(middle, cell_deg) / 2) + (own_uncertainty_m or 0)
    return PublicPlace(middle, longitude.quantize(cell_deg, ROUND_HALF_UP), uncertainty_m, cell_deg, level)


def cell_of(category: int | None) -> Decimal | None:
    """The side in degrees of the finest cell in which places of a category may be shown: 0 for the point itself, None
    for never. Category None (nobody has decided) counts as high.
    """
    level = UNLISTED if category is None else Sensitivity(category)
    if level is Sensitivity.EXTREME:
        return None
    return Decimal(0) if level is Sensitivity.NONE else Decimal(1).scaleb(-_PLACES[level])


def precision_uncertainty_m(latitude: Decimal, precision_deg: Decimal) -> int:
    """How far off a point can be that was written to so many degrees, whether rounded or cut: metres,
    rounded up.

    Chapman & Wieczorek 2020, Georeferencing Best Practices, section 3.
    """
    if precision_deg <= 0:
        raise ValueError(f"A precision is more than 0 degrees, not {precision_deg}.")
    return math.ceil(_diagonal_m(checked(latitude, Axis.LATITUDE), precision_deg))


def _diagonal_m(latitude: Decimal, side_deg: Decimal) -> float:
    """The diagonal of a cell of so many degrees, from the two radii of curvature of the WGS84 ellipsoid."""
    angle, side = math.radians(latitude), math.radians(side_deg)
    flat = 1 - ECCENTRICITY_SQUARED * math.sin(angle) ** 2
    north_south_m = side * SEMI_MAJOR_AXIS_M * (1 - ECCENTRICITY_SQUARED) / flat**1.5
    east_west_m = side * SEMI_MAJOR_AXIS_M / math.sqrt(flat) * math.cos(angle)
    return math.hypot(north_south_m, east_west_m)


def dms(value: Decimal, axis: Axis, places: int = 0) -> str:
    """A coordinate in degrees, minutes and seconds: 39°00′00″N. Seconds are rounded before they are
    carried.
    """
    checked(value, axis)
    step = Decimal(1).scaleb(-places)
    seconds = (abs(value) * 3600).quantize(step, ROUND_HALF_UP)
    degrees, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    width = 2 if places == 0 else places + 3
    letter = _LETTERS[axis][value < 0]
    return f"{degrees:.0f}°{minutes:02.0f}′{rest:0{width}.{places}f}″{letter}"


def parse_coordinates(text: str) -> tuple[Decimal, Decimal]:
    """Latitude and longitude from what somebody typed: decimal degrees, or degrees, minutes, seconds.

    Letters N, S, E, W or a minus sign tell the side; with letters, either order will do. Raises ValueError
    with a sentence for the person who typed it.
    """
    first, second = _halves(text)
    axis_of_first = first.axis or (second.axis and _other(second.axis)) or Axis.LATITUDE
    axis_of_second = second.axis or _other(axis_of_first)
    if axis_of_first is axis_of_second:
        raise ValueError(f"Write one latitude and one longitude, not two of a kind: {EXAMPLE}.")
    degrees = {
        axis_of_first: first.degrees(axis_of_first),
        axis_of_second: second.degrees(axis_of_second),
    }
    return degrees[Axis.LATITUDE], degrees[Axis.LONGITUDE]


@dataclass(frozen=True, slots=True)
class _Half:
    """One coordinate as typed: up to three numbers, a minus sign or not, a letter or not."""

    numbers: tuple[Decimal, ...]
    is_minus: bool
    letter: str

    @property
    def axis(self) -> Axis | None:
        return next((axis for axis, letters in _LETTERS.items() if self.letter and self.letter in letters), None)

    def degrees(self, axis: Axis) -> Decimal:
        if self.is_minus and self.letter:
            raise ValueError(f"Use a minus sign or the letter {self.letter}, not both.")
        if any(number != number.to_integral_value() for number in self.numbers[:-1]):
            raise ValueError("Only the last part of a coordinate can have decimals: 51°30.5′ or 51°30′30″.")
        if any(number >= 60 for number in self.numbers[1:]):
            raise ValueError("Minutes and seconds run from 0 to below 60.")
        size = sum((number / 60**place for place, number in enumerate(self.numbers)), Decimal(0))
        is_negative = self.is_minus or self.letter in {"S", "W"}
        value = checked(-size if is_negative else size, axis)
        return value if len(self.numbers) == 1 else value.quantize(TYPED_PLACES)


_CONTINENTAL = re.compile(r"([+\-]?\d{1,3}),(\d+)(?:\s*;\s*|,?\s+)([+\-]?\d{1,3}),(\d+)")
_PIECE = re.compile(r"[+\-]|\d+(?:\.\d+)?|[NSEW]|[,;]")
_SHAPE = re.compile(r"[NSEW]?[+\-]?9{1,3}|[+\-]?9{1,3}[NSEW]")
_MARKS = re.compile(r"[°º˚'’‘′´\"”“″:\s]|(?<=\d)[dD](?=[\s\d])")


def _halves(text: str) -> tuple[_Half, _Half]:
    plain = text.strip().replace("−", "-").replace("–", "-")
    if whole := _CONTINENTAL.fullmatch(plain):
        plain = "{}.{};{}.{}".format(*whole.groups())
    plain = _MARKS.sub(" ", plain).upper()
    pieces = _PIECE.findall(plain)
    if "".join(pieces) != plain.replace(" ", "") or len(pieces) < 2:
        raise ValueError(f"Write a latitude and a longitude, {EXAMPLE}.")
    split = _where_second_begins(pieces)
    return _half(pieces[:split]), _half(pieces[split:])


def _where_second_begins(pieces: list[str]) -> int:
    """The place of the second coordinate: by a comma, a letter or a sign, or half-way through the numbers."""
    commas = [place for place, piece in enumerate(pieces) if piece in ",;"]
    letters = [place for place, piece in enumerate(pieces) if piece in "NSEW"]
    signs = [place for place, piece in enumerate(pieces) if piece in "+-" and place]
    numbers = [place for place, piece in enumerate(pieces) if piece[0].isdigit()]
    if len(commas) == 1:
        return commas[0] + 1
    if len(letters) == 2 and letters[0] == 0:
        return letters[1]
    if letters and letters[0] and not commas:
        return letters[0] + 1
    if signs and not letters and not commas:
        return signs[0]
    if len(numbers) % 2 == 0 and not letters and not commas:
        return numbers[len(numbers) // 2]
    raise ValueError(f"Write a latitude and a longitude with a comma between them, {EXAMPLE}.")


def _half(pieces: list[str]) -> _Half:
    numbers = tuple(Decimal(piece) for piece in pieces if piece[0].isdigit())
    shape = "".join("9" if piece[0].isdigit() else piece for piece in pieces if piece not in ",;")
    if not _SHAPE.fullmatch(shape):
        raise ValueError(f"Write a latitude and a longitude, {EXAMPLE}.")
    return _Half(numbers, "-" in pieces, next((piece for piece in pieces if piece in "NSEW"), ""))


def _other(axis: Axis) -> Axis:
    return Axis.LONGITUDE if axis is Axis.LATITUDE else Axis.LATITUDE
