"""Laws of food and fluids: what must hold for every animal, whatever the figures."""

import tomllib
from decimal import Decimal
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.doses import DoseRefused
from hospital.rules.energy import (
    FOODS,
    METABOLISMS,
    by_power,
    food_called,
    kcal_of_kj,
    kcal_per_gram,
    linear_resting_kcal,
    metabolism_for,
    ration,
)
from hospital.rules.fluids import MAINTENANCES, Phase, deficit_ml, drops_per_minute, fluids, maintenance_for

D = Decimal
GROUPS = {
    row["slug"]: row
    for row in tomllib.loads((Path(__file__).parents[2] / "fixtures" / "reference" / "taxon_groups.toml").read_text())["group"]
}
CLOSE = D("1e-15")


def decimals(low, high, places=1):
    return st.decimals(D(low), D(high), places=places, allow_nan=False, allow_infinity=False)


WEIGHTS = decimals("0.1", "500000")


def lineage(slug):
    slugs = [slug]
    while parent := GROUPS[slugs[-1]].get("parent"):
        slugs.append(parent)
    return tuple(slugs)


# --- energy -------------------------------------------------------------------------------------------------------


@given(WEIGHTS, WEIGHTS, st.sampled_from(METABOLISMS), decimals("0.1", "8"), decimals("0.1", "9"), st.integers(1, 12), st.integers(1, 30))
def test_the_heavier_animal_needs_more_and_gets_no_less(one, other, group, factor, density, meals, days):
    light, heavy = (
        ration(weight, group.kcal_constant, factor, density, meals, days) for weight in sorted((one, other))
    )

    assert 0 < light.need_kcal <= heavy.need_kcal
    assert 0 <= light.grams_per_meal <= heavy.grams_per_meal
    assert (one == other) == (light.resting_kcal == heavy.resting_kcal)


@given(WEIGHTS, st.sampled_from(METABOLISMS), decimals("0.1", "8"), decimals("0.1", "9"), st.integers(1, 12), st.integers(1, 30))
def test_all_meals_together_hold_the_need_of_all_days(weight, group, factor, density, meals, days):
    found = ration(weight, group.kcal_constant, factor, density, meals, days)

    held = found.exact_g * meals * density
    assert abs(held - found.need_kcal * days) <= CLOSE * held
    assert abs(found.grams_per_meal - found.exact_g) <= max(found.exact_g / 20, D("0.005"))


@given(WEIGHTS)
def test_twice_the_weight_needs_less_than_twice_the_food(weight):
    assert by_power(weight, D(70)) < by_power(2 * weight, D(70)) < 2 * by_power(weight, D(70))


@pytest.mark.parametrize("grams", ["50", "2000", "45000"])
def test_the_straight_line_says_nothing_where_it_misleads(grams):
    """At 50 g it would say 71.5 kcal where the power rule says 7.4."""
    assert linear_resting_kcal(D(grams)) is None


def test_kilojoules_are_turned_as_a_registry_of_units_turns_them():
    kcal = pint.UnitRegistry(non_int_type=Decimal).Quantity(D("1234.5"), "kJ").to("kcal").magnitude

    assert abs(kcal_of_kj(D("1234.5")) - kcal) < D("1e-20")


@given(decimals("0.1", "9", 2))
def test_a_packet_says_the_same_in_every_unit(kcal):
    """Ways of writing one energy agree, and none passes that of pure fat."""
    said = [kcal_per_gram(kcal), kcal_per_gram(kcal * 100, grams=100), kcal_per_gram(kcal * D("4.184"), is_kj=True)]

    assert all(abs(each - kcal) < D("1e-20") for each in said)
    with pytest.raises(ValueError, match="pure fat"):
        kcal_per_gram(kcal * 1000, grams=10)


@pytest.mark.parametrize(("group", "constant"), [("waterbird", 78), ("passerine", 129), ("hedgehog", 70), ("koala", 49), ("snake", 32)])
def test_the_nearest_group_gives_the_constant(group, constant):
    assert metabolism_for(lineage(group)).kcal_constant == constant


def test_no_constant_is_made_up_for_an_amphibian():
    assert metabolism_for(lineage("amphibian")) is None
    assert maintenance_for(lineage("amphibian")) is None


def test_only_reptiles_ask_for_warmth():
    assert [each.group for each in METABOLISMS if each.needs_warmth] == ["reptile"]


def test_every_figure_says_where_it_is_from_and_names_a_group_that_is_there():
    assert all(each.source and each.how_known for each in (*METABOLISMS, *MAINTENANCES, *FOODS))
    assert {each.group for each in (*METABOLISMS, *MAINTENANCES)} <= GROUPS.keys()


