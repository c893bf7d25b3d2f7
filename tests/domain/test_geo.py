"""Coordinates: typed, checked, generalised. Distances in these tests come from geographiclib, not from us."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.geo import (
    Axis,
    PublicPlace,
    Sensitivity,
    checked,
    dms,
    generalise,
    parse_coordinates,
    precision_uncertainty_m,
)

D = Decimal
WGS84 = Geodesic.WGS84


def metres(one: tuple[Decimal, Decimal], other: tuple[Decimal, Decimal]) -> float:
    return WGS84.Inverse(*map(float, (*one, *other)))["s12"]


@pytest.mark.parametrize(
    ("category", "latitude", "longitude", "cell"),
    [
        (Sensitivity.HIGH, "51.5", "-0.1", "0.1"),
        (Sensitivity.MEDIUM, "51.51", "-0.13", "0.01"),
        (Sensitivity.LOW, "51.507", "-0.128", "0.001"),
        (None, "51.5", "-0.1", "0.1"),
    ],
)
def test_a_place_is_rounded_to_the_cell_of_its_category_and_shows_no_further_digit(category, latitude, longitude, cell):
    place = generalise(D("51.50722"), D("-0.12755"), category)

    assert (str(place.latitude), str(place.longitude)) == (latitude, longitude)
    assert place.precision_deg == D(cell)


def test_an_extreme_species_has_no_place_at_all():
    assert generalise(D("51.50722"), D("-0.12755"), 1, 30) == PublicPlace(None, None, None, None, Sensitivity.EXTREME)


def test_a_place_that_somebody_decided_to_show_is_shown_as_held():
    place = generalise(D("51.50722"), D("-0.12755"), Sensitivity.NONE, 30)

    assert (place.latitude, place.longitude, place.uncertainty_m) == (D("51.50722"), D("-0.12755"), 30)


@pytest.mark.parametrize(
    ("category", "latitude", "published_m"),
    [
        (2, "0", 7845),
        (2, "51.5", 6558),
        (2, "60", 6231),
        (3, "0", 785),
        (3, "51.5", 656),
        (3, "60", 623),
        (4, "0", 78),
        (4, "51.5", 66),
        (4, "60", 62),
    ],
)
def test_the_uncertainty_is_half_the_diagonal_of_the_cell(category, latitude, published_m):
    """Worked out on WGS84 for the GBIF categories, to the nearest metre or the next: a metre of room."""
    place = generalise(D(latitude), D("10"), category)

    assert abs(place.uncertainty_m - published_m) <= 1


@pytest.mark.parametrize("latitude", ["0", "-33.9", "51.5", "69.7", "-85"])
@pytest.mark.parametrize("category", [2, 3, 4])
def test_the_uncertainty_agrees_with_a_geodesic_across_the_cell(category, latitude):
    place = generalise(D(latitude), D("10"), category)

    half = place.precision_deg / 2
    corners = [(place.latitude - half, D(10) - half), (place.latitude + half, D(10) + half)]
    rounded_up_by = place.uncertainty_m - metres(*corners) / 2
    assert -0.01 <= rounded_up_by <= 1.01


def test_nothing_of_the_copy_tells_places_of_one_cell_apart():
    copies = {generalise(D(latitude), D("10"), 2) for latitude in ("51.46", "51.5", "51.5499")}

    assert len(copies) == 1


def test_the_uncertainty_of_the_record_is_added():
    alone = generalise(D("51.5"), D("0"), 3)

    assert generalise(D("51.5"), D("0"), 3, 250).uncertainty_m == alone.uncertainty_m + 250


@pytest.mark.parametrize(
    ("latitude", "longitude"), [("90.1", "0"), ("-91", "0"), ("0", "180.5"), ("0", "-181"), ("NaN", "0")]
)
def test_a_place_that_does_not_exist_is_refused(latitude, longitude):
    with pytest.raises(ValueError, match=r"lies between -(90|180) and (90|180) degrees"):
        generalise(D(latitude), D(longitude), 2)


def test_a_category_that_does_not_exist_is_refused():
    with pytest.raises(ValueError, match="5"):
        generalise(D(0), D(0), 5)


@pytest.mark.parametrize("limit", [D(-90), D(90)])
def test_the_poles_exist(limit):
    assert checked(limit, Axis.LATITUDE) == limit


def test_a_precision_must_be_a_size():
    with pytest.raises(ValueError, match="more than 0"):
        precision_uncertainty_m(D(0), D(0))


LONDON = (D("51.5073"), D("-0.1275"))


@pytest.mark.parametrize(
    "typed",
    [
        "51.5073, -0.1275",
        "51.5073 -0.1275",
        "  51.5073;-0.1275 ",
        "51.5073,-0.1275",
        "+51.5073, −0.1275",
        "51,5073; -0,1275",
        "51,5073 -0,1275",
        "51,5073, -0,1275",
        "51.5073N 0.1275W",
        "51.5073° N, 0.1275° W",
        "N 51.5073 W 0.1275",
        "w0.1275 n51.5073",
        "0.1275W, 51.5073N",
        "51.5073n, -0.1275",
    ],
)
def test_decimal_degrees_are_read_as_people_type_them(typed):
    assert parse_coordinates(typed) == LONDON


@pytest.mark.parametrize(
    "typed",
    [
        "51°30'26.28\"N 0°07'39\"W",
        "51° 30′ 26.28″ N, 0° 7′ 39″ W",
        "51 30 26.28 N 0 7 39 W",
        "51:30:26.28N 000:07:39W",
        "51d30'26.28\"N 0d07'39\"W",
        "N51 30 26.28 W0 7 39",
        "51 30 26.28 -0 7 39",
        "51 30 26.28, -0 7 39",
        "51º30’26.28”n 0º07’39”w",
        "51°30.438'N 0°7.65'W",
        "51 30.438, -0 7.65",
    ],
)
def test_degrees_minutes_and_seconds_are_read_as_people_type_them(typed):
    assert parse_coordinates(typed) == LONDON


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("33°51′S 151°12′E", ("-33.85", "151.2")),
        ("-33 51 151 12", ("-33.85", "151.2")),
        ("0 0", ("0", "0")),
        ("0°0′S 0°0′W", ("0", "0")),
        ("90N 180W", ("90", "-180")),
    ],
)
def test_each_hemisphere_has_its_sign(typed, expected):
    assert parse_coordinates(typed) == tuple(map(D, expected))


def test_zero_has_no_side():
    assert [str(value) for value in parse_coordinates("0S, 0W")] == ["0", "0"]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "Write a latitude and a longitude, for example"),
        ("51.5", "Write a latitude and a longitude, for example"),
        ("near the mill", "Write a latitude and a longitude, for example"),
        ("51.5, -0.1, 7", "with a comma between them"),
        ("51 30 26", "with a comma between them"),
        ("51.5 , ", "Write a latitude and a longitude, for example"),
        ("51.5.3 0.1", "Write a latitude and a longitude, for example"),
        ("1 2 3 4, 5", "Write a latitude and a longitude, for example"),
        ("51-30-26 0-7-39", "Write a latitude and a longitude, for example"),
        ("51.5N 0.1N", "not two of a kind"),
        ("95, 10", "A latitude lies between -90 and 90 degrees, not 95."),
        ("9" * 40 + " 30, 0 0", "A latitude lies between"),
        ("10, 190", "A longitude lies between -180 and 180 degrees, not 190."),
        ("51°60′N 0°0′W", "Minutes and seconds run from 0 to below 60."),
        ("51°30′60″N 0°0′W", "Minutes and seconds run from 0 to below 60."),
        ("51.5°30′N 0°0′W", "Only the last part of a coordinate can have decimals"),
        ("-51.5S 0.1W", "Use a minus sign or the letter S, not both."),
        ("51.5N 30E 0.1W", "Write a latitude and a longitude"),
    ],
)
def test_what_cannot_be_read_is_told_in_a_sentence(typed, says):
    with pytest.raises(ValueError, match=re.escape(says)):
        parse_coordinates(typed)


@pytest.mark.parametrize(
    ("value", "axis", "places", "expected"),
    [
        ("51.5073", Axis.LATITUDE, 0, "51°30′26″N"),
        ("51.5073", Axis.LATITUDE, 2, "51°30′26.28″N"),
        ("-0.1275", Axis.LONGITUDE, 0, "0°07′39″W"),
        ("-33.85", Axis.LATITUDE, 0, "33°51′00″S"),
        ("38.99999", Axis.LATITUDE, 0, "39°00′00″N"),  # never 38°59′60″
        ("0", Axis.LONGITUDE, 1, "0°00′00.0″E"),
    ],
)
def test_seconds_are_rounded_before_they_are_carried(value, axis, places, expected):
    assert dms(D(value), axis, places) == expected


latitudes = st.decimals(-90, 90, places=6)
longitudes = st.decimals(-180, 180, places=6)
FAST = settings(max_examples=30, deadline=None)


@FAST
@given(latitudes, longitudes, st.sampled_from([2, 3, 4]), st.none() | st.integers(1, 500))
def test_the_true_place_lies_within_the_published_uncertainty(latitude, longitude, category, own_m):
    """The cell is a trifle wider on the side of the equator than in its middle: a thousandth of room."""
    place = generalise(latitude, longitude, category, own_m)

    away_m = metres((place.latitude, place.longitude), (latitude, longitude))

    assert away_m + (own_m or 0) <= place.uncertainty_m * 1.001 or abs(place.latitude) > 89


@FAST
@given(latitudes, longitudes, st.sampled_from([2, 3, 4]))
def test_generalising_twice_changes_nothing_and_the_copy_depends_on_its_cell_alone(latitude, longitude, category):
    place = generalise(latitude, longitude, category)

    assert generalise(place.latitude, place.longitude, category) == place
    assert generalise(latitude, longitude, category) == place


@FAST
@given(latitudes, longitudes)
def test_decimal_degrees_come_back_exactly(latitude, longitude):
    assert parse_coordinates(f"{latitude}, {longitude}") == (latitude, longitude)


@FAST
@given(latitudes, longitudes)
def test_degrees_minutes_and_seconds_come_back_to_a_hundredth_of_a_second(latitude, longitude):
    typed = f"{dms(latitude, Axis.LATITUDE, 2)} {dms(longitude, Axis.LONGITUDE, 2)}"

    found = parse_coordinates(typed)

    assert all(
        abs(there - here) * 3600 <= D("0.00501") for there, here in zip(found, (latitude, longitude), strict=True)
    )


@FAST
@given(st.text("0123456789NSEWnsew°'\".,;:+- d", max_size=24))
def test_whatever_is_typed_gives_a_place_that_exists_or_one_sentence(typed):
    place, refusal = read(typed)

    if place is None:
        assert re.match("[A-Z].*[a-z]", refusal)
    else:
        assert abs(place[0]) <= 90
        assert abs(place[1]) <= 180


def read(typed: str) -> tuple[tuple[Decimal, Decimal] | None, str]:
    try:
        return parse_coordinates(typed), ""
    except ValueError as refusal:
        return None, str(refusal)
