"""The reference list of medicines, and the combinations that are refused: proposals with sources, in force nowhere.

A vet of the hospital adopts row by row; local medicines law comes first. Figures are those of fixtures/reference/drugs.toml.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from hospital.admissions.reference import FOLDER, read_toml, searchable
from hospital.rules.doses import AmountUnit
from hospital.rules.formulary import HARD_TIMES_THE_TOP, LEAST_SHARE_OF_THE_DOSE, Entry

# The file's names of a dose, by what it is counted in. IU are called units wherever people read them.
DOSES_IN = {AmountUnit.MG: "mg_per_kg", AmountUnit.UNIT: "iu_per_kg"}
STRENGTHS_IN = {AmountUnit.MG: "strengths_mg_per_ml", AmountUnit.UNIT: "strengths_iu_per_ml"}


@dataclass(frozen=True, slots=True)
class Medicine:
    """What is true of a drug whatever the animal. `discard_days` None: not known, read the label."""

    name: str
    medicine_class: str
    is_controlled: bool
    discard_days: int | None
    discard_note: str
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
    species: frozenset[str]  # scientific names
    routes: frozenset[str]
    reason: str
    source: str
    how_known: str

    def meets(self, drug: str, lineage: Sequence[str], family: str, species: str, route: str) -> bool:
        """Whether an order is of this combination; a typed name counts when it holds the drug's name anywhere."""
        is_animal = bool(self.groups & set(lineage)) or family in self.families or species in self.species
        is_route = not self.routes or route in self.routes
        return is_animal and is_route and any(named(drug, each) for each in self.drugs)


@dataclass(frozen=True, slots=True)
class Reference:
    """The whole file: rows in its order, combinations, and medicines by name."""

    rows: tuple[Entry, ...]
    stops: tuple[Stop, ...]
    medicines: tuple[Medicine, ...]


def named(typed: str, drug: str) -> bool:
    """Whether what somebody typed names the drug: "IVERMECTIN 1 % inj." names ivermectin."""
    return searchable(drug) in searchable(typed)


@cache
def reference() -> Reference:
    """The file, read once."""
    file = read_toml(FOLDER / "drugs.toml")
    medicines = tuple(_medicine(row) for row in file["medicine"])
    rows = tuple(_entry(row, _named_best(row["drug"], medicines)) for row in file["drug"])
    return Reference(rows, tuple(_stop(row) for row in file["stop"]), medicines)


def medicine_of(typed: str) -> Medicine | None:
    """The medicine that a typed name is about; the longest name that fits, so that a combination is not taken for its part."""
    return _named_best(typed, reference().medicines)


def _named_best(typed: str, medicines: Iterable[Medicine]) -> Medicine | None:
    fitting = [each for each in medicines if named(typed, each.name)]
    return max(fitting, key=lambda each: len(each.name), default=None)


def row_of(slug: str) -> Entry | None:
    return next((row for row in reference().rows if row.slug == slug), None)


def for_animal(rows: Iterable[Entry], lineage: Sequence[str]) -> list[Entry]:
    """Rows for an animal's group or a wider one: by medicine, the nearest group first."""
    nearness = {group: distance for distance, group in enumerate(lineage)}
    fitting = [row for row in rows if row.group in nearness]
    return sorted(fitting, key=lambda row: (row.drug, nearness[row.group]))


def best_row(rows: Iterable[Entry], drug: str, lineage: Sequence[str], route: str) -> Entry | None:
    """The row that an order is judged by: of the longest name that fits, the nearest group; one for the route if there is one."""
    fitting = [row for row in for_animal(rows, lineage) if drug and named(drug, row.drug)]
    if not fitting:
        return None
    longest = max(len(row.drug) for row in fitting)
    nearest = [row for row in fitting if len(row.drug) == longest]
    nearest = [row for row in nearest if row.group == nearest[0].group]
    return next((row for row in nearest if route in row.routes), nearest[0])


def stops_for(drug: str, lineage: Sequence[str], family: str, species: str, route: str) -> list[Stop]:
    """Refusals and warnings that an order meets."""
    return [stop for stop in reference().stops if stop.meets(drug, lineage, family, species, route)]


def stops_of(drug: str, group: str) -> list[Stop]:
    """Refusals and warnings that name a medicine in one group, whatever the route."""
    return [stop for stop in reference().stops if group in stop.groups and any(named(drug, each) for each in stop.drugs)]


def _entry(row: dict, medicine: Medicine | None) -> Entry:
    """A row of the file; limits that it does not give are proposals of common practice."""
    unit = next(each for each, name in DOSES_IN.items() if name in row)
    per_kg = Decimal(row[DOSES_IN[unit]])
    top = Decimal(row.get(f"{DOSES_IN[unit]}_top", per_kg))
    return Entry(
        slug=row["slug"],
        drug=row["drug"],
        group=row["group"],
        unit=unit,
        per_kg=per_kg,
        per_kg_top=top,
        least_per_kg=per_kg * LEAST_SHARE_OF_THE_DOSE,
        hard_from_per_kg=Decimal(row.get("hard_from_per_kg", top * HARD_TIMES_THE_TOP)),
        hard_reason=row.get("hard_reason", ""),
        routes=tuple(row["routes"]),
        every_hours=row.get("every_hours"),
        interval_note=row.get("interval_note", ""),
        doses_most=row.get("doses_most"),
        strengths_per_ml=tuple(map(Decimal, row.get(STRENGTHS_IN[unit], ()))),
        medicine_class=medicine.medicine_class if medicine else "",
        is_controlled=bool(medicine and medicine.is_controlled),
        discard_days=medicine.discard_days if medicine else None,
        discard_note=medicine.discard_note if medicine else "",
        species=row.get("species", ""),
        caution=row.get("caution", ""),
        source=row["source"],
        how_known=row["how_known"],
        half_life_hours=Decimal(row["half_life_hours"]) if "half_life_hours" in row else None,
    )


def _medicine(row: dict) -> Medicine:
    return Medicine(
        name=row["name"],
        medicine_class=row["class"],
        is_controlled=row.get("is_controlled", False),
        discard_days=row.get("discard_days"),
        discard_note=row.get("discard_note", ""),
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
        species=frozenset(row["species"]),
        routes=frozenset(row["routes"]),
        reason=row["reason"],
        source=row["source"],
        how_known=row["how_known"],
    )
