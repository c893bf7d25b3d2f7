"""The red flags that a carer can meet with an animal, each with its picture in templates/flags."""

from __future__ import annotations

from collections.abc import Collection

from handover.labels.care import SIGNS
from handover.logs.models import MISHAPS
from handover.schedule.watertime import Sign

ON_BANDAGES = frozenset({Sign.BANDAGE_SOAKED, Sign.BANDAGE_LOST, Sign.BANDAGE_SLIPPED})
# Signs that other questions of the form ask for: the state of the bandage, and how the animal behaves.
ASKED_ELSEWHERE = ON_BANDAGES | {Sign.WEAK}
IN_WATER = frozenset({Sign.LISTING, Sign.TIRES_SOON})
WITH_COAT = frozenset({Sign.SOAKED_PLUMAGE, Sign.WET_PATCH})


def signs_on(lineage: Collection[str], *, has_water: bool, has_bandage: bool) -> list[Sign]:
    """Every sign that can be seen on such an animal."""
    has_coat = has_water and bool({"bird", "mammal"} & set(lineage))
    unseen = [ON_BANDAGES if not has_bandage else (), IN_WATER if not has_water else (), WITH_COAT if not has_coat else ()]
    return [sign for sign in Sign if not any(sign in group for group in unseen)]


def signs_for(lineage: Collection[str], has_water: bool) -> list[Sign]:
    """Those of them that no other question of the form asks for."""
    return [sign for sign in signs_on(lineage, has_water=has_water, has_bandage=True) if sign not in ASKED_ELSEWHERE]


def pictured(names: Collection[str]) -> list[tuple[str, str]]:
    """Picture and words of each: signs and mishaps by their names."""
    words = {str(sign): said for sign, said in SIGNS.items()} | MISHAPS
    return [(picture_of(name), str(words[name])) for name in names]


def picture_of(name: str) -> str:
    return f"flags/_{name}.html"


def call_now(lineage: Collection[str], *, has_water: bool, has_bandage: bool) -> list[str]:
    """Names of the signs and mishaps that ask for a call at once."""
    signs = signs_on(lineage, has_water=has_water, has_bandage=has_bandage)
    return [*(str(sign) for sign in signs if sign.is_severe), *MISHAPS]


def call_today(lineage: Collection[str], *, has_water: bool, has_bandage: bool) -> list[str]:
    """Names of the signs that ask for a call on the same day."""
    signs = signs_on(lineage, has_water=has_water, has_bandage=has_bandage)
    return [str(sign) for sign in signs if not sign.is_severe]
