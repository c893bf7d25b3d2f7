"""Codes to be typed: a slip is noticed, by trying every one of them."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.casenumbers import ALPHABET, case_number
from hospital.rules.codes import checked, drawn, grouped, is_whole, tidied

bodies = st.text(alphabet=ALPHABET, min_size=11, max_size=11)
FEW = settings(max_examples=20, deadline=None)


@FEW
@given(bodies)
def test_every_single_wrong_character_and_every_swap_is_noticed(body):
    code = checked(body)
    wrong = [code[:n] + each + code[n + 1 :] for n in range(12) for each in ALPHABET if each != code[n]]
    swapped = [code[:a] + code[b] + code[a + 1 : b] + code[a] + code[b + 1 :] for a, b in combinations(range(12), 2) if code[a] != code[b]]

    assert is_whole(code)
    assert not any(is_whole(each) for each in wrong + swapped)


@FEW
@given(st.integers(0, 900_000))
def test_the_check_is_that_of_a_case_number(sequence):
    number = case_number(sequence)

    assert checked(number[:-1]) == number


@pytest.mark.parametrize("typed", ["", "0", "O1IL", "ABCD-EFGH-JKL", "привет"])
def test_what_cannot_be_a_code_is_none(typed):
    assert not is_whole(tidied(typed))


def test_a_code_is_shown_in_fours_and_typed_in_any_way():
    code = checked(drawn(b"\x07" * 32, 11))

    assert [len(group) for group in grouped(code).split("-")] == [4, 4, 4]
    assert tidied(f" {grouped(code).lower().replace('-', ' – ')} ") == code


def test_all_characters_are_drawn_about_alike():
    """31 characters, 11 places, 2,000 secrets: each some 710 times, by chance within a fifth of that."""
    all_drawn = "".join(drawn(bytes([n % 256, n // 256] * 16), 11) for n in range(2000))

    assert all(0.7 < all_drawn.count(each) / (22000 / 31) < 1.3 for each in ALPHABET)
