"""A paper log sheet typed in: a week of one animal as rows of the same form that the carer's page sends."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.utils.formats import date_format
from django.utils.functional import cached_property

from handover.logs.forms import ReportForm
from handover.logs.models import LogEntry
from handover.logs.queries import Dose, noon
from handover.logs.wording import report_in_words
from hospital.admissions.models import Patient

DAYS = 7
# The questions of the printed sheet, in its order; hidden boxes are kept, all else of the form is not asked on paper.
ASKED = ("eaten", "food", "weight_g", "droppings", "activity", "bandage", "water_minutes", "worries")
HIDDEN = ("key", "made_at", "on")
Sent = Mapping[str, str] | None  # what a browser sent, None for a fresh sheet


class PaperDay(ReportForm):
    """One day of the sheet. Nothing is chosen beforehand, and a day on which nothing is typed is no report."""

    def __init__(self, *args: Any, day: date, **kwargs: Any):
        super().__init__(*args, prefix=day.isoformat(), **kwargs)
        self.day = day
        for name in set(self.fields) - {*ASKED, *HIDDEN, *(dose.field for dose in self.doses)}:
            del self.fields[name]
        for name, field in self.fields.items():
            if name not in HIDDEN:
                _in_a_cell(field, date_format(day, "l j F"))

    @cached_property
    def is_empty(self) -> bool:
        return not any(self.data.get(self.add_prefix(name), "").strip() for name in self.fields if name not in HIDDEN)

    @property
    def cells(self) -> list[forms.BoundField]:
        return [self[name] for name in ASKED]


def _in_a_cell(field: forms.Field, day: str) -> None:
    """Small boxes, spoken of by question and day; a choice is a list that the first letter finds."""
    if isinstance(field, forms.ChoiceField):
        field.choices = [("", "–"), *((value, words) for value, words in field.choices if value)]
        field.widget = forms.Select(choices=field.choices)
    else:
        kind = {key: value for key, value in field.widget.attrs.items() if key in ("inputmode", "autocomplete")}
        field.widget = forms.TextInput(attrs=kind)
    field.widget.attrs["aria-label"] = f"{field.label}, {day}"


@dataclass(frozen=True, slots=True)
class PaperRow:
    """A day of the sheet: its boxes, or, when the day is logged, what is stored."""

    on: date
    stored: tuple[LogEntry, ...]
    form: PaperDay | None

    @property
    def read(self) -> list[tuple[LogEntry, list[tuple[str, str]]]]:
        return [(entry, report_in_words(entry)) for entry in self.stored]


class PaperWeek:
    """Seven days that end on `last`, as far as the animal was there. What a sent form holds is kept whatever is wrong with it."""

    def __init__(self, patient: Patient, last: date, first_ever: date, stored: Mapping[date, list[LogEntry]],
                 doses: Mapping[date, Iterable[Dose]], at: datetime, data: Sent = None):  # fmt: skip
        self.patient, self.last, self.is_bound = patient, last, data is not None
        days = [last - timedelta(n) for n in range(DAYS - 1, -1, -1)]
        self.rows = [self._row(day, tuple(stored.get(day, ())), doses.get(day, ()), at, data) for day in days if day >= first_ever]

    def _row(self, day: date, stored: tuple[LogEntry, ...], doses: Iterable[Dose], at: datetime, data: Sent) -> PaperRow:
        """A logged day is for reading, unless the sent form has words for it: they are not thrown away."""
        about = min(noon(day, self.patient.hospital.zone), at)  # nobody wrote a time down: noon, or now
        start = {"key": uuid.uuid4(), "made_at": about.isoformat(timespec="seconds"), "on": day.isoformat()}
        form = PaperDay(data, day=day, doses=doses, initial=start)
        return PaperRow(day, stored, form if not stored or (self.is_bound and not form.is_empty) else None)

    @property
    def said(self) -> list[PaperDay]:
        return [row.form for row in self.rows if row.form and self.is_bound and not row.form.is_empty]

    @property
    def mistaken(self) -> list[PaperDay]:
        return [form for form in self.said if form.errors]

    @property
    def errors(self) -> list:
        """For the page's title: whether there is a mistake in any row."""
        return [form.errors for form in self.mistaken]
