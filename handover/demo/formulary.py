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
from hospital.rules.doses import AmountUnit
from hospital.rules.dosetimes import LateDose
from hospital.rules.formulary import Emergency
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


def mark_example(hospital: Hospital, *, by: Person, at: datetime) -> None:
    """A medicine that does not exist stands on the emergency sheet, because invented figures of a real one could be believed."""
    source = "Invented for the demonstration: a figure for no animal and no medicine"
    emergency = Emergency(Decimal("0.1"), Decimal(1), AmountUnit.MG, "muscle", source, "Shows how the sheet looks")
    figures = {
        "unit": AmountUnit.MG, "per_kg": Decimal("0.1"), "per_kg_top": Decimal("0.1"), "least_per_kg": Decimal("0.05"),
        "hard_from_per_kg": Decimal("0.2"), "hard_reason": "", "routes": ("muscle",), "every_hours": None, "doses_most": 1,
        "late_dose": LateDose.KEEP_TIMES, "half_life_hours": None, "is_controlled": False, "discard_days": None, "caution": "",
        "emergency": emergency,
    }  # fmt: skip
    group = TaxonGroup.objects.get(pk="animal")
    actions.add_row(hospital=hospital, by=by, at=at, drug="example medicine (not a real one)", group=group, source=source, figures=figures)


def _figure(name: str, value: Any) -> Any:
    return Decimal(value) if name.endswith(("per_kg", "per_kg_top")) else value
