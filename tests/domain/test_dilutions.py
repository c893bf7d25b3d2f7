"""Which dilution is proposed for a volume that no syringe can show: every factor, and the syringe that it then needs."""

from __future__ import annotations

from decimal import Decimal

import pytest

from hospital.rules.doses import DILUTIONS, DoseRefused, Syringe, TooCoarse, draw_up, tablets_per_dose

D = Decimal


def proposal(volume: Decimal, *syringes: Syringe):
    """For a volume of a drug of one in each mL."""
    with pytest.raises(TooCoarse) as refused:
        draw_up(volume, D(1), **({"syringes": syringes} if syringes else {}))
    return refused.value.dilution


def test_the_factors_are_those_that_are_easily_made_up():
    """One part in so many altogether: common practice, no source."""
    assert DILUTIONS == (2, 5, 10, 20, 50, 100, 200, 500, 1000)


@pytest.mark.parametrize("parts", DILUTIONS[1:])
def test_the_least_factor_that_fills_ten_marks_is_proposed(parts):
    """Twelve marks of 0.01 mL are reached with this factor; with the next smaller one fewer than ten."""
    found = proposal(D("0.12") / parts)

    assert (found.parts, found.volume_ml, found.syringe.capacity_ml) == (parts, D("0.12"), 1)


def test_the_diluted_volume_goes_into_a_larger_syringe_if_it_must():
    coarse, larger = Syringe(D(1), D("0.25")), Syringe(D(5), D("0.25"))

    found = proposal(D("0.36"), coarse, larger)  # tenfold: 3.6 mL, to the nearest mark 3.5

    assert (found.parts, found.volume_ml, found.syringe) == (10, D("3.5"), larger)


def test_twofold_is_enough_where_the_larger_syringe_has_finer_marks():
    coarse, fine = Syringe(D(1), D("0.25")), Syringe(D(5), D("0.1"))

    found = proposal(D("0.6"), coarse, fine)

    assert (found.parts, found.volume_ml, found.syringe) == (2, D("1.2"), fine)


def test_what_is_too_much_names_the_largest_syringe():
    with pytest.raises(DoseRefused, match=r"50\.01 mL is more than the largest syringe holds \(50 mL\)"):
        draw_up(D("50.01"), D(1))


def test_tablets_too_may_be_exactly_ten_percent_off():
    assert tablets_per_dose(D(50), D(45)) == 1
    with pytest.raises(DoseRefused):
        tablets_per_dose(D(50), D("44.9"), D(1))
