"""How well a carer suits an animal: a value worked out from plain facts, with its reasons. Decides nothing itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from geographiclib.geodesic import Geodesic

ENDS_SOON = timedelta(days=30)
FAR_KM = 40  # ours: about an hour's drive there and back; a carer comes for every recheck


class Against(StrEnum):
    """What speaks against, the heaviest first. The first two refuse; the next two need a reason written down."""

    NO_AUTHORITY = "no_authority"
    AUTHORITY_ENDED = "authority_ended"
    NO_ROOM = "no_room"
    AWAY = "away"
    NO_FACILITY = "no_facility"
    AWAY_SOON = "away_soon"
    AUTHORITY_ENDS_SOON = "authority_ends_soon"
    FAR = "far"
    DISTANCE_UNKNOWN = "distance_unknown"


REFUSED = frozenset({Against.NO_AUTHORITY, Against.AUTHORITY_ENDED})
NEEDS_A_REASON = frozenset({Against.NO_ROOM, Against.AWAY})
_WEIGHT = {Against.NO_ROOM: 100, Against.AWAY: 100, Against.NO_FACILITY: 20, Against.AWAY_SOON: 5,
           Against.AUTHORITY_ENDS_SOON: 3, Against.FAR: 2, Against.DISTANCE_UNKNOWN: 1}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Animal:
    """What an animal asks of a carer. `lineage` is its group's slug, then its parents', the widest last."""

    lineage: tuple[str, ...]
    facilities: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Offer:
    """What a carer offers: places and days are facts of the moment, `cared_for` counts animals of the same group."""

    carer_id: int
    name: str
    taxon_groups: frozenset[str]
    authority_ends_on: date | None = None
    facilities: frozenset[str] = frozenset()
    room_for: int = 1
    animals_there: int = 0
    away: Sequence[tuple[date, date]] = ()
    distance_km: float | None = None
    cared_for: int = 0


@dataclass(frozen=True, slots=True)
class Suitability:
    offer: Offer
    against: tuple[Against, ...]
    lacking: frozenset[str] = field(default=frozenset())
    away_until: date | None = None
    away_from: date | None = None

    @property
    def is_refused(self) -> bool:
        return bool(REFUSED.intersection(self.against))

    @property
    def needs_a_reason(self) -> bool:
        return bool(NEEDS_A_REASON.intersection(self.against))

    @property
    def room_left(self) -> int:
        return max(0, self.offer.room_for - self.offer.animals_there)


def distance_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """The shortest way over the WGS84 ellipsoid between two places in degrees, latitude first."""
    return Geodesic.WGS84.Inverse(*one, *other, Geodesic.DISTANCE)["s12"] / 1000


def facilities_needed(
    *, lineage: Sequence[str], body_plan: str, is_aquatic: bool, keeps_apart: bool, life_stage: str
) -> frozenset[str]:
    """What an animal of this kind is usually kept in (common practice, no source)."""
    needed = {"pool"} if is_aquatic else set()
    if keeps_apart:
        needed.add("quarantine")
    if {"reptile", "amphibian", "bat"}.intersection(lineage) or life_stage == "neonate":
        needed.add("heated")
    if body_plan == "bird" and not is_aquatic and life_stage != "neonate":
        needed.add("aviary")
    return frozenset(needed)


def ranked(offers: Iterable[Offer], animal: Animal, on: date) -> list[Suitability]:
    """The offers, the best first: fewer and lighter reasons against, then more experience, then nearer."""
    return sorted((judged(offer, animal, on) for offer in offers), key=_order)


def judged(offer: Offer, animal: Animal, on: date) -> Suitability:
    """One offer with all that speaks against it on a day."""
    lacking = animal.facilities - offer.facilities
    now = [ends for starts, ends in offer.away if starts <= on <= ends]
    soon = [starts for starts, _ in offer.away if on < starts <= on + timedelta(days=7)]
    ends = offer.authority_ends_on
    facts = {
        Against.NO_AUTHORITY: not offer.taxon_groups.intersection(animal.lineage),
        Against.AUTHORITY_ENDED: ends is not None and ends < on,
        Against.NO_ROOM: offer.animals_there >= offer.room_for,
        Against.AWAY: bool(now),
        Against.NO_FACILITY: bool(lacking),
        Against.AWAY_SOON: bool(soon),
        Against.AUTHORITY_ENDS_SOON: ends is not None and on <= ends <= on + ENDS_SOON,
        Against.FAR: offer.distance_km is not None and offer.distance_km > FAR_KM,
        Against.DISTANCE_UNKNOWN: offer.distance_km is None,
    }
    against = tuple(reason for reason, holds in facts.items() if holds)
    return Suitability(offer, against, lacking, max(now, default=None), min(soon, default=None))


def _order(suitability: Suitability) -> tuple:
    offer = suitability.offer
    weight = sum(_WEIGHT.get(reason, 0) for reason in suitability.against)
    return (
        suitability.is_refused,
        weight,
        -min(offer.cared_for, 5),
        offer.distance_km or 0.0,
        offer.name,
        offer.carer_id,
    )
