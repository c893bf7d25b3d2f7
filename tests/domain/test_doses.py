"""Dose arithmetic: examples, refusals and laws. Published worked doses are in tests/acceptance."""

from __future__ import annotations

import ast
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from pathlib import Path

import pint
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hospital.rules import doses
from hospital.rules.doses import (
    SYRINGES,
    AmountUnit,
    Asked,
    DoesNotFit,
    DoseRefused,
    Syringe,
    TooCoarse,
    UnitsDiffer,
    bottle_lasts_days,
    converted,
    diluted_per_ml,
    dose_for,
    doses_in_course,
    draw_up,
    exact_ml,
    mg_per_ml_of_percent,
    tablets_per_dose,
    to_step,
    truncated,
    volume_ml,
    volume_to_dispense_ml,
    worked,
)

D = Decimal


def test_a_dose_is_weight_times_dose_per_kilogram():
    assert dose_for(D("4600"), D("0.2")) == D("0.92")


def test_a_dose_is_not_rounded():
    assert dose_for(D("17.3"), D("0.35")) == D("0.006055")


def test_a_volume_is_rounded_once_and_at_the_end():
    """85 g at 0.5 mg/kg is 0.0425 mg; rounding that to 0.04 mg first would give 0.08 mL, not 0.09 mL."""
    assert volume_ml(D("85"), D("0.5"), D("0.5"), D("0.01")) == D("0.09")


@pytest.mark.parametrize(
    ("value", "step", "expected"),
    [
        ("0.125", "0.01", "0.13"),
        ("0.135", "0.01", "0.14"),  # the habit of binary computers, half to even, would leave 0.12 above
        ("2.3", "0.2", "2.4"),
        ("2.29", "0.2", "2.2"),
        ("0", "0.1", "0"),
    ],
)
def test_halves_go_up(value, step, expected):
    assert to_step(D(value), D(step)) == D(expected)


def test_some_cut_instead_of_rounding():
    assert truncated(D("0.99"), D("0.1")) == D("0.9") == to_step(D("0.99"), D("0.1"), ROUND_DOWN)


@pytest.mark.parametrize(
    ("volume", "capacity", "drawn"),
    [
        ("0.126", "1", "0.13"),
        ("1", "1", "1"),
        ("1.004", "2.5", "1"),
        ("2.5", "2.5", "2.5"),
        ("2.61", "5", "2.6"),
        ("9.3", "10", "9.5"),
        ("10.2", "20", "10"),
        ("50", "50", "50"),
    ],
)
def test_the_smallest_syringe_that_holds_the_dose_is_filled_to_its_nearest_mark(volume, capacity, drawn):
    drawn_up = draw_up(D(volume), D(1))

    assert (drawn_up.syringe.capacity_ml, drawn_up.volume_ml) == (D(capacity), D(drawn))
    assert drawn_up.exact_ml == D(volume)


def test_the_change_by_rounding_is_told():
    drawn_up = draw_up(D("0.6"), D(5))  # 0.12 mL exactly

    assert (drawn_up.rounding_error_percent, drawn_up.given) == (0, D("0.6"))
    assert draw_up(D("0.63"), D(5)).rounding_error_percent == D("0.004") * 100 / D("0.126")
    assert draw_up(D("0.62"), D(5)).rounding_error_percent < 0


@pytest.mark.parametrize(
    ("volume", "is_refused"), [("0.011", False), ("0.012", True), ("0.009", True), ("0.0095", False)]
)
def test_a_change_of_more_than_ten_percent_is_refused(volume, is_refused):
    """0.011 mL drawn up as 0.01 mL is 9.1 % too little; 0.012 mL is 16.7 %; 0.009 mL is 11.1 % too much."""
    if is_refused:
        with pytest.raises(TooCoarse):
            draw_up(D(volume), D(1))
    else:
        assert draw_up(D(volume), D(1)).volume_ml == D("0.01")


def test_exactly_ten_percent_is_allowed():
    coarse = [Syringe(D(9), D("0.9"))]

    assert draw_up(D(1), D(1), syringes=coarse).rounding_error_percent == -10


def test_ten_marks_are_enough_for_a_dilution():
    with pytest.raises(TooCoarse) as refused:
        draw_up(D("0.002"), D(1))

    assert (refused.value.dilution.parts, refused.value.dilution.volume_ml) == (50, D("0.1"))


def test_a_refusal_proposes_the_least_dilution_that_fills_ten_marks():
    with pytest.raises(TooCoarse, match=r"0\.004 mL") as refused:
        draw_up(D("0.02"), D(5))

    proposal = refused.value.dilution
    assert (proposal.parts, proposal.per_ml, proposal.volume_ml) == (50, D("0.1"), D("0.2"))
    assert draw_up(D("0.02"), proposal.per_ml).volume_ml == proposal.volume_ml


