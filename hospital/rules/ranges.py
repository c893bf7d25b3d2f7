"""A laboratory value beside the range that came with it. The ends of a range belong to it."""

from __future__ import annotations

import re
from decimal import Decimal

# "<5" and "> 20": less than the method can measure, or more.
_LIMIT = re.compile(r"\s*([<>])\s*(\d{1,9}(?:[.,]\d{1,4})?)\s*")


def verdict(value: Decimal | None, words: str, low: Decimal | None, high: Decimal | None) -> str:
    """ "low", "high" or "within"; "" where nobody can tell: no range, no number, or a limit that reaches into the range."""
    if low is None and high is None:
        return ""
    if value is None:
        return _verdict_of_limit(words, low, high)
    if low is not None and value < low:
        return "low"
    return "high" if high is not None and value > high else "within"


def _verdict_of_limit(words: str, low: Decimal | None, high: Decimal | None) -> str:
    found = _LIMIT.fullmatch(words)
    if not found:
        return ""
    limit = Decimal(found[2].replace(",", "."))
    if found[1] == "<":
        if low is not None:
            return "low" if limit <= low else ""
        return "within" if high is not None and limit <= high else ""
    if high is not None:
        return "high" if limit >= high else ""
    return "within" if low is not None and limit >= low else ""
