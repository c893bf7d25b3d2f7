"""Codes that people read from a paper or a screen and type: letters only, shown in groups, typed in any way.

The twenty letters of a mailed code are those of RFC 8628, 6.1: no vowels, so that no word appears, and none that is taken for a digit.
"""

from __future__ import annotations

import re

from hospital.rules.casenumbers import ALPHABET, BASE, SEPARATORS

LETTERS = "BCDFGHJKLMNPQRSTVWXZ"
GROUP = 4


def checked(body: str) -> str:
    """A code of the characters of case numbers, with one more that checks the others (as a case number has)."""
    return body + ALPHABET[-_weighed(body) % BASE]


def is_whole(code: str) -> bool:
    """Whether the last character fits: one wrong character, or any two swapped, are always noticed."""
    return set(code) <= set(ALPHABET) and len(code) > 1 and checked(code[:-1]) == code


def drawn(secret: bytes, length: int) -> str:
    """As many characters as can be drawn from secret bytes, each of the 31 alike but for one part in a billion."""
    number = int.from_bytes(secret, "big")
    return "".join(ALPHABET[number // BASE**place % BASE] for place in range(length))


def _weighed(body: str) -> int:
    """Weights differ from each other and none is 0 to base 31, a prime; bodies stay below 29 characters."""
    return sum(weight * ALPHABET.index(each) for weight, each in enumerate(body, start=2))


def grouped(code: str) -> str:
    """As it is shown: "BCDF-GHJK"."""
    return "-".join(code[start : start + GROUP] for start in range(0, len(code), GROUP))


def tidied(typed: str) -> str:
    """What was typed as the code would be kept: capitals, without spaces and hyphens, whatever the keyboard made of them."""
    return re.sub(r"[^A-Z0-9]", "", SEPARATORS.sub("", typed).upper())
