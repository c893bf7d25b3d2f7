"""The arithmetic of a controlled-drug register: whole thousandths, what was drawn up and where it went, the chain of hashes.

Amounts are whole thousandths of the unit that the drug is counted in (0.001 mL, 0.001 tablet), so that sums are exact in
every database. Each line carries the SHA-256 (FIPS 180-4) of the line before and its own text. That shows a later alteration;
it does not stop somebody who owns the database from rewriting the lines and all hashes after them, or from taking the last
lines away. Only a hash that was written down elsewhere, on a printed count sheet, gives that away.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

THOUSAND = 1000
NOTHING_BEFORE = ""  # what the first line carries in place of the hash of the line before


def thousandths(amount: Decimal) -> int:
    """An amount as whole thousandths. ValueError when it has more than three decimals."""
    scaled = amount * THOUSAND
    if scaled != scaled.to_integral_value():
        raise ValueError(f"{amount} has more than three decimals.")
    return int(scaled)


def nearest_thousandths(amount: Decimal) -> int:
    """A worked-out amount, such as a share of a dilution, to the nearest whole thousandth, half up."""
    return int((amount * THOUSAND).quantize(Decimal(1), ROUND_HALF_UP))


def amount_of(whole: int) -> Decimal:
    """Whole thousandths as an amount."""
    return Decimal(whole) / THOUSAND


def unaccounted(drawn: int, *, given: int, wasted: int, returned: int = 0) -> int:
    """What is missing (above 0) or too much (below 0) when drawn = given + wasted + returned should hold; in thousandths."""
    return drawn - given - wasted - returned


def text_of(values: Mapping[str, object]) -> str:
    """One line's values as text that can be read back in one way only: JSON (RFC 8259), names sorted, no spaces."""
    return json.dumps(dict(values), ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def link(previous_hash: str, text: str) -> str:
    """The hash of a line: SHA-256, in hexadecimal, over the hash of the line before and the line's own text in UTF-8."""
    return hashlib.sha256((previous_hash + text).encode()).hexdigest()


class FaultKind(StrEnum):
    """What is wrong with a line."""

    NUMBER = "number"  # a line is missing, or there twice
    BALANCE = "balance"  # the balance does not follow from the line before
    CHAIN = "chain"  # the hash carried from the line before is another one
    TEXT = "text"  # the line no longer says what it said when its hash was made


@dataclass(frozen=True, slots=True)
class Link:
    """What the check needs of a line."""

    number: int
    moved: int
    balance: int
    previous_hash: str
    hash: str
    text: str


@dataclass(frozen=True, slots=True)
class Fault:
    """The first line at which the register no longer holds."""

    number: int
    kind: FaultKind


def first_fault(lines: Iterable[Link]) -> Fault | None:
    """The first bad line of one page, whose lines come in order; None when all hold."""
    number, balance, previous = 0, 0, NOTHING_BEFORE
    for line in lines:
        if line.number != number + 1:
            return Fault(number + 1, FaultKind.NUMBER)
        if line.balance != balance + line.moved or line.balance < 0:
            return Fault(line.number, FaultKind.BALANCE)
        if line.previous_hash != previous:
            return Fault(line.number, FaultKind.CHAIN)
        if line.hash != link(line.previous_hash, line.text):
            return Fault(line.number, FaultKind.TEXT)
        number, balance, previous = line.number, line.balance, line.hash
    return None
