"""The form that asks for a file of records."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.exports.darwin_core import LICENCES
from hospital.exports.models import Export
from hospital.exports.tables import COLUMNS, GROUPS


class AskForm(forms.Form):
    key = forms.UUIDField(widget=forms.HiddenInput, required=False, initial=uuid.uuid4)
    kind = forms.ChoiceField(label=_("What"), choices=Export.Kind, widget=forms.RadioSelect)
    file_format = forms.ChoiceField(
        label=_("File"),
        required=False,
        choices=[("csv", _("CSV")), ("xlsx", _("XLSX, for spreadsheet programs"))],
        help_text=_("Of a register or a return."),
    )
    starts_on = day_field(_("Admitted from"))
    ends_on = day_field(_("until and including"))
    columns = forms.MultipleChoiceField(
        label=_("Columns of the register"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        choices=[(name, heading) for name, (heading, _cell) in COLUMNS.items()],
    )
    groups = forms.MultipleChoiceField(
        label=_("Count the return by"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        choices=[(name, words) for name, (words, _cell) in GROUPS.items()],
    )
    licence = forms.ChoiceField(
        label=_("Licence of a Darwin Core archive"), required=False, choices=[(name, name.upper()) for name in LICENCES]
    )
    has_exact_places = forms.BooleanField(
        label=_("Exact places of sensitive species too"),
        required=False,
        help_text=_("For the hospital’s own use only. Who asked and who took the file is kept."),
    )

    def __init__(self, *args: Any, may_know_places: bool, today: date, **kwargs: Any):
        last = date(today.year - 1, 1, 1), date(today.year - 1, 12, 31)
        usual = {
            "kind": Export.Kind.REGISTER,
            "starts_on": last[0],
            "ends_on": last[1],
            "columns": list(COLUMNS),
            "groups": ["species"],
            "licence": "cc-by",
        }
        super().__init__(*args, initial=usual | kwargs.pop("initial", {}), **kwargs)
        if not may_know_places:
            del self.fields["has_exact_places"]

    def clean_licence(self) -> str:
        return self.cleaned_data["licence"] or "cc-by"
