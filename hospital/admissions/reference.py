"""The shipped lists of taxon groups, species and causes: files under version control, copied into tables."""

from __future__ import annotations

import csv
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.db import models, transaction
from django.db.models import ProtectedError, RestrictedError

from hospital.admissions.models import Cause, Species, TaxonGroup
from hospital.rules.geo import Sensitivity

FOLDER = settings.BASE_DIR / "fixtures" / "reference"


class Loaded(NamedTuple):
    """What became of one list: rows kept as in the file, rows gone, and rows that stay because something uses them."""

    rows: int
    removed: int
    still_used: int


def load_reference(folder: Path = FOLDER) -> dict[str, Loaded]:
    """Make the tables say what the files say. Safe to run again and again."""
    with transaction.atomic():
        groups = upsert(TaxonGroup, _groups(folder), key="slug")
        species = upsert(Species, _species(folder), key="scientific_name", ours={"is_shipped": True})
        causes = upsert(Cause, _causes(folder), key="slug")
    return {"taxon groups": groups, "species": species, "causes": causes}


def upsert(
    model: type[models.Model], rows: list[models.Model], *, key: str, ours: Mapping[str, Any] | None = None
) -> Loaded:
    """Insert or update `rows` by the unique field `key`; remove every other row that nothing refers to.

    `ours` narrows what may be removed, in a table to which hospitals add rows of their own.
    """
    columns = [f.name for f in model._meta.concrete_fields if not f.primary_key and f.name != key]
    model._base_manager.bulk_create(rows, update_conflicts=True, unique_fields=[key], update_fields=columns)
    gone = model._base_manager.filter(**(ours or {})).exclude(**{f"{key}__in": [getattr(row, key) for row in rows]})
    removed, still_used = remove_unused(gone)
    return Loaded(len(rows), removed, still_used)


def remove_unused(rows: Iterable[models.Model]) -> tuple[int, int]:
    """Delete each row unless another row needs it: how many went, how many stay."""
    removed = still_used = 0
    for row in rows:
        try:
            with transaction.atomic():
                row.delete()
            removed += 1
        except (ProtectedError, RestrictedError):
            still_used += 1
    return removed, still_used


def read_toml(file: Path) -> dict:
    with file.open("rb") as opened:
        return tomllib.load(opened)


def searchable(*names: str) -> str:
    """All names as one lower-case text without accents: what a search is compared with, and what it is folded to."""
    plain = unicodedata.normalize("NFKD", " ".join(filter(None, names)))
    return " ".join("".join(c for c in plain if not unicodedata.combining(c)).casefold().split())


def _groups(folder: Path) -> list[TaxonGroup]:
    rows = read_toml(folder / "taxon_groups.toml")["group"]
    parents = {row["slug"]: row.get("parent") for row in rows}
    return [
        TaxonGroup(
            slug=row["slug"], name=row["name"], parent_id=row.get("parent") or None, body_plan=row.get("body_plan", ""),
            path=_path(row["slug"], parents),
        )
        for row in rows
    ]  # fmt: skip


def _path(slug: str, parents: Mapping[str, str | None]) -> list[str]:
    """A group's slug, then its parents', the widest last."""
    above = parents.get(slug)
    return [slug, *(_path(above, parents) if above else ())]


def _species(folder: Path) -> list[Species]:
    lines = (folder / "species.csv").read_text(encoding="utf-8").splitlines()
    restricted = {row["scientific_name"]: f"{row['where']} ({row['source']})" for row in read_toml(folder / "non_native.toml")["species"]}
    rows = csv.DictReader(line for line in lines if line and not line.startswith("#"))
    return [_one_species(row, restricted.get(row["scientific_name"], "")) for row in rows]


def _one_species(row: dict[str, str], non_native_note: str) -> Species:
    others = ", ".join(name.strip() for name in row["other_names"].split("|") if name.strip())
    return Species(
        scientific_name=row["scientific_name"],
        common_name=row["common_name"][:1].upper() + row["common_name"][1:],
        other_names=others,
        class_name=row["class"],
        family=row["family"],
        group_id=row["group"],
        is_dangerous=row["is_dangerous"] == "yes",
        danger_note=row["danger_note"],
        non_native_note=non_native_note,
        is_aquatic=row["is_aquatic"] == "yes",
        sensitivity=int(row["sensitivity"]) if row["sensitivity"] else Sensitivity.NONE,
        search_text=searchable(row["common_name"], others, row["scientific_name"]),
        is_shipped=True,
    )


def _causes(folder: Path) -> list[Cause]:
    return [
        Cause(slug=row["slug"], name=row["name"], kind=row["kind"], caution=row.get("caution", ""), order=order)
        for order, row in enumerate(read_toml(folder / "causes.toml")["cause"])
    ]
