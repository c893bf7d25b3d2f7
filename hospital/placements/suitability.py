"""How well a carer suits an animal: a value worked out from plain facts, with its reasons. Decides nothing itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from geographiclib.geodesic import Geodesic

from hospital.rules.placing import must_not_meet

ENDS_SOON = timedelta(days=30)
FAR_KM = 40  # ours: about an hour's drive there and back; a carer comes for every recheck


class Against(StrEnum):
    """What speaks against, the heaviest first. The first four refuse; the next three need a reason written down."""

    NO_AUTHORITY = "no_authority"
    AUTHORITY_ENDED = "authority_ended"
    TOO_MANY = "too_many"
    DAYS_USED_UP = "days_used_up"
    NO_ROOM = "no_room"
    AWAY = "away"
    NOT_APART = "not_apart"
    HUNTED = "hunted"
    NO_FACILITY = "no_facility"
    AWAY_AT_VISIT = "away_at_visit"
    AWAY_SOON = "away_soon"
    AUTHORITY_ENDS_SOON = "authority_ends_soon"
    FAR = "far"
    DISTANCE_UNKNOWN = "distance_unknown"


REFUSED = frozenset({Against.NO_AUTHORITY, Against.AUTHORITY_ENDED, Against.TOO_MANY, Against.DAYS_USED_UP})
NEEDS_A_REASON = frozenset({Against.NO_ROOM, Against.AWAY, Against.NOT_APART})
_WEIGHT = {Against.NO_ROOM: 100, Against.AWAY: 100, Against.NOT_APART: 100, Against.HUNTED: 30, Against.NO_FACILITY: 20,
           Against.AWAY_AT_VISIT: 10, Against.AWAY_SOON: 5, Against.AUTHORITY_ENDS_SOON: 3, Against.FAR: 2,
           Against.DISTANCE_UNKNOWN: 1}  # fmt: skip
# What one reason's weight, one animal less of experience and an unknown way are worth, in metres of way: ours. A reason
# comes before any experience, and experience with one animal more before 20 km.
WEIGHT_M, EXPERIENCE_M, UNKNOWN_M, MOST_EXPERIENCE = 1_000_000, 20_000, 40_000, 5


@dataclass(frozen=True, slots=True)
class Limit:
    """At most so many animals of a group at one carer, or so many days with carers: as the hospital's law or permit says."""

    group: str
    most_animals: int | None = None
    most_days: int | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class Animal:
    """What an animal asks of a carer. `lineage` is its group's slug, then its parents', the widest last; `visits` are its
    promised days at the clinic; `limits` those of its lineage; `days_with_carers` are those since admission."""

    lineage: tuple[str, ...]
    facilities: frozenset[str] = frozenset()
    keeps_apart: bool = False
    visits: tuple[date, ...] = ()
    limits: tuple[Limit, ...] = ()
    days_with_carers: int = 0


@dataclass(frozen=True, slots=True)
class Neighbour:
    """An animal that is at the carer's already."""

    name: str
    lineage: tuple[str, ...]
    keeps_apart: bool = False


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
    neighbours: Sequence[Neighbour] = ()


@dataclass(frozen=True, slots=True)
class Suitability:
    """One offer, all that speaks against it, and what the words about it name."""

    offer: Offer
    against: tuple[Against, ...]
    lacking: frozenset[str] = field(default=frozenset())
    away_until: date | None = None
    away_from: date | None = None
    limit: Limit | None = None
    meets: tuple[str, ...] = ()
    missed: tuple[date, ...] = ()

    @property
    def is_refused(self) -> bool:
        return bool(REFUSED.intersection(self.against))

    @property
    def needs_a_reason(self) -> bool:
        return bool(NEEDS_A_REASON.intersection(self.against))

    @property
    def room_left(self) -> int:
        return max(0, self.offer.room_for - self.offer.animals_there)

    @property
    def cost_m(self) -> int:
        """Everything that speaks against and for it as one number, in metres of way: the less, the better."""
        offer = self.offer
        way_m = UNKNOWN_M if offer.distance_km is None else round(offer.distance_km * 1000)
        weight = sum(_WEIGHT.get(reason, 0) for reason in self.against)
        return weight * WEIGHT_M + (MOST_EXPERIENCE - min(offer.cared_for, MOST_EXPERIENCE)) * EXPERIENCE_M + way_m


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
    """The offers, the best first: fewer and lighter reasons against, then experience and nearness."""
    return sorted((judged(offer, animal, on) for offer in offers), key=_order)


