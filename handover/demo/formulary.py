"""What the demonstration's vets have adopted of the formulary: fixtures/demo/stories.toml, [[formulary]]."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from hospital.admissions.models import TaxonGroup
from hospital.medications import formulary_actions as actions
from hospital.medications.queries import shelved
from hospital.people.models import Person
from hospital.sites.models import Hospital


def adopt_formulary(row: Mapping[str, Any], hospital: Hospital, *, by: Person, at: datetime) -> None:
    """Adopt whole groups, take out what the vets do not trust, and set a few figures of the hospital's own."""
    to = {"hospital": hospital, "at": at}
    for group in TaxonGroup.objects.filter(pk__in=row["groups"]).order_by("pk"):
        actions.adopt_group(group, by=by, **to)
    for slug in row.get("left_out", []):
        actions.withdraw(slug, seen_version=1, **to)
    for own in row.get("own_figures", []):
        figures = {name: _figure(name, value) for name, value in own["figures"].items()}
        actions.adopt(shelved(hospital, own["slug"]), by=by, seen_version=1, figures=figures, **to)


def _figure(name: str, value: Any) -> Any:
    return Decimal(value) if name.endswith(("per_kg", "per_kg_top")) else value
