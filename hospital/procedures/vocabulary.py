"""The lists that vets and nurses choose from, and what each choice means to the care plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from hospital.admissions.reference import FOLDER, read_toml


@dataclass(frozen=True, slots=True)
class Term:
    """One choice. `anchors` are the facts that it sets; `tags` say which rules apply to those facts."""

    slug: str
    name: str
    anchors: tuple[str, ...] = ()
    tags: frozenset[str] = frozenset()
    hint: str = ""
    watch: str = ""
    caution: str = ""
    must_come_out: bool = True


Terms = Mapping[str, Term]


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Every list by its name, each by slug in the order of the file."""

    procedures: Terms
    patterns: Terms
    materials: Terms
    bandages: Terms
    implants: Terms


@cache
def vocabulary() -> Vocabulary:
    """The shipped lists, read once."""
    shipped = read_toml(FOLDER / "vocabulary.toml")
    return Vocabulary(
        procedures=_terms(shipped["procedure"]),
        patterns=_terms(shipped["closure_pattern"]),
        materials=_terms(shipped["closure_material"]),
        bandages=_terms(shipped["bandage"]),
        implants=_terms(shipped["implant"]),
    )


# Kinds of procedure that usually leave something, and in which rows it is written. Ours; common practice, no source.
USUALLY_LEAVES = {
    "wound-closure": "closures",
    "prolapse-repair": "closures",
    "fracture-fixation": "implants",
    "drain-placement": "implants",
    "tube-feeding": "implants",
    "limb-fixation": "bandages",
    "wing-strapping": "bandages",
}
AT_RECHECK = (
    "closure_check", "radiograph_recheck", "dry_dock_end", "full_water", "cage_rest_end", "conditioning_start",
    "quarantine_end",
)  # fmt: skip
IN_WATER = frozenset({"dry_dock_end", "full_water"})  # steps of animals that live in water
AFTER_CLOSING = frozenset({"post_release_check"})  # nothing is added to a closed case
# Facts that no row of another table says.
FACTS = (
    "egg_laid", "hatch", "ranavirus_positive", "chytrid_treatment_end", "chlamydia_treatment_start",
    "mange_treatment_start",
)  # fmt: skip


@cache
def _events() -> Mapping[str, list[dict]]:
    return read_toml(FOLDER / "events.toml")


@cache
def event_names() -> Mapping[str, str]:
    """The words for every event, fact and tag that the plan knows: "Full-time water"."""
    return {row["slug"]: row["label"] for rows in _events().values() for row in rows}


def event_name(event: str) -> str:
    """The words for an event; one that left the list is shown as it was stored."""
    return event_names().get(event, event)


@cache
def milestones() -> Mapping[str, tuple[str, ...]]:
    """What is written down once for an animal, by group: steps of the plan, facts, and what is true of the case."""
    steps = [row["slug"] for row in _events()["event"] if row["recorded"] == "milestone"]
    return {
        "steps": tuple(slug for slug in steps if slug not in AFTER_CLOSING),
        "facts": FACTS,
        "case": tuple(row["slug"] for row in _events()["case_tag"]),
    }


def choices(terms: Terms, empty: str = "") -> list[tuple[str, str]]:
    """For a select: an empty first line, then slug and name."""
    return [("", empty), *((term.slug, term.name) for term in terms.values())]


def name_of(terms: Terms, slug: str) -> str:
    """The words for a slug; a slug that left the list is shown as it was stored."""
    return terms[slug].name if slug in terms else slug


def _terms(rows: list[dict]) -> dict[str, Term]:
    return {row["slug"]: _term(row) for row in rows}


def _term(row: dict) -> Term:
    plain = {field: row[field] for field in ("hint", "watch", "caution", "must_come_out") if field in row}
    return Term(
        slug=row["slug"],
        name=row["name"],
        anchors=tuple(row.get("anchors", ())),
        tags=frozenset(row.get("tags", ())),
        **plain,
    )