def judged(offer: Offer, animal: Animal, on: date) -> Suitability:
    """One offer with all that speaks against it on a day."""
    lacking = animal.facilities - offer.facilities
    now = [ends for starts, ends in offer.away if starts <= on <= ends]
    soon = [starts for starts, _ in offer.away if on < starts <= on + timedelta(days=7)]
    missed = tuple(day for day in animal.visits if any(starts <= day <= ends for starts, ends in offer.away))
    ends = offer.authority_ends_on
    crowded, used_up = _crowded(offer, animal), _used_up(animal)
    meets = tuple(each.name for each in offer.neighbours if must_not_meet(each.lineage, animal.lineage))
    facts = {
        Against.NO_AUTHORITY: not offer.taxon_groups.intersection(animal.lineage),
        Against.AUTHORITY_ENDED: ends is not None and ends < on,
        Against.TOO_MANY: crowded is not None,
        Against.DAYS_USED_UP: used_up is not None,
        Against.NO_ROOM: offer.animals_there >= offer.room_for,
        Against.AWAY: bool(now),
        Against.NOT_APART: _is_not_apart(offer, animal),
        Against.HUNTED: bool(meets),
        Against.NO_FACILITY: bool(lacking),
        Against.AWAY_AT_VISIT: bool(missed),
        Against.AWAY_SOON: bool(soon),
        Against.AUTHORITY_ENDS_SOON: ends is not None and on <= ends <= on + ENDS_SOON,
        Against.FAR: offer.distance_km is not None and offer.distance_km > FAR_KM,
        Against.DISTANCE_UNKNOWN: offer.distance_km is None,
    }
    against = tuple(reason for reason, holds in facts.items() if holds)
    limit = crowded or used_up
    return Suitability(offer, against, lacking, max(now, default=None), min(soon, default=None), limit, meets, missed)


def room_under(limit: Limit, offer: Offer) -> int | None:
    """How many animals of a limit's group the carer may take besides those that are there; None: as many as they like."""
    if limit.most_animals is None:
        return None
    return limit.most_animals - sum(limit.group in each.lineage for each in offer.neighbours)


def _crowded(offer: Offer, animal: Animal) -> Limit | None:
    rooms = ((limit, room_under(limit, offer)) for limit in animal.limits)
    return next((limit for limit, room in rooms if room is not None and room < 1), None)


def _used_up(animal: Animal) -> Limit | None:
    return next((each for each in animal.limits if each.most_days is not None and animal.days_with_carers >= each.most_days), None)


def days_left(animal: Animal) -> int | None:
    """Days with carers that the limits leave the animal, below 0 when it is over; None without a limit."""
    most = [limit.most_days for limit in animal.limits if limit.most_days is not None]
    return min(most) - animal.days_with_carers if most else None


def _is_not_apart(offer: Offer, animal: Animal) -> bool:
    """Whether one that must be kept from others would live with them, without a room of its own."""
    alone = animal.keeps_apart or any(each.keeps_apart for each in offer.neighbours)
    return alone and bool(offer.neighbours) and "quarantine" not in offer.facilities


def _order(suitability: Suitability) -> tuple:
    offer = suitability.offer
    return suitability.is_refused, suitability.cost_m, offer.name, offer.carer_id
