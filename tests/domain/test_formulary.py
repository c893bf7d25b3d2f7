"""Rows of the formulary: what they refuse to be, and what they say about an order. Figures here are made up for the rules."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.doses import AmountUnit
from hospital.rules.formulary import NEEDS_SECOND_VET, Entry, Finding, Span, Wanted, held_beside, overlaps

D = Decimal
ROW = Entry(
    slug="bird.example", drug="example", group="bird", unit=AmountUnit.MG, per_kg=D(2), per_kg_top=D(4), least_per_kg=D(1),
    hard_from_per_kg=D(8), hard_reason="", routes=("mouth", "muscle"), every_hours=12, interval_note="", doses_most=10,
    strengths_per_ml=(D("1.5"),), medicine_class="nsaid", is_controlled=False, discard_days=28, discard_note="", species="",
    caution="", source="Invented handbook", how_known="read",
)  # fmt: skip
ORDER = Wanted(D(2), AmountUnit.MG, "mouth", 12, 10)


def beside(entry=ROW, *, is_adopted=True, **wanted):
    return held_beside(entry, replace(ORDER, **wanted), is_adopted=is_adopted)


def test_an_order_within_the_row_meets_nothing():
    assert beside() == ()


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({"dose_per_kg": D("0.99")}, [Finding.BELOW_USUAL]),
        ({"dose_per_kg": D(1)}, []),
        ({"dose_per_kg": D(4)}, []),
        ({"dose_per_kg": D("4.01")}, [Finding.ABOVE_USUAL]),
        ({"dose_per_kg": D("7.99")}, [Finding.ABOVE_USUAL]),
        ({"dose_per_kg": D(8)}, [Finding.ABOVE_HARD]),
        ({"dose_per_kg": D(80)}, [Finding.ABOVE_HARD]),
        ({"dose_per_kg": D(2000), "dose_unit": AmountUnit.MICROGRAM}, []),
        ({"dose_per_kg": D(8000), "dose_unit": AmountUnit.MICROGRAM}, [Finding.ABOVE_HARD]),
        ({"dose_unit": AmountUnit.UNIT}, [Finding.OTHER_UNIT]),
        ({"route": "vein"}, [Finding.OTHER_ROUTE]),
        ({"route": ""}, []),
        ({"every_hours": 11}, [Finding.TOO_OFTEN]),
        ({"every_hours": 13}, []),
        ({"every_hours": 1, "doses": 1}, []),  # one dose has no interval
        ({"doses": 11}, [Finding.TOO_MANY_DOSES]),
        (
            {"dose_per_kg": D(8), "route": "vein", "every_hours": 6, "doses": 20},
            [Finding.ABOVE_HARD, Finding.OTHER_ROUTE, Finding.TOO_OFTEN, Finding.TOO_MANY_DOSES],
        ),
    ],
)
def test_what_leaves_the_row_is_found(wanted, found):
    assert list(beside(**wanted)) == found


def test_a_row_without_interval_or_longest_course_sets_none():
    assert beside(replace(ROW, every_hours=None, doses_most=None), every_hours=1, doses=400) == ()


def test_no_row_in_force_is_found_and_the_proposal_judges_all_the_same():
    assert beside(None) == (Finding.NOT_ADOPTED,)
    assert beside(is_adopted=False, dose_per_kg=D(8)) == (Finding.NOT_ADOPTED, Finding.ABOVE_HARD)


def test_only_a_hard_limit_and_a_mix_of_units_need_a_second_vet():
    assert {Finding.ABOVE_HARD, Finding.OTHER_UNIT} == NEEDS_SECOND_VET


@pytest.mark.parametrize(
    "wrong",
    [
        {"drug": " "}, {"least_per_kg": D(0)}, {"least_per_kg": D(3)}, {"per_kg_top": D(1)}, {"hard_from_per_kg": D(4)},
        {"routes": ()}, {"source": ""},
    ],
)  # fmt: skip
def test_a_row_that_contradicts_itself_is_refused_with_a_sentence(wrong):
    with pytest.raises(ValueError, match=r"\.$"):
        replace(ROW, **wrong)


@pytest.mark.parametrize("wrong", [{"per_kg": "much"}, {"unit": "cc"}, {"routes": None}, {"colour": "red"}])
def test_stored_content_that_is_no_row_is_refused(wrong):
    with pytest.raises(ValueError, match=r"no row of the formulary|not a valid"):
        Entry.from_json(ROW.to_json() | wrong)


amounts = st.decimals(D("0.0001"), D("5000"), places=4)
FAST = settings(max_examples=50, deadline=None)


@FAST
@given(st.lists(amounts, min_size=4, max_size=4, unique=True), st.sampled_from([AmountUnit.MG, AmountUnit.UNIT, AmountUnit.MICROGRAM]))
def test_a_row_comes_back_from_storage_as_it_was(figures, unit):
    least, usual, top, hard = sorted(figures)
    row = replace(ROW, unit=unit, least_per_kg=least, per_kg=usual, per_kg_top=top, hard_from_per_kg=hard)

    assert Entry.from_json(row.to_json()) == row


GRAVITY = {Finding.ABOVE_USUAL: 1, Finding.ABOVE_HARD: 2}


@FAST
@given(amounts, amounts)
def test_more_is_never_judged_more_mildly(some, other):
    less, more = sorted((some, other))

    gravities = [max([GRAVITY.get(each, 0) for each in beside(dose_per_kg=dose)], default=0) for dose in (less, more)]

    assert gravities[0] <= gravities[1]


# --- two courses ----------------------------------------------------------------------------------------------------

START = datetime(2027, 3, 1, 8, tzinfo=UTC)


def course(key, medicine="meloxicam", medicine_class="nsaid", starts=0, days=5):
    return Span(key, medicine, medicine_class, START + timedelta(days=starts), START + timedelta(days=starts + days))


@pytest.mark.parametrize(
    ("other", "found"),
    [
        (course(1), [Finding.SAME_MEDICINE]),
        (course(1, "carprofen"), [Finding.SAME_CLASS]),
        (course(1, "morphine", "opioid"), []),
        (course(1, starts=5), []),  # begins when the first course's next dose would have been due
        (course(1, starts=4), [Finding.SAME_MEDICINE]),
        (course(1, starts=-5), []),
        (course(1, starts=-4), [Finding.SAME_MEDICINE]),
    ],
)
def test_courses_meet_while_both_are_given(other, found):
    assert [finding for finding, _ in overlaps(course(0), [other])] == found


def test_two_medicines_of_no_known_class_are_not_alike():
    assert overlaps(course(0, "one", ""), [course(1, "other", "")]) == []


def test_the_same_medicine_is_told_before_the_same_class():
    met = overlaps(course(0), [course(1, "carprofen"), course(2)])

    assert [(finding, span.key) for finding, span in met] == [(Finding.SAME_MEDICINE, 2), (Finding.SAME_CLASS, 1)]
