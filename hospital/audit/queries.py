"""Reading the audit: which rows, and the same in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db.models import (
    BooleanField,
    DateField,
    DateTimeField,
    DecimalField,
    Field,
    ForeignKey,
    JSONField,
    Model,
    QuerySet,
)
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from hospital.audit.models import AuditEntry

NOT_SHOWN = {"id", "key", "version", "event_id", "hospital_id", "patient_id", "search_text"}
PRIVATE = "(private)"  # what the triggers write in place of a value that is not to be repeated


def history_of(row: Model) -> QuerySet[AuditEntry]:
    """What happened to one row, newest first."""
    return (
        AuditEntry.objects.filter(table=row._meta.db_table, row_id=str(row.pk)).select_related("actor").order_by("-id")
    )


def history_of_patient(patient_id: int) -> QuerySet[AuditEntry]:
    """What happened to everything that belongs to a patient, newest first."""
    return AuditEntry.objects.filter(patient_id=patient_id).select_related("actor").order_by("-id")


@dataclass(frozen=True, slots=True)
class Change:
    """One column that differs, in words."""

    label: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Line:
    """One insert, change or removal as a person reads it; `who` is empty for what no person did."""

    at: datetime
    who: str
    action: str  # insert, update or delete
    what: str
    changes: tuple[Change, ...]

    @property
    def kind(self) -> tuple[str, str, str, str]:
        """Lines of one kind, one after the other, are one deed: a plan with its twenty days."""
        return (moment_in_words(self.at), self.who, self.action, self.what)


def in_words(entries: Iterable[AuditEntry]) -> list[Line]:
    """The entries as lines to read. Rows that a column points to are fetched once per table.

    A row that only counted its edits (hospital.edits) says nothing and is left off: the edit itself stands beside it.
    """
    entries = [entry for entry in entries if not _only_counts(entry)]
    names = _names_of_related_rows(entries)
    return [_line(entry, names) for entry in entries]


def _only_counts(entry: AuditEntry) -> bool:
    return entry.action == "update" and set(entry.changed()) == {"version"}


def _line(entry: AuditEntry, names: dict[tuple[type[Model], str], str]) -> Line:
    model = _models().get(entry.table)
    changes = [
        Change(_label(field), _words(field, before, names), _words(field, after, names))
        for field, before, after in _changed_fields(entry, model)
    ]
    what = str(model._meta.verbose_name).capitalize() if model else entry.table
    return Line(entry.at, str(entry.actor or ""), entry.action, what, tuple(c for c in changes if c.before != c.after))


def _models() -> dict[str, type[Model]]:
    return {model._meta.db_table: model for model in apps.get_models()}


def _changed_fields(entry: AuditEntry, model: type[Model] | None) -> list[tuple[Field, Any, Any]]:
    """Fields that the model still has, and differ, in the model's order."""
    changed = {column: pair for column, pair in entry.changed().items() if column not in NOT_SHOWN}
    fields = model._meta.concrete_fields if model else []
    return [(field, *changed[field.column]) for field in fields if field.column in changed]


def _names_of_related_rows(entries: list[AuditEntry]) -> dict[tuple[type[Model], str], str]:
    wanted: dict[type[Model], set] = defaultdict(set)
    for entry in entries:
        for field, before, after in _changed_fields(entry, _models().get(entry.table)):
            if isinstance(field, ForeignKey):
                wanted[field.related_model] |= {before, after} - {None, ""}
    rows = ((m, row) for m, keys in wanted.items() for row in m._base_manager.filter(pk__in=keys).select_related())
    return {(model, str(row.pk)): _name(row) for model, row in rows}


def _name(row: Model) -> str:
    return f"{row._meta.verbose_name} {row.pk}" if type(row).__str__ is Model.__str__ else str(row)


def _label(field: Field) -> str:
    label = str(field.verbose_name)
    return label[:1].upper() + label[1:]


def _words(field: Field, value: Any, names: dict[tuple[type[Model], str], str]) -> str:
    if value in (None, "", [], {}):
        return ""
    if value == PRIVATE:
        return _("not repeated here")
    if isinstance(field, ForeignKey):
        return names.get((field.related_model, str(value)), _("one since removed"))
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    try:
        return _plain_words(field, value)
    except (ValidationError, ValueError, TypeError):  # a row written before the column had its present meaning
        return str(value)


def _plain_words(field: Field, value: Any) -> str:
    if isinstance(field, JSONField):
        return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
    python = field.to_python(value)
    if isinstance(field, BooleanField):
        return _("yes") if python else _("no")
    if isinstance(field, DateTimeField):
        return moment_in_words(_aware(value))
    if isinstance(field, DateField):
        return date_format(date.fromisoformat(value), "D d-M-Y")
    if isinstance(field, DecimalField):
        return f"{python.normalize():f}"
    return str(python)


def _aware(text: str) -> datetime:
    """SQLite writes UTC without saying so."""
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def moment_in_words(moment: datetime) -> str:
    return date_format(localtime(moment), "D d-M-Y H:i")
