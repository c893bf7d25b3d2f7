"""The order sets that the demonstration's vets keep: fixtures/demo/ordersets.toml."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hospital.ordersets import actions
from hospital.people.models import Person
from hospital.sites.models import Hospital


def keep_set(row: Mapping[str, Any], hospital: Hospital, *, by: Person) -> None:
    """One set with its lines."""
    made = actions.make_set(hospital, by=by, name=row["name"], kind=row["kind"], note=row["note"])
    for seen, line in enumerate(row["lines"], start=made.version):
        content = {name: value for name, value in line.items() if name != "what"}
        actions.put_line(made, what=line["what"], content=content, seen_version=seen)
