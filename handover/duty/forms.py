"""Forms of the duty list."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from handover.duty.models import DutyRules
from hospital.mail.forms import hour_field
from hospital.people.models import STAFF, Person
from hospital.sites.models import WEEKDAYS, Hospital


class TurnForm(forms.Form):
    person = forms.ModelChoiceField(
        Person.objects.none(), label=_("Who"),
        error_messages={"required": _("Choose a person."), "invalid_choice": _("Choose a person.")},
    )  # fmt: skip
    starts = hour_field(_("From"))
    ends = hour_field(_("Until"), help_text=_("An end before the start is on the next day; the same time twice is the whole day."))
    weekdays = forms.TypedMultipleChoiceField(
        label=_("Only on"), required=False, choices=list(enumerate(WEEKDAYS)), coerce=int,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices inline"}), help_text=_("None ticked: every day."),
    )  # fmt: skip

    def __init__(self, *args: Any, hospital: Hospital, **kwargs: Any):
        super().__init__(*args, **kwargs)
        staff = Person.objects.filter(is_active=True, memberships__hospital=hospital, memberships__role__in=STAFF)
        self.fields["person"].queryset = staff.distinct().order_by("name")


class MinutesForm(forms.ModelForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    class Meta:
        model = DutyRules
        fields = ["now_minutes", "today_minutes", "other_minutes"]
        widgets = {name: forms.TextInput(attrs={"inputmode": "numeric", "class": "w-4"}) for name in fields}
        error_messages = {
            name: {
                "required": _("Give the minutes."), "invalid": _("Give whole minutes, for example 10."),
                "min_value": _("Give at least 1 minute."), "max_value": _("Give at most 1440 minutes, which is a day."),
            }
            for name in fields
        }  # fmt: skip
