"""Lengths and angles against worked geometry, and against the spacing that pydicom's own test files state."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.measuring import (
    Point,
    Spacing,
    TooShort,
    angle_degrees,
    in_tenths,
    length_mm,
    length_px,
    marker_doubt_percent,
    spacing_of_marker,
)


def at(x, y) -> Point:
    return Point(Decimal(str(x)), Decimal(str(y)))


def spaced(rows, columns) -> Spacing:
    return Spacing(Decimal(rows), Decimal(columns))


points = st.builds(Point, *[st.decimals(0, 5000, places=1)] * 2)

# Euclid, Elements I.47: whole-number right triangles
TRIPLES = [(3, 4, 5), (5, 12, 13), (8, 15, 17), (7, 24, 25), (20, 21, 29)]


@pytest.mark.parametrize(("across", "down", "slope"), TRIPLES)
def test_a_length_is_that_of_the_right_triangle(across, down, slope):
    assert length_px(at(10, 10), at(10 + across, 10 + down)) == slope
    assert length_mm(at(0, 0), at(across, down), spaced("0.2", "0.2")) == slope * Decimal("0.2")


@pytest.mark.parametrize(("across", "down", "slope"), TRIPLES)
def test_rows_and_columns_have_their_own_spacing(across, down, slope):
    """DICOM PS3.3 10.7.1.3: the first value of Pixel Spacing is between rows (down), the second between columns (across)."""
    pixels = at(across * 4, down * 2)  # a quarter of a millimetre across, a half down

    assert length_mm(at(0, 0), pixels, spaced("0.5", "0.25")) == slope


def test_a_marker_of_known_size_gives_the_spacing():
    spacing = spacing_of_marker(at(100, 50), at(350, 50), Decimal(25))

    assert spacing == spaced("0.1", "0.1")
    assert length_mm(at(0, 0), at(30, 40), spacing) == 5


def test_a_slanting_marker_on_pixels_that_are_not_square():
    spacing = spacing_of_marker(at(0, 0), at(40, 60), Decimal(10), shape=spaced("1", "2"))  # legs 80 and 60: 100 long

    assert spacing == spaced("0.1", "0.2")


def test_a_marker_of_a_few_pixels_is_refused():
    with pytest.raises(TooShort):
        spacing_of_marker(at(0, 0), at(9, 0), Decimal(10))
    with pytest.raises(ValueError, match="above zero"):
        spacing_of_marker(at(0, 0), at(100, 0), Decimal(0))


def test_the_doubt_of_a_marker_is_a_pixel_at_each_end():
    assert marker_doubt_percent(at(0, 0), at(50, 0)) == 4
    assert marker_doubt_percent(at(0, 0), at(300, 400)) == Decimal("0.4")


@pytest.mark.parametrize(
    ("first", "last", "degrees"),
    [
        (at(1, 0), at(0, 1), "90"),
        (at(1, 0), at(1, 1), "45"),
        (at(1, 0), at(-1, 0), "180"),
        (at(1, 0), at(5, 0), "0"),
        (at(3, 0), at(3, 4), "53.1"),  # the 3-4-5 triangle: 53.13°, any table of tangents at 4/3
        (at(100, 0), at(50, "86.6025"), "60"),  # Euclid, Elements I.1: the equilateral triangle
        (at(10, 0), at(-10, "0.1"), "179.4"),  # 180° less the arc of tangent 0.01, 0.573°
    ],
)
def test_angles_of_known_figures(first, last, degrees):
    assert angle_degrees(first, at(0, 0), last) == Decimal(degrees)


def test_an_angle_is_taken_on_scaled_legs():
    assert angle_degrees(at(10, 0), at(0, 0), at(10, 5), shape=spaced("2", "1")) == 45


def test_an_arm_without_length_has_no_angle():
    with pytest.raises(TooShort):
        angle_degrees(at(5, 5), at(5, 5), at(9, 9))


@given(points, points, points)
def test_the_angles_of_a_triangle_make_a_half_turn(a, b, c):
    if len({a, b, c}) < 3:
        return
    total = angle_degrees(a, b, c) + angle_degrees(b, c, a) + angle_degrees(c, a, b)

    assert abs(total - 180) <= Decimal("0.15")  # three roundings of half a tenth (Euclid, Elements I.32)


@given(points, points, st.decimals("0.01", 2, places=3), st.decimals("0.01", 2, places=3))
def test_a_length_lies_between_the_finer_and_the_coarser_spacing(a, b, rows, columns):
    length, pixels = length_mm(a, b, Spacing(rows, columns)), length_px(a, b)

    assert min(rows, columns) * pixels <= length + Decimal("1e-9")
    assert length <= max(rows, columns) * pixels + Decimal("1e-9")


def test_a_shown_length_has_tenths():
    assert in_tenths(Decimal("12.3456")) == Decimal("12.3")


def test_nothing_is_spaced_by_nothing():
    with pytest.raises(ValueError, match="above zero"):
        spaced("0", "1")
