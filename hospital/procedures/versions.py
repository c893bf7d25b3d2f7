"""Two people changed one procedure: both versions beside each other, and the form readied to win on the second try."""

from __future__ import annotations

from typing import Any

from django.db import models

from hospital.pages import both_versions
from hospital.procedures.forms import MODELS, EditProcedureForm
from hospital.procedures.models import Procedure
from hospital.procedures.wording import LINES


def compare_procedure(form: EditProcedureForm, saved: Procedure) -> list[dict[str, Any]]:
    """The procedure's fields, then its rows, as typed and as saved. Moves every seen version on."""
    form.collision.theirs = saved
    rows = both_versions(form) + [_compared_rows(form, name, saved) for name in MODELS]
    _move_rows_on(form, saved)
    return rows


def _compared_rows(form: EditProcedureForm, name: str, saved: Procedure) -> dict[str, Any]:
    """All rows of a kind in one line."""
    line, wanted = LINES[MODELS[name]], form.cleaned_data.get(name, [])
    yours = "; ".join(line(_unsaved(MODELS[name], row)) for row in wanted if not row.get("is_mistake"))
    theirs = "; ".join(line(row) for row in getattr(saved, name).all())
    label = MODELS[name]._meta.verbose_name_plural
    return {
        "label": label[:1].upper() + label[1:],
        "yours": yours,
        "theirs": theirs,
        "differs": yours != theirs,
    }


def _unsaved(model: type[models.Model], row: dict) -> models.Model:
    names = {field.name for field in model._meta.concrete_fields} - {"version"}
    return model(**{name: value for name, value in row.items() if name in names})


def _move_rows_on(form: EditProcedureForm, saved: Procedure) -> None:
    for name, rows in form.rows.items():
        versions = {
            str(pk): str(version) for pk, version in getattr(saved, name).values_list("pk", "version")
        }
        for row in rows.forms:
            row_id = row.data.get(row.add_prefix("row_id"))
            if row_id in versions:
                row.data[row.add_prefix("seen_version")] = versions[row_id]
