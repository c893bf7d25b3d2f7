"""What the library proposes, what a hospital put in force, and what carers are told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import NamedTuple

from django.db.models import QuerySet

from handover.protocols.contents import Value, value_of
from handover.protocols.models import Adoption, Advice, Kind, LibraryRow
from handover.schedule.library import Rule, SeasonGate
from handover.schedule.release import Criterion
from handover.schedule.watertime import WaterProtocol
from hospital.admissions.models import TaxonGroup
from hospital.admissions.queries import in_tree_order
from hospital.sites.models import Hospital

# --- in force -----------------------------------------------------------------------------------------------------


def adoptions_in_force(hospital: Hospital) -> QuerySet[Adoption]:
    return Adoption.objects.filter(hospital=hospital, ended_at=None).order_by("pk")


def rules_in_force(hospital: Hospital) -> tuple[Rule, ...]:
    """The dates and windows that this hospital's vets adopted, for all groups."""
    return _in_force(hospital, Kind.RULE)


def gates_in_force(hospital: Hospital) -> tuple[SeasonGate, ...]:
    """The seasons that this hospital's vets adopted, written for the north."""
    return _in_force(hospital, Kind.GATE)


def water_protocols_in_force(hospital: Hospital) -> tuple[WaterProtocol, ...]:
    return _in_force(hospital, Kind.WATER)


def criteria_in_force(hospital: Hospital) -> tuple[Criterion, ...]:
    return _in_force(hospital, Kind.CRITERION)


class Book(NamedTuple):
    """What a hospital plans by, and which adoption each of it is, by the id of the rule or season."""

    rules: tuple[Rule, ...]
    gates: tuple[SeasonGate, ...]
    adoptions: Mapping[str, int]


def book_of(hospital: Hospital) -> Book:
    """Rules and seasons in force, in one query."""
    rows = adoptions_in_force(hospital).filter(kind__in=[Kind.RULE, Kind.GATE]).values_list("kind", "content", "pk")
    values = [(kind, value_of(kind, content), pk) for kind, content, pk in rows]
    return Book(
        tuple(value for kind, value, _ in values if kind == Kind.RULE),
        tuple(value for kind, value, _ in values if kind == Kind.GATE),
        {value.id: pk for _, value, pk in values},
    )


def adoption_ids(hospital: Hospital) -> list[int]:
    """Which adoptions the rules and seasons of `book_of` are."""
    return list(adoptions_in_force(hospital).filter(kind__in=[Kind.RULE, Kind.GATE]).values_list("pk", flat=True))


def _in_force(hospital: Hospital, kind: Kind) -> tuple:
    contents = adoptions_in_force(hospital).filter(kind=kind).values_list("content", flat=True)
    return tuple(value_of(kind, content) for content in contents)


# --- the library --------------------------------------------------------------------------------------------------


class Shelved(NamedTuple):
    """A row of the library beside what the hospital made of it. `value` is what is in force, else the proposal."""

    row: LibraryRow | None
    adoption: Adoption | None
    value: Value

    @property
    def subject(self) -> LibraryRow | Adoption:
        return self.row or self.adoption

    @property
    def is_changed(self) -> bool:
        """Whether the hospital adopted it with figures of its own."""
        return bool(self.row and self.adoption and self.row.content != self.adoption.content)


class GroupCount(NamedTuple):
    """A taxon group, how many rows the library has for it, and how many are in force here."""

    group: TaxonGroup
    rows: int
    in_force: int


def shelf(hospital: Hospital, group: str) -> list[Shelved]:
    """All rows of one group: the library's in its order, then adoptions whose row has left the library."""
    adopted = {(a.kind, a.slug): a for a in adoptions_in_force(hospital).filter(group=group).select_related("adopted_by")}
    rows = LibraryRow.objects.filter(group=group)
    shelved = [_shelved(row, adopted.pop((row.kind, row.slug), None)) for row in rows]
    return shelved + [_shelved(None, adoption) for adoption in adopted.values()]


def shelved(hospital: Hospital, kind: str, slug: str) -> Shelved | None:
    """One row beside its adoption, or None if neither is there."""
    row = LibraryRow.objects.filter(kind=kind, slug=slug).select_related("group").first()
    found = adoptions_in_force(hospital).filter(kind=kind, slug=slug).select_related("adopted_by", "group").first()
    return _shelved(row, found) if row or found else None


def _shelved(row: LibraryRow | None, adoption: Adoption | None) -> Shelved:
    source = adoption or row
    return Shelved(row, adoption, value_of(source.kind, source.content))


def group_counts(hospital: Hospital) -> list[GroupCount]:
    """Every group with rows, wide groups before the narrow ones below them."""
    proposed = Counter(LibraryRow.objects.values_list("group", flat=True))
    in_force = Counter(adoptions_in_force(hospital).values_list("group", flat=True))
    groups = in_tree_order(TaxonGroup.objects.all())
    return [GroupCount(g, proposed[g.slug], in_force[g.slug]) for g in groups if proposed[g.slug] or in_force[g.slug]]


def history(hospital: Hospital, kind: str, slug: str) -> QuerySet[Adoption]:
    """Every version that was ever in force here, the newest first."""
    return Adoption.objects.filter(hospital=hospital, kind=kind, slug=slug).select_related("adopted_by").order_by("-version")


# --- advice -------------------------------------------------------------------------------------------------------


def advice_for(lineage: tuple[str, ...]) -> list[Advice]:
    """Words for carers from all levels of a lineage, by topic, the nearest group first within each."""
    rank = {group: n for n, group in enumerate(lineage)}
    topics = {topic: n for n, topic in enumerate(Advice.Topic.values)}
    found = Advice.objects.filter(group__in=lineage)
    return sorted(found, key=lambda each: (topics[each.topic], rank[each.group_id], each.order, each.pk))
