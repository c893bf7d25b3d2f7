"""The shipped library of protocols and advice: files under version control, copied into tables."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.db import transaction

from handover.protocols.contents import content_of, value_of
from handover.protocols.models import Advice, Kind, LibraryRow
from handover.schedule.library import NOT_CONTENT
from hospital.admissions.reference import FOLDER, Loaded, read_toml

# kind, file, name of the table in it
FILES = [
    (Kind.RULE, "protocols.toml", "rule"),
    (Kind.GATE, "season_gates.toml", "gate"),
    (Kind.WATER, "water_protocols.toml", "water"),
    (Kind.CRITERION, "release_criteria.toml", "criterion"),
]


def load_protocols(folder: Path = FOLDER) -> dict[str, Loaded]:
    """Make the library say what the files say; adoptions of hospitals keep their own copies. Safe to run again."""
    with transaction.atomic():
        loaded = {str(Kind(kind).label): _load_rows(kind, folder / file, table) for kind, file, table in FILES}
        loaded[str(Advice._meta.verbose_name_plural)] = _load_advice(folder / "advice.toml")
    return loaded


def _load_rows(kind: Kind, file: Path, table: str) -> Loaded:
    rows = [_row(kind, row, order) for order, row in enumerate(read_toml(file)[table])]
    LibraryRow.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["kind", "slug"],
        update_fields=["group", "content", "is_alternative", "source", "how_known", "order"],
    )
    gone = LibraryRow.objects.filter(kind=kind).exclude(slug__in=[row.slug for row in rows])
    removed, _ = gone.delete()
    return Loaded(len(rows), removed, 0)


def _row(kind: Kind, row: Mapping[str, Any], order: int) -> LibraryRow:
    content = content_of(value_of(kind, {name: part for name, part in row.items() if name not in NOT_CONTENT}))
    return LibraryRow(
        kind=kind,
        slug=content["id"],
        group_id=content["group"],
        content=content,
        is_alternative=content.get("is_alternative", False),
        source=content["source"],
        how_known=content["how_known"],
        order=order,
    )


def _load_advice(file: Path) -> Loaded:
    """Advice has no name of its own and nothing refers to it, so all of it is written anew."""
    before, _ = Advice.objects.all().delete()
    rows = [_advice(row) for row in read_toml(file)["advice"]]
    Advice.objects.bulk_create(rows)
    return Loaded(len(rows), max(0, before - len(rows)), 0)


def _advice(row: Mapping[str, Any]) -> Advice:
    return Advice(
        group_id=row["group"], topic=row["topic"], order=row["order"], text=row["text"],
        icon=row.get("icon", ""), source=row.get("source", ""), how_known=row.get("how_known", ""),
    )  # fmt: skip
