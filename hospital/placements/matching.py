"""Several animals and all carers at once: the best whole, as a proposal that people accept row by row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations

from hospital.admissions.models import Patient
from hospital.people.models import Carer
from hospital.placements.queries import animals_of, carers_of, lineages_of, suitabilities
from hospital.placements.suitability import Animal, Offer, Suitability, room_under
from hospital.rules.placing import Assignment, Cap, Meeting, assign, must_not_meet

MOST_AT_ONCE = 20


@dataclass(frozen=True, slots=True)
class Change:
    """Another carer for one animal: whom each animal would then go to that goes elsewhere than proposed, and by how much
    all ways together grow."""

    to: tuple[tuple[Patient, Suitability | None], ...]
    more_km: float


@dataclass(frozen=True, slots=True)
class Row:
    """One animal of a proposal: its carer, or None and all carers with what speaks against each. `change`: the best other
    proposal in which it does not go there; None where there is no other with as many animals placed."""

    patient: Patient
    proposed: Suitability | None
    others: tuple[Suitability, ...]
    change: Change | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    rows: tuple[Row, ...]
    is_proven: bool


@dataclass(frozen=True, slots=True)
class _Question:
    """Rows and columns of the assignment: patients by carers."""

    patients: Sequence[Patient]
    offers: Sequence[Offer]
    suits: Sequence[Sequence[Suitability]]
    caps: Sequence[Cap]
    apart: frozenset[Meeting]

    def solve(self, without: tuple[int, int] | None = None) -> Assignment:
        """The best whole; `without`: an animal and a carer who is not to have it."""
        costs = [
            [None if (row, column) == without else _cost(each) for column, each in enumerate(line)] for row, line in enumerate(self.suits)
        ]
        return assign(costs, [max(0, offer.room_for - offer.animals_there) for offer in self.offers], self.caps, self.apart)

    def suit(self, row: int, column: int | None) -> Suitability | None:
        return None if column is None else self.suits[row][column]


def _cost(suits: Suitability) -> int | None:
    """Nothing is proposed that is refused, or that a person would have to give a reason for."""
    return None if suits.is_refused or suits.needs_a_reason else suits.cost_m


def proposal(patients: Sequence[Patient], on: date) -> Proposal:
    """Which carer for which animal, all of one hospital. Refuses nothing: placing does that, by what is true then."""
    if not patients:
        return Proposal((), True)
    question = _question(patients, carers_of(patients[0].hospital, on).filter(is_active=True), on)
    best = question.solve()
    rows = tuple(_row(question, best, number) for number in range(len(patients)))
    return Proposal(rows, best.is_proven)


def _question(patients: Sequence[Patient], carers: Iterable[Carer], on: date) -> _Question:
    carers = list(carers)
    found = suitabilities(carers, patients, on)
    by_carer = [{each.offer.carer_id: each for each in found[patient.pk]} for patient in patients]
    suits = [[line[carer.pk] for carer in carers] for line in by_carer]
    offers = [each.offer for each in suits[0]]
    animals = animals_of(patients, lineages_of(), on)
    asked = [animals[patient.pk] for patient in patients]
    return _Question(patients, offers, suits, _caps(asked, offers), _apart(asked, offers))


def _caps(animals: Sequence[Animal], offers: Sequence[Offer]) -> list[Cap]:
    """The hospital's limits, which lie inside each other as groups do."""
    limits = {limit for animal in animals for limit in animal.limits}
    rooms = [(number, limit, room_under(limit, offer)) for number, offer in enumerate(offers) for limit in limits]
    members = {limit: frozenset(n for n, animal in enumerate(animals) if limit.group in animal.lineage) for limit in limits}
    return [Cap(number, members[limit], max(room, 0)) for number, limit, room in rooms if room is not None]


def _apart(animals: Sequence[Animal], offers: Sequence[Offer]) -> frozenset[Meeting]:
    """Pairs that are not proposed to one carer: hunter and prey; one that must be alone, where there is no room for that."""
    found: set[Meeting] = set()
    for (one, first), (other, second) in combinations(enumerate(animals), 2):
        never = must_not_meet(first.lineage, second.lineage)
        alone = first.keeps_apart or second.keeps_apart
        found |= {(one, other, n) for n, offer in enumerate(offers) if never or (alone and "quarantine" not in offer.facilities)}
    return frozenset(found)


def _row(question: _Question, best: Assignment, number: int) -> Row:
    column = best.carer_of[number]
    others = tuple(sorted(question.suits[number], key=lambda each: (each.is_refused, each.needs_a_reason, each.cost_m)))
    if column is None:
        return Row(question.patients[number], None, others)
    proposed = question.suits[number][column]
    others = tuple(each for each in others if each is not proposed)
    return Row(question.patients[number], proposed, others, _change(question, best, number))


def _change(question: _Question, best: Assignment, number: int) -> Change | None:
    other = question.solve(without=(number, best.carer_of[number] or 0))
    if other.carer_of.count(None) > best.carer_of.count(None):
        return None
    pairs = zip(best.carer_of, other.carer_of, strict=True)
    moved = [row for row, (was, now) in enumerate(pairs) if was != now]
    to = tuple((question.patients[row], question.suit(row, other.carer_of[row])) for row in moved)
    return Change(to, _way_km(question, other) - _way_km(question, best))


def _way_km(question: _Question, found: Assignment) -> float:
    """All ways from the hospital to the carers together, as far as they are known."""
    return sum(question.offers[column].distance_km or 0.0 for column in found.carer_of if column is not None)