def test_a_food_without_a_source_has_no_figure():
    assert all((each.kcal_per_g is None) == (each.how_known == "common practice") for each in FOODS)
    assert food_called(" Mealworms ").kcal_per_g == D("2.06")
    assert food_called("moon cheese") is None


@pytest.mark.parametrize("wrong", [D(0), D(-1), D("NaN"), D("Infinity")])
def test_no_ration_from_a_weight_that_cannot_be(wrong):
    with pytest.raises(ValueError, match="weight_g"):
        ration(wrong, D(70), D(1), D(1), 1)


def test_no_ration_and_no_fluids_from_floats():
    with pytest.raises(TypeError):
        ration(500.0, D(70), D(1), D(1), 1)
    with pytest.raises(TypeError):
        fluids(500.0, D(50))


# --- fluids -------------------------------------------------------------------------------------------------------


def total_ml(found, hours):
    """What flows in so many hours from the beginning."""
    ends = [*(each.from_hour for each in found.phases[1:]), hours]
    return sum((each.ml_per_hour * (end - each.from_hour) for each, end in zip(found.phases, ends, strict=True)), D(0))


@given(WEIGHTS, decimals("1", "300"), decimals("0", "20"), st.integers(2, 96), st.integers(1, 95), decimals("0", "5000"))
def test_the_deficit_is_given_once_and_wholly(weight, per_kg, percent, hours, half, losses):
    half_in = half if half < hours and percent else None
    asked = {"dehydration_percent": percent, "deficit_hours": hours, "half_in_hours": half_in, "losses_ml_day": losses}
    found = fluids(weight, per_kg, **asked)

    days = 10
    without = (found.maintenance_ml_day + losses) * days
    given_ml = total_ml(found, days * 24)
    assert abs(given_ml - without - found.deficit_ml) <= CLOSE * given_ml
    assert abs(found.phases[-1].ml_per_day - without / days) <= CLOSE * given_ml
    assert all(each.ml_per_hour >= 0 for each in found.phases)


@given(WEIGHTS, WEIGHTS, decimals("1", "300"), decimals("0", "20"), st.integers(1, 96))
def test_the_heavier_animal_gets_no_less_fluid(one, other, per_kg, percent, hours):
    light, heavy = (
        fluids(weight, per_kg, dehydration_percent=percent, deficit_hours=hours, times_per_day=3)
        for weight in sorted((one, other))
    )

    for a, b in zip(light.phases, heavy.phases, strict=True):
        assert 0 <= a.ml_per_hour <= b.ml_per_hour
        assert 0 <= a.ml_each <= b.ml_each


@given(decimals("0.1", "2000"), st.sampled_from((10, 15, 20, 60)))
def test_drops_are_whole_and_never_off_by_more_than_a_tenth(rate, drops_per_ml):
    exact = rate * drops_per_ml / 60
    try:
        found = drops_per_minute(rate, drops_per_ml)
    except DoseRefused:
        assert exact < 10
    else:
        assert found >= 1
        assert abs(found - exact) <= min(D("0.5"), exact / 10)


def test_percent_is_percent_and_more_than_twenty_is_refused():
    assert deficit_ml(D(12000), D(6)) == 720
    with pytest.raises(DoseRefused, match="for example 6"):
        deficit_ml(D(12000), D(60))


@pytest.mark.parametrize(("hours", "half_in"), [(None, None), (24, 24), (24, 0)])
def test_hours_that_do_not_fit_are_refused(hours, half_in):
    with pytest.raises(ValueError, match="deficit"):
        fluids(D(1000), D(50), dehydration_percent=D(5), deficit_hours=hours, half_in_hours=half_in)


@given(WEIGHTS, decimals("1", "300"), decimals("0", "20"), st.integers(1, 96), st.integers(1, 24) | st.none())
def test_a_signed_phase_reads_back_as_it_was(weight, per_kg, percent, hours, times):
    found = fluids(weight, per_kg, dehydration_percent=percent, deficit_hours=hours, times_per_day=times)

    assert tuple(Phase.from_json(each.to_json()) for each in found.phases) == found.phases


@pytest.mark.parametrize(
    ("group", "usual"), [("raptor", 50), ("tortoise", 20), ("hedgehog", 75), ("fox", 50), ("small-mammal", 75), ("snake", 20)]
)
def test_the_nearest_group_gives_the_maintenance_within_its_own_range(group, usual):
    found = maintenance_for(lineage(group))

    assert found.usual == usual
    assert found.low <= found.usual <= found.high
