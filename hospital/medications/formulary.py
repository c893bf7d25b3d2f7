"""The starter list of medicines and the combinations that are refused: proposals with sources, in force nowhere.

A vet of the hospital decides; local medicines law comes first. Figures are those of fixtures/reference/drugs.toml.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from hospital.admissions.reference import FOLDER, read_toml, searchable


@dataclass(frozen=True, slots=True)
class Proposal:
    """One published or remembered dose for a taxon group. `mg_per_kg` is the lower end, `mg_per_kg_top` the upper."""

    slug: str
    drug: str
    group: str
    mg_per_kg: Decimal
    mg_per_kg_top: Decimal
    routes: tuple[str, ...]
    every_hours: int | None
    interval_note: str
    doses_most: int | None
    strengths_mg_per_ml: tuple[Decimal, ...]
    species: str
    caution: str
    source: str
    how_known: str


@dataclass(frozen=True, slots=True)
class Stop:
    """A combination that is refused, or accepted only when the vet says that it is meant."""

    slug: str
    is_refused: bool
    drugs: tuple[str, ...]
    groups: frozenset[str]
    families: frozenset[str]
    routes: frozenset[str]
    reason: str
    source: str

    def meets(self, drug: str, lineage: Sequence[str], family: str, route: str) -> bool:
        """Whether an order is of this combination; a typed name counts when it holds the drug's name anywhere."""
        is_animal = bool(self.groups & set(lineage)) or family in self.families
        is_route = not self.routes or route in self.routes
        return is_animal and is_route and any(named(drug, each) for each in self.drugs)


def named(typed: str, drug: str) -> bool:
    """Whether what somebody typed names the drug: "IVERMECTIN 1 % inj." names ivermectin."""
    return searchable(drug) in searchable(typed)


@cache
def shipped() -> tuple[tuple[Proposal, ...], tuple[Stop, ...]]:
    """Proposals in mg per kg and stops, in the order of the file, read once. Doses in units (IU) are not offered."""
    rows = read_toml(FOLDER / "drugs.toml")
    proposals = tuple(_proposal(row) for row in rows["drug"] if "mg_per_kg" in row)
    return proposals, tuple(_stop(row) for row in rows["stop"])


def proposals_for(lineage: Sequence[str]) -> list[Proposal]:
    """What is proposed for an animal's group or a wider one: by medicine, the nearest group first."""
    nearness = {group: distance for distance, group in enumerate(lineage)}
    fitting = [proposal for proposal in shipped()[0] if proposal.group in nearness]
    return sorted(fitting, key=lambda proposal: (proposal.drug, nearness[proposal.group]))


def proposal_by(slug: str, lineage: Sequence[str]) -> Proposal | None:
    return next((proposal for proposal in proposals_for(lineage) if proposal.slug == slug), None)


def largest_mg_per_kg(drug: str, lineage: Sequence[str]) -> Decimal | None:
    """The largest figure listed for a drug in the nearest group that lists it; None when none does."""
    listed = [proposal for proposal in shipped()[0] if named(drug, proposal.drug)]
    for group in lineage:
        if tops := [proposal.mg_per_kg_top for proposal in listed if proposal.group == group]:
            return max(tops)
    return None


def stops_for(drug: str, lineage: Sequence[str], family: str, route: str) -> list[Stop]:
    """Refusals and warnings that an order meets."""
    return [stop for stop in shipped()[1] if stop.meets(drug, lineage, family, route)]


def _proposal(row: dict) -> Proposal:
    return Proposal(
        slug=row["slug"],
        drug=row["drug"],
        group=row["group"],
        mg_per_kg=Decimal(row["mg_per_kg"]),
        mg_per_kg_top=Decimal(row.get("mg_per_kg_top", row["mg_per_kg"])),
        routes=tuple(row["routes"]),
        every_hours=row.get("every_hours"),
        interval_note=row.get("interval_note", ""),
        doses_most=row.get("doses_most"),
        strengths_mg_per_ml=tuple(map(Decimal, row.get("strengths_mg_per_ml", ()))),
        species=row.get("species", ""),
        caution=row.get("caution", ""),
        source=row["source"],
        how_known=row["how_known"],
    )


def _stop(row: dict) -> Stop:
    return Stop(
        slug=row["slug"],
        is_refused=row["level"] == "refuse",
        drugs=tuple(row["drugs"]),
        groups=frozenset(row["groups"]),
        families=frozenset(row["families"]),
        routes=frozenset(row["routes"]),
        reason=row["reason"],
        source=row["source"],
    )
