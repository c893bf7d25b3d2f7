"""Forms of an import: the file, the meaning of its columns, the meaning of its words."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.template.defaultfilters import filesizeformat
from django.utils.translation import gettext_lazy as _

from hospital.imports.columns import FIELDS
from hospital.imports.files import DELIMITERS, ENCODINGS, Table
from hospital.imports.words import Known, Word
from hospital.rules.cells import GRAMS, Comma, DayOrder

ORDERS = {
    "": _("As the file proves it, or not in doubt"),
    DayOrder.DAY_FIRST: _("Day first: 03/04/2019 is 3 April"),
    DayOrder.MONTH_FIRST: _("Month first: 03/04/2019 is 4 March"),
}
COMMAS = {
    "": _("As the file proves it, or not in doubt"),
    Comma.POINT: _("Decimal comma: 1,250 is one and a quarter"),
    Comma.THOUSANDS: _("Thousands: 1,250 is one thousand two hundred and fifty"),
}
NO_MEANING = _("Choose what it means.")


class UploadForm(forms.Form):
    key = forms.UUIDField(widget=forms.HiddenInput, required=False, initial=uuid.uuid4)
    file = forms.FileField(
        label=_("Old spreadsheet"),
        help_text=_("CSV or XLSX, with headings in its first row."),
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > settings.SPREADSHEET_MAX_BYTES:
            raise ValidationError(
                _("This file is larger than %(size)s. Cut it into several.") % {"size": filesizeformat(settings.SPREADSHEET_MAX_BYTES)}
            )
        return file


class ReadAnewForm(forms.Form):
    """How the file is read, when what is shown of it is plainly wrong."""

    seen_version = forms.IntegerField(widget=forms.HiddenInput)
    encoding = forms.ChoiceField(label=_("Encoding"), required=False)
    delimiter = forms.ChoiceField(label=_("Columns are parted by"), required=False)
    sheet = forms.ChoiceField(label=_("Sheet"), required=False)

    def __init__(self, *args: Any, table: Table, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["encoding"].choices = [(name, name) for name in dict.fromkeys([table.encoding, *ENCODINGS])]
        self.fields["delimiter"].choices = list(DELIMITERS.items())
        self.fields["sheet"].choices = [(name, name) for name in table.sheets]
        unneeded = ("encoding", "delimiter") if table.sheets else ("sheet",)
        for name in unneeded:
            del self.fields[name]

    def clean(self) -> dict[str, Any]:
        return {"encoding": "", "delimiter": "", "sheet": ""} | super().clean()


class ColumnsForm(forms.Form):
    """A choice for each column, and what must be said where days, commas and weights can be read in two ways."""

    seen_version = forms.IntegerField(widget=forms.HiddenInput)
    day_order = forms.ChoiceField(label=_("Days of three numbers"), required=False, choices=list(ORDERS.items()))
    comma = forms.ChoiceField(label=_("A comma in a number"), required=False, choices=list(COMMAS.items()))
    weight_unit = forms.ChoiceField(label=_("Weights are in"), required=False, choices=[("", "–"), *((unit, unit) for unit in GRAMS)])

    def __init__(self, *args: Any, table: Table, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.places = range(len(table.headings))
        for place, heading in enumerate(table.headings):
            self.fields[f"column-{place}"] = forms.ChoiceField(label=heading, choices=list(FIELDS.items()))

    def columns(self) -> list[tuple[forms.BoundField, int]]:
        return [(self[f"column-{place}"], place) for place in self.places]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        said = {name: data.pop(f"column-{place}", "keep") for place in self.places if (name := f"column-{place}")}
        return data | {"columns": list(said.values())}


class WordsForm(forms.Form):
    """A choice for each word of the file; a species can also be named."""

    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, words: Sequence[Word], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.words = words
        for place, word in enumerate(words):
            choices = [("", _("Choose")), *word.choices]
            self.fields[f"word-{place}"] = forms.ChoiceField(label=word.shown, required=False, choices=choices, initial=word.likely)
            if word.field == "species":
                self.fields[f"named-{place}"] = forms.CharField(label=_("or name the species"), required=False, max_length=120)

    def rows(self) -> list[tuple[Word, forms.BoundField, forms.BoundField | None]]:
        return [(w, self[f"word-{n}"], self[f"named-{n}"] if w.field == "species" else None) for n, w in enumerate(self.words)]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        meanings: dict[str, dict[str, str]] = {}
        known = Known() if any(name.startswith("named-") and value for name, value in data.items()) else None
        for place, word in enumerate(self.words):
            meaning = data.pop(f"word-{place}", "")
            if known and (named := data.pop(f"named-{place}", "")):
                found = known.species_named(named)
                meaning = f"species:{found}" if found else self._unknown(place)
            data.pop(f"named-{place}", "")
            if not meaning and not self.has_error(f"named-{place}"):
                self.add_error(f"word-{place}", NO_MEANING)
            meanings.setdefault(word.field, {})[word.folded] = meaning
        return {"seen_version": data.get("seen_version"), "words": meanings}

    def _unknown(self, place: int) -> str:
        sentence = _("No species of the list is called that. Write its common or scientific name, or add it on the page “Admit” first.")
        self.add_error(f"named-{place}", sentence)
        return ""


def with_the_rest(shown: Mapping[str, Mapping[str, str]], rest: Sequence[Word]) -> dict[str, dict[str, str]]:
    """What was said, and for the words too rare to be shown the likeliest meaning."""
    meanings = {name: dict(each) for name, each in shown.items()}
    for word in rest:
        meanings.setdefault(word.field, {})[word.folded] = word.likely
    return meanings
