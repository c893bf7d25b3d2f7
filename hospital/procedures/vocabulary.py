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


# What is recorded as a milestone: events that no closure, bandage, implant, examination or placement says by itself.
MILESTONES = ("first_water", "full_water", "conditioning_start", "conditioning_end")
AT_RECHECK = ("full_water",)


@cache
def event_names() -> Mapping[str, str]:
    """What has happened, for each event that the plan knows: "Full-time water"."""
    if not (FOLDER / "events.toml").exists():
        return {}
    rows = read_toml(FOLDER / "events.toml")["event"]
    return {row["slug"]: row.get("done") or row["name"] for row in rows}


def event_done(event: str) -> str:
    """The words for an event that has happened."""
    return event_names().get(event) or event.replace("_", " ").replace("-", " ").capitalize()


def milestone_choices(*, is_at_recheck: bool = False) -> list[tuple[str, str]]:
    """Events to choose from, as slug and name."""
    return [(event, event_done(event)) for event in (AT_RECHECK if is_at_recheck else MILESTONES)]


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
