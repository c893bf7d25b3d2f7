"""What figures are asked for. The answers stand in the address, so that a page can be kept and sent on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import words_field
from hospital.admissions.models import Cause

BY = [("species", _("Species")), ("group", _("Group of animals")), ("cause", _("Cause")), ("year", _("Year of admission"))]
FOR = [("us", _("Only the hospital’s staff")), ("others", _("Others too"))]
CELLS = [("0.02", _("About 2 km")), ("0.01", _("About 1 km")), ("0.1", _("About 10 km"))]  # the first unless asked


class FilterForm(forms.Form):
    """Which cases."""

    since = day_field(_("Admitted from"), required=False)
    until = day_field(_("Admitted until"), required=False)
    group = forms.ChoiceField(label=_("Group of animals"), required=False)
    species = words_field(_("Species"), 80)
    cause = forms.ModelChoiceField(Cause.objects.all(), label=_("Cause"), required=False, empty_label=_("All causes"))

    is_filter = True

    def __init__(self, data: Any, *, groups: Sequence[tuple[str, str]]):
        super().__init__(data)
        self.fields["group"].choices = [("", _("All animals")), *groups]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("since") and said.get("until") and said["until"] < said["since"]:
            self.add_error("until", _("This day is before the first one. Give a later day, or leave it empty."))
        return said


class OutcomesForm(FilterForm):
    by = forms.ChoiceField(label=_("A row for each"), choices=BY, required=False)
    without_few = forms.BooleanField(label=_("Put rows of fewer than 5 cases together"), required=False)


class PlacesForm(FilterForm):
    cell = forms.ChoiceField(label=_("Size of a square"), choices=CELLS, required=False)
    who = forms.ChoiceField(
        label=_("Who will see it"),
        choices=FOR,
        required=False,
        help_text=_("For others, a sensitive species counts only in squares as coarse as its places may be shown."),
    )
    without_few = forms.BooleanField(label=_("Leave out squares of fewer than 5 cases"), required=False)
