"""Case numbers that can be said on the phone: five characters, no look-alikes, and a mistyped one is
noticed.

Four characters carry a running number, scrambled so that numbers given in a row do not look alike; the
fifth checks the others. It is not a secret. After 923,521 cases the numbers grow by a character.
"""

from __future__ import annotations

import re

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # no 0 or O, no 1, I or L
BASE = len(ALPHABET)  # 31, a prime: that is why the check below misses neither a wrong character nor a swap
NARROWEST = 4
LOOK_ALIKES = "0O1IL"
SEPARATORS = re.compile(r"[\s\-‐‑‒–—−.·/]+")


def case_number(sequence: int) -> str:
    """The case number of a running number, which counts from 0."""
    if sequence < 0:
        raise ValueError(f"A running number counts from 0, not {sequence}.")
    width, rest = NARROWEST, sequence
    while rest >= _capacity(width):
        rest -= _capacity(width)
        width += 1
    scrambled = rest * _multiplier(width) % _capacity(width)
    digits = [scrambled // _capacity(place) % BASE for place in reversed(range(width))]
    return "".join(ALPHABET[digit] for digit in (*digits, -_weighed(digits) % BASE))


def sequence_of(text: str) -> int:
    """The running number behind a case number, as typed: lower case, spaces and hyphens are no matter.

    Raises ValueError with a sentence for the person who typed it.
    """
    characters = SEPARATORS.sub("", text).upper()
    if not characters:
        raise ValueError("Please type a case number.")
    for character in characters:
        if character in LOOK_ALIKES:
            raise ValueError(f"A case number never has {_spoken(LOOK_ALIKES)}: look at the “{character}” again.")
        if character not in ALPHABET:
            raise ValueError(f"A case number has only letters and digits: look at the “{character}” again.")
    width = len(characters) - 1
    if width < NARROWEST:
        raise ValueError(f"A case number has at least {NARROWEST + 1} characters, not {len(characters)}.")
    *digits, check = (ALPHABET.index(character) for character in characters)
    if (_weighed(digits) + check) % BASE:
        raise ValueError(f"No case has the number {characters}: a character is wrong, or two are swapped.")
    scrambled = sum(digit * _capacity(place) for place, digit in enumerate(reversed(digits)))
    earlier = sum(_capacity(narrower) for narrower in range(NARROWEST, width))
    return earlier + scrambled * pow(_multiplier(width), -1, _capacity(width)) % _capacity(width)


def _capacity(width: int) -> int:
    """How many numbers so many characters can carry."""
    capacity: int = BASE**width
    return capacity


def _multiplier(width: int) -> int:
    """What a running number is multiplied by: coprime to 31, so that no two numbers meet.

    At widths 4 and 5 its first sixteen multiples have no digit 0 or 30 to base 31. So of seventeen numbers
    given in a row (a litter, a clutch) any two differ in every character but, perhaps, the check.
    """
    return _capacity(width) * 239 // 1000


def _weighed(digits: list[int]) -> int:
    """The digits weighed 2, 3, 4 … from the left; the check itself has weight 1.

    All weights differ and none is 0 to base 31, a prime, so a wrong digit or two swapped ones always change
    the sum.
    """
    return sum(weight * digit for weight, digit in enumerate(digits, start=2))


def _spoken(characters: str) -> str:
    return f"{', '.join(characters[:-1])} or {characters[-1]}"
