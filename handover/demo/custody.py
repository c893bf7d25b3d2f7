"""What carers have of the hospital's, and the limits of an invented permit: from fixtures/demo/people.toml."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from handover.demo.stories import Cast
from hospital.admissions.models import TaxonGroup
from hospital.audit.acting import acting
from hospital.clock import pretending, today
from hospital.placements import actions


def tell_custody(rows: Mapping[str, Any], cast: Cast) -> None:
    for row in rows["limit"]:
        said = {"most_animals": row.get("most_animals"), "most_days": row.get("most_days"), "source": row["source"]}
        actions.set_limit(cast.hospitals[row["hospital"]], group=TaxonGroup.objects.get(pk=row["group"]), **said)
    for row in rows["loan"]:
        _lend(row, cast)


def _lend(row: Mapping[str, Any], cast: Cast) -> None:
    carer, by = cast.carers[row["carer"], row["hospital"]], cast.people[row["by"]]
    lent_at = cast.now - timedelta(days=row["lent_days_ago"])
    due_on = cast.now.date() + timedelta(days=row["due_in_days"]) if "due_in_days" in row else None
    with pretending(lent_at), acting(by.pk, "demonstration"):
        loan = actions.lend(carer, by=by, at=lent_at, today=today(), what=row["what"], due_on=due_on)
    if "ending" in row:
        ended_at = cast.now - timedelta(days=row["ended_days_ago"])
        with pretending(ended_at), acting(by.pk, "demonstration"):
            actions.end_loan(loan, by=by, at=ended_at, seen_version=loan.version, ending=row["ending"], note=row["note"])
