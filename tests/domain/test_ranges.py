"""Laboratory values beside their ranges."""

from decimal import Decimal

import pytest

from hospital.rules.ranges import verdict

CASES = [
    ("4", "4", "9", "within"), ("9", "4", "9", "within"), ("3.99", "4", "9", "low"), ("9.01", "4", "9", "high"),
    ("1", None, "9", "within"), ("10", None, "9", "high"), ("1", "4", None, "low"), ("5", None, None, ""),
    ("<4", "4", "9", "low"), ("<5", "4", "9", ""), ("< 5", None, "9", "within"), ("<10", None, "9", ""), (">9", "4", "9", "high"),
    (">8", "4", "9", ""), (">20", "4", None, "within"), ("<0,5", "1", "2", "low"), ("many", "4", "9", ""), ("<5", None, None, ""),
]  # fmt: skip


@pytest.mark.parametrize(("said", "low", "high", "expected"), CASES)
def test_a_value_is_held_against_the_range_that_came_with_it_and_no_other(said, low, high, expected):
    number = Decimal(said) if said.replace(".", "").isdecimal() else None
    bounds = [None if each is None else Decimal(each) for each in (low, high)]

    assert verdict(number, "" if number is not None else said, *bounds) == expected