def test_a_volume_that_no_dilution_helps_is_refused_without_a_proposal():
    with pytest.raises(TooCoarse) as refused:
        draw_up(D("0.00001"), D(1))

    assert refused.value.dilution is None


def test_a_dose_above_the_maximum_is_refused():
    with pytest.raises(DoseRefused, match=r"12 is above the stated maximum of 10\."):
        draw_up(D(12), D(5), most=D(10))


def test_rounding_up_never_passes_the_maximum():
    """The marks of a 5 mL syringe lie 0.2 mL apart."""
    assert draw_up(D("4.7"), D(1)).volume_ml == D("4.8")
    assert draw_up(D("4.7"), D(1), most=D("4.7")).volume_ml == D("4.6")


def test_more_than_the_largest_syringe_is_refused():
    with pytest.raises(DoseRefused, match=r"50\.01 mL is more than the largest syringe"):
        draw_up(D("50.01"), D(1))


def test_a_hospital_may_have_other_syringes_in_any_order():
    mine = [Syringe(D(20), D(1)), Syringe(D(3), D("0.1"))]

    assert draw_up(D("2.44"), D(1), syringes=mine).volume_ml == D("2.4")


def test_a_syringe_whose_marks_do_not_fit_is_refused():
    with pytest.raises(ValueError, match="1 mL"):
        Syringe(D(1), D("0.3"))


@pytest.mark.parametrize(
    ("days", "every_hours", "expected"),
    [(5, 8, 15), (1, 24, 1), (10, 72, 4), (5, 48, 3), (1, 72, 1), (7, 12, 14)],
)
def test_a_course_has_the_doses_that_begin_within_its_days(days, every_hours, expected):
    assert doses_in_course(days, every_hours) == expected


@pytest.mark.parametrize(
    ("extra", "expected"),
    [
        ({}, "2.6"),
        ({"loading_ml": D("0.36")}, "2.9"),
        ({"spare_percent": D(10)}, "2.8"),
        ({"step_ml": D(1)}, "3"),
    ],
)
def test_what_is_dispensed_is_rounded_up_so_that_the_last_dose_is_in_the_bottle(extra, expected):
    assert volume_to_dispense_ml(D("0.18"), 14, **extra) == D(expected)  # 2.52 mL


def test_only_whole_doses_of_a_bottle_count():
    assert bottle_lasts_days(D("5.9"), D(1), 12) == D("2.5")


def test_a_dilution_is_to_the_volume_of_both_together():
    assert diluted_per_ml(D(50), D(1), D(9)) == D(5)


@pytest.mark.parametrize(
    ("dose", "part", "expected"),
    [("12.5", "0.5", "0.5"), ("26", "0.5", "1"), ("37.5", "0.5", "1.5"), ("6.5", "0.25", "0.25")],
)
def test_tablets_are_cut_to_the_nearest_part(dose, part, expected):
    assert tablets_per_dose(D(dose), D(25), D(part)) == D(expected)


@pytest.mark.parametrize(("dose", "part"), [("18", "0.5"), ("12.5", "1"), ("3", "0.5"), ("7", "0.25")])
def test_tablets_that_would_miss_the_dose_by_more_than_ten_percent_are_refused(dose, part):
    with pytest.raises(DoseRefused, match="tablets of 25"):
        tablets_per_dose(D(dose), D(25), D(part))


@pytest.mark.parametrize(
    "nonsense",
    [
        lambda: dose_for(D(0), D(1)),
        lambda: dose_for(D(-5), D(1)),
        lambda: dose_for(D("NaN"), D(1)),
        lambda: dose_for(D(5), D("Infinity")),
        lambda: exact_ml(D(1), D(0)),
        lambda: to_step(D(1), D(0)),
        lambda: doses_in_course(0, 8),
        lambda: doses_in_course(5, 0),
        lambda: volume_to_dispense_ml(D(1), 0),
        lambda: mg_per_ml_of_percent(D(0)),
    ],
)
def test_nonsense_is_refused(nonsense):
    with pytest.raises(ValueError, match=r"(0|one|doses)"):
        nonsense()


@pytest.mark.parametrize(
    "binary",
    [
        lambda: dose_for(0.1, D(1)),
        lambda: dose_for(D(1), 0.2),
        lambda: draw_up(0.3, D(1)),
        lambda: draw_up(D(1), 0.3),
        lambda: draw_up(D(1), D(1), most=1.5),
        lambda: volume_to_dispense_ml(0.1, 3),
        lambda: to_step(0.1, D(1)),
        lambda: tablets_per_dose(True, D(1)),
    ],
)
def test_a_binary_fraction_is_never_taken_for_a_dose(binary):
    with pytest.raises(TypeError, match="decimal"):
        binary()


