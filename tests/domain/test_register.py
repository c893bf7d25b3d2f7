"""The arithmetic of the register: exact amounts, what was drawn up, and the chain of hashes."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.register import (
    Fault,
    FaultKind,
    Link,
    amount_of,
    first_fault,
    link,
    nearest_thousandths,
    text_of,
    thousandths,
    unaccounted,
)

whole = st.integers(min_value=0, max_value=10**9)


def test_the_hash_is_that_of_the_published_example():
    """FIPS 180-4, example for SHA-256: the message "abc"."""
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

    assert link("", "abc") == expected
    assert link("a", "bc") == expected  # the hash before and the text follow one another


@given(whole)
def test_amounts_come_back_as_they_went(number):
    assert thousandths(amount_of(number)) == number


@given(st.lists(st.integers(min_value=-(10**6), max_value=10**6)))
def test_sums_of_thousandths_are_those_of_the_amounts(moves):
    assert amount_of(sum(moves)) == sum((amount_of(each) for each in moves), Decimal(0))


def test_a_fourth_decimal_is_refused_where_it_was_typed_and_rounded_where_it_was_worked_out():
    with pytest.raises(ValueError, match="three decimals"):
        thousandths(Decimal("0.0005"))
    assert nearest_thousandths(Decimal("0.0005")) == 1
    assert nearest_thousandths(Decimal(1) / 3) == 333


@given(whole, whole, whole)
def test_nothing_is_missing_just_when_drawn_is_given_and_wasted_and_returned(given_, wasted, returned):
    drawn = given_ + wasted + returned

    assert unaccounted(drawn, given=given_, wasted=wasted, returned=returned) == 0
    assert unaccounted(drawn + 1, given=given_, wasted=wasted, returned=returned) == 1


@given(st.dictionaries(st.text(max_size=8), st.one_of(st.none(), st.integers(), st.booleans(), st.text(max_size=20)), max_size=6))
def test_a_text_can_be_read_back_in_one_way_only(values):
    assert json.loads(text_of(values)) == values
    assert text_of(dict(reversed(values.items()))) == text_of(values)


def chain(moves: list[int]) -> list[Link]:
    lines, balance, previous = [], 0, ""
    for number, moved in enumerate(moves, 1):
        balance += moved
        text = text_of({"number": number, "moved": moved, "balance": balance})
        lines.append(Link(number, moved, balance, previous, link(previous, text), text))
        previous = lines[-1].hash
    return lines


moves = st.lists(st.integers(min_value=0, max_value=1000), min_size=1, max_size=12)


@given(moves)
def test_an_untouched_chain_holds_and_so_does_every_beginning_of_it(moved):
    lines = chain(moved)

    assert all(first_fault(lines[:end]) is None for end in range(len(lines) + 1))


@given(moves, st.data())
def test_any_flipped_character_of_any_line_shows_at_that_line(moved, data):
    lines = chain(moved)
    at = data.draw(st.integers(0, len(lines) - 1))
    field = data.draw(st.sampled_from(["text", "hash"]))
    value = getattr(lines[at], field)
    place = data.draw(st.integers(0, len(value) - 1))
    flipped = value[:place] + chr(ord(value[place]) ^ 1) + value[place + 1 :]
    lines[at] = replace(lines[at], **{field: flipped})

    assert first_fault(lines) == Fault(at + 1, FaultKind.TEXT)


@given(moves, st.data())
def test_a_line_that_is_gone_shows_unless_it_was_the_last(moved, data):
    lines = chain([*moved, 1])
    at = data.draw(st.integers(0, len(lines) - 2))
    del lines[at]

    assert first_fault(lines) == Fault(at + 1, FaultKind.NUMBER)


def test_each_kind_of_fault_is_told_apart():
    lines = chain([10, -3, -2])

    assert first_fault([lines[0], replace(lines[1], balance=8), lines[2]]) == Fault(2, FaultKind.BALANCE)
    assert first_fault([lines[0], replace(lines[1], previous_hash="0" * 64), lines[2]]) == Fault(2, FaultKind.CHAIN)
    assert first_fault([lines[0], lines[0]]) == Fault(2, FaultKind.NUMBER)
    below = chain([1, -2])
    assert first_fault(below) == Fault(2, FaultKind.BALANCE)
