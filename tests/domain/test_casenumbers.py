"""Case numbers: the check catches every wrong character and every swap, by proof and by trial."""

from __future__ import annotations

from itertools import combinations, pairwise
from math import gcd

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.casenumbers import ALPHABET, BASE, _multiplier, case_number, sequence_of

WIDEST_OF_FIVE = BASE**4 - 1
sequences = st.integers(0, WIDEST_OF_FIVE) | st.integers(0, BASE**7)
FAST = settings(max_examples=50, deadline=None)


def swapped(text: str, place: int) -> str:
    return text[:place] + text[place + 1] + text[place] + text[place + 2 :]


def test_the_alphabet_has_no_look_alikes_and_a_prime_number_of_characters():
    assert ALPHABET == "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
    assert len(set(ALPHABET)) == 31
    assert not set("01OIL") & set(ALPHABET)


def test_five_characters_carry_923521_cases_and_then_there_are_six():
    assert {len(case_number(number)) for number in (0, 1, 5000, WIDEST_OF_FIVE)} == {5}
    assert len(case_number(WIDEST_OF_FIVE + 1)) == 6
    assert len(case_number(BASE**4 + BASE**5)) == 7


def test_the_scrambling_is_one_to_one():
    """Multiplication by a number coprime to the modulus only reorders; so no two numbers meet."""
    assert all(gcd(_multiplier(width), BASE) == 1 for width in range(4, 12))


def test_a_number_means_the_same_for_ever():
    """Printed on packs and labels: a change of the shape would orphan them."""
    assert [case_number(number) for number in (0, 1, 2, 40, 923520, 923521)] == [
        "22222",
        "9EQ3J",
        "GUD4Y",
        "KD6BW",
        "SMBZT",
        "222222",
    ]


@pytest.mark.parametrize("first", [0, 1, 777, 500000, 923000, 923521, 5_000_000])
def test_any_two_of_seventeen_in_a_row_differ_in_every_character_but_the_check(first):
    litter = [case_number(first + young) for young in range(17)]

    for one, other in combinations(litter, 2):
        assert all(a != b for a, b in zip(one[:-1], other[:-1], strict=True))


def test_every_single_wrong_character_would_be_caught_by_proof():
    """The weighed sum changes by weight x difference; modulo the prime 31 that is never 0."""
    for weight in range(1, 31):
        assert all(weight * difference % BASE for difference in range(1, BASE))


def test_every_swap_of_two_characters_would_be_caught_by_proof():
    """The weighed sum changes by (difference of weights) x (difference of characters)."""
    for one, other in combinations(range(1, 31), 2):
        assert all((one - other) * difference % BASE for difference in range(1, BASE))


@pytest.mark.parametrize("sequence", [0, 1, 2, 40, 4711, 923520, 923521, 30_000_000])
def test_every_single_wrong_character_is_caught(sequence):
    number = case_number(sequence)

    for place, right in enumerate(number):
        for wrong in ALPHABET.replace(right, ""):
            with pytest.raises(ValueError, match="No case has the number"):
                sequence_of(number[:place] + wrong + number[place + 1 :])


@FAST
@given(sequences, st.integers(0, 3))
def test_every_swap_of_neighbours_is_caught(sequence, place):
    number = case_number(sequence)

    typed = swapped(number, place)

    if typed == number:
        assert sequence_of(typed) == sequence
    else:
        with pytest.raises(ValueError, match="No case has the number"):
            sequence_of(typed)


@FAST
@given(sequences, st.integers(0, 4), st.sampled_from(ALPHABET))
def test_a_wrong_character_is_caught_in_any_number(sequence, place, wrong):
    number = case_number(sequence)

    typed = number[:place] + wrong + number[place + 1 :]

    if typed != number:
        with pytest.raises(ValueError, match="No case has the number"):
            sequence_of(typed)


@FAST
@given(sequences)
def test_a_running_number_comes_back(sequence):
    assert sequence_of(case_number(sequence)) == sequence


@FAST
@given(st.text(ALPHABET, min_size=4, max_size=6))
def test_each_text_with_its_right_check_is_one_case(digits):
    valid = [check for check in ALPHABET if _is_case(digits + check)]

    assert len(valid) == 1
    assert case_number(sequence_of(digits + valid[0])) == digits + valid[0]


def _is_case(text: str) -> bool:
    try:
        sequence_of(text)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize(
    "typed", ["9eq3j", " 9EQ 3J ", "9EQ-3J", "9EQ–3J", "9E.Q3.J", "9EQ\N{NO-BREAK SPACE}3J"]
)
def test_lower_case_spaces_and_hyphens_are_no_matter(typed):
    assert sequence_of(typed) == 1


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "Please type a case number."),
        (" - ", "Please type a case number."),
        ("9EQ", "A case number has at least 5 characters, not 3."),
        ("9E03J", "A case number never has 0, O, 1, I or L: look at the “0” again."),
        ("9EQ3l", "A case number never has 0, O, 1, I or L: look at the “L” again."),
        ("9EQ!J", "A case number has only letters and digits: look at the “!” again."),
        ("9EQÄJ", "A case number has only letters and digits: look at the “Ä” again."),
        ("9EQJ3", "No case has the number 9EQJ3: a character is wrong, or two are swapped."),
    ],
)
def test_a_mistake_is_told_in_one_sentence(typed, sentence):
    with pytest.raises(ValueError, match="^" + sentence.replace(".", r"\.") + "$"):
        sequence_of(typed)


def test_a_running_number_counts_from_zero():
    with pytest.raises(ValueError, match="counts from 0"):
        case_number(-1)


def test_numbers_in_a_row_do_not_sort_in_a_row():
    row = [case_number(number) for number in range(1, 40)]

    assert len({a < b for a, b in pairwise(row)}) == 2
