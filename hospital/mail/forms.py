"""The form on which a person chooses when letters come."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.mail.models import MailChoice


def hour_field(label: Any, **kwargs: Any) -> forms.TimeField:
    """A time of day, picked or typed as 21:00."""
    widget = forms.TimeInput(attrs={"type": "time", "class": "w-10"}, format="%H:%M")
    wrong = {"required": _("Give the time."), "invalid": _("Give the time as hours and minutes, for example 21:00.")}
    return forms.TimeField(label=label, widget=widget, error_messages=wrong, **kwargs)


class ChoiceForm(forms.Form):
    how = forms.ChoiceField(
        label=_("How letters come"), choices=MailChoice.How.choices, widget=forms.RadioSelect(attrs={"class": "choices"}),
        error_messages={"required": _("Choose how letters come."), "invalid_choice": _("Choose how letters come.")},
    )  # fmt: skip
    daily_at = hour_field(_("The daily letter comes at"), help_text=_("Counts only if you chose one letter a day."))
    quiet_from = hour_field(_("No letters from"), required=False)
    quiet_until = hour_field(_("until"), required=False, help_text=_("Leave both empty for letters at any hour."))
    wants_reminders = forms.BooleanField(
        label=_("Remind me of visits, of a report that is missing in the evening, and of the last day of a medicine"), required=False
    )
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        starts, ends = said.get("quiet_from"), said.get("quiet_until")
        if (starts is None) != (ends is None) and not {"quiet_from", "quiet_until"} & set(self.errors):
            self.add_error("quiet_until" if ends is None else "quiet_from", _("Give both times, or leave both empty."))
        elif starts is not None and starts == ends:
            self.add_error("quiet_until", _("The two times are the same. Leave both empty for letters at any hour."))
        return said