@pytest.mark.parametrize("module", ["doses", "weights", "wording"])
def test_no_float_is_written_in_the_dose_rules(module):
    tree = ast.parse((Path(doses.__file__).parent / f"{module}.py").read_text())

    assert not [
        node for node in ast.walk(tree) if isinstance(node, ast.Constant) and type(node.value) is float
    ]
    names = {
        node.func.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert "float" not in names


# Laws. Weights from a bat to a deer, doses and strengths as they are written on bottles.
weights_g = st.decimals(D("2"), D("90000"), places=1)
per_kg = st.decimals(D("0.01"), D("60"), places=2)
strengths = st.decimals(D("0.1"), D("300"), places=1)
doses_mg = st.decimals(D("0.01"), D("400"), places=2)
MASS = [AmountUnit.MICROGRAM, AmountUnit.MG, AmountUnit.G]
FAST = settings(max_examples=30, deadline=None)


def as_fraction(value: Decimal) -> Fraction:
    return Fraction(*value.as_integer_ratio())


@FAST
@given(weights_g, per_kg, strengths, st.sampled_from([D("0.01"), D("0.1"), D("0.2"), D("1")]))
def test_a_rounded_volume_is_the_nearest_step_to_the_exact_one(weight_g, mg_per_kg, mg_per_ml, step_ml):
    exact = as_fraction(weight_g) * as_fraction(mg_per_kg) / 1000 / as_fraction(mg_per_ml)

    rounded = as_fraction(volume_ml(weight_g, mg_per_kg, mg_per_ml, step_ml))

    step = as_fraction(step_ml)
    assert rounded % step == 0
    assert -step / 2 < exact - rounded <= step / 2 or exact - rounded == -step / 2
    assert exact - rounded != step / 2  # a half goes up


@FAST
@given(weights_g, weights_g, per_kg, strengths)
def test_a_heavier_animal_never_gets_less(lighter_g, heavier_g, mg_per_kg, mg_per_ml):
    assume(lighter_g <= heavier_g)

    less, more = (volume_ml(weight_g, mg_per_kg, mg_per_ml, D("0.01")) for weight_g in (lighter_g, heavier_g))

    assert less <= more


@FAST
@given(doses_mg, strengths, st.decimals(D(0), D(5), places=2))
def test_what_is_drawn_up_is_within_ten_percent_never_above_the_maximum_and_fits(dose, mg_per_ml, room):
    limit_mg = dose + room
    try:
        drawn_up = draw_up(dose, mg_per_ml, most=limit_mg)
    except DoseRefused:
        return

    assert abs(drawn_up.given - dose) * 10 <= dose
    assert drawn_up.given <= limit_mg
    assert drawn_up.volume_ml <= drawn_up.syringe.capacity_ml
    assert drawn_up.volume_ml % drawn_up.syringe.graduation_ml == 0
    smaller = [each for each in SYRINGES if each.capacity_ml < drawn_up.syringe.capacity_ml]
    assert all(each.capacity_ml < drawn_up.exact_ml for each in smaller)


@FAST
@given(st.decimals(D("0.001"), D("0.3"), places=3), strengths)
def test_a_proposed_dilution_can_be_drawn_up_within_five_percent(dose, mg_per_ml):
    try:
        draw_up(dose, mg_per_ml)
    except TooCoarse as refused:
        proposal = refused.dilution
        assume(proposal is not None)
        diluted = draw_up(dose, proposal.per_ml)
        assert abs(diluted.rounding_error_percent) <= 5
        assert (diluted.volume_ml, diluted.syringe) == (proposal.volume_ml, proposal.syringe)


@FAST
@given(st.decimals(D("0.001"), D("5000"), places=3), st.sampled_from(MASS), st.sampled_from(MASS))
def test_an_amount_comes_back_from_another_unit(amount, unit, other):
    assert converted(converted(amount, unit, other), other, unit) == amount


@FAST
@given(st.decimals(D("0.01"), D("20"), places=2), st.integers(1, 60), st.decimals(D(0), D(30), places=0))
def test_a_bottle_holds_at_least_the_whole_course(volume, count, spare_percent):
    bottle_ml = volume_to_dispense_ml(volume, count, spare_percent=spare_percent)

    assert bottle_ml >= volume * count
    assert bottle_lasts_days(bottle_ml, volume, 24) >= count


# The order and the calculator: units, dilution, chosen syringe.


def ask(dose="0.2", dose_unit=AmountUnit.MG, strength="5", strength_unit=AmountUnit.MG, **more):
    return Asked(D(dose), dose_unit, D(strength), strength_unit, **more)


def test_a_dose_in_micrograms_is_drawn_from_a_bottle_in_mg():
    done = worked(ask("200", AmountUnit.MICROGRAM), D(4600))

    assert (done.dose, done.drawn.dose, done.drawn.volume_ml) == (D(920), D("0.92"), D("0.18"))


def test_units_are_drawn_from_a_bottle_in_units_and_from_no_other():
    assert worked(ask("4", AmountUnit.UNIT, "10", AmountUnit.UNIT), D(800)).drawn.volume_ml == D("0.32")
    for mixed in (ask("4", AmountUnit.UNIT), ask("4", AmountUnit.MG, "10", AmountUnit.UNIT)):
        with pytest.raises(UnitsDiffer):
            worked(mixed, D(800))


def test_a_dilution_is_drawn_up_weaker_and_counted_from_the_bottle():
    done = worked(ask(dilution_parts=200), D(20))

    assert (done.drawn.per_ml, done.drawn.volume_ml, done.stock_ml) == (D("0.025"), D("0.16"), D("0.0008"))


def test_the_chosen_syringe_is_used_or_refused():
    assert worked(ask("2", strength="1", syringe_ml=D("2.5")), D(812)).drawn.volume_ml == D("1.6")
    with pytest.raises(DoesNotFit) as refused:
        worked(ask("2", strength="1", syringe_ml=D(1)), D(812))
    assert (refused.value.volume_ml, refused.value.capacity_ml) == (D("1.624"), 1)
    with pytest.raises(ValueError, match="no syringe of 3 mL"):
        ask(syringe_ml=D(3))


def test_rounding_does_not_pass_the_limit_of_the_row():
    assert worked(ask("1", strength="1"), D(4700)).drawn.volume_ml == D("4.8")
    assert worked(ask("1", strength="1"), D(4700), most_per_kg=D(1)).drawn.volume_ml == D("4.6")
    assert worked(ask("1", strength="1"), D(4700), most_per_kg=D("0.5")).drawn.volume_ml == D("4.8")  # a second vet's matter


@pytest.mark.parametrize("parts", [0, -1, True])
def test_a_dilution_of_no_parts_is_refused(parts):
    with pytest.raises(ValueError, match="at least one part"):
        ask(dilution_parts=parts)


# The registry of units of an independent library, with decimals: a test-only reference.
UNITS_OF = {AmountUnit.MICROGRAM: "microgram", AmountUnit.MG: "milligram", AmountUnit.G: "gram"}


@pytest.fixture(scope="module")
def pint_units():
    return pint.UnitRegistry(non_int_type=Decimal)


@FAST
@given(amount=st.decimals(D("0.001"), D("5000"), places=3), unit=st.sampled_from(MASS), other=st.sampled_from(MASS))
def test_pint_converts_an_amount_as_we_do(pint_units, amount, unit, other):
    theirs = (amount * pint_units(UNITS_OF[unit])).to(UNITS_OF[other]).magnitude

    assert converted(amount, unit, other) == theirs


@FAST
@given(weights_g, per_kg, strengths, st.sampled_from(MASS), st.sampled_from(MASS))
def test_pint_works_out_the_volume_as_we_do(pint_units, weight_g, dose, strength, unit, strength_unit):
    q = pint_units.Quantity
    rate, bottle = q(dose, f"{UNITS_OF[unit]} / kilogram"), q(strength, f"{UNITS_OF[strength_unit]} / milliliter")
    theirs = (q(weight_g, "gram") * rate / bottle).to("milliliter")
    try:
        ours = worked(Asked(dose, unit, strength, strength_unit), weight_g)
    except DoseRefused:
        return

    assert ours.drawn.exact_ml == pytest.approx(theirs.magnitude, rel=D("1e-20"))


@FAST
@given(weights_g, weights_g, per_kg, strengths, st.sampled_from([1, 2, 10, 50]))
def test_a_heavier_animal_never_gets_a_smaller_exact_dose_whatever_the_dilution(lighter_g, heavier_g, dose, strength, parts):
    assume(lighter_g <= heavier_g)
    wanted = Asked(dose, AmountUnit.MG, strength, AmountUnit.MG, parts)
    try:
        less, more = worked(wanted, lighter_g), worked(wanted, heavier_g)
    except DoseRefused:
        return

    assert 0 < less.dose <= more.dose
    assert 0 < less.drawn.exact_ml <= more.drawn.exact_ml
    assert 0 < less.stock_ml <= less.drawn.volume_ml
