"""Forms about a hospital."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from hospital.sites.models import WEEKDAYS

LONGEST_CLOSED = 6  # weekdays; a clinic that is never open could not see anybody


def degrees_field(label: Any, most: int, **kwargs: Any) -> forms.DecimalField:
    return forms.DecimalField(
        label=label,
        max_digits=9,
        decimal_places=6,
        validators=[MinValueValidator(-most), MaxValueValidator(most)],
        widget=forms.TextInput(attrs={"class": "w-10", "autocomplete": "off"}),
        **kwargs,
        error_messages={
            "invalid": _("Give decimal degrees, for example 54.508333."),
            "required": _("Give decimal degrees."),
            "max_decimal_places": _("Give at most six digits behind the point: that is a hand's breadth."),
        },
    )


def minutes_field(label: Any, least: int) -> forms.IntegerField:
    field = forms.IntegerField(
        label=label, min_value=least, max_value=24 * 60, widget=forms.NumberInput(attrs={"class": "w-4"}),
        help_text=_("Minutes after the time that was ordered. Usual are 60 and 360 (common practice, no source)."),
        error_messages={"required": _("Give the minutes."), "invalid": _("Give a whole number.")},
    )  # fmt: skip
    field.unit = _("minutes")
    return field


class HospitalForm(forms.Form):
    """What every page, pack and plan takes from the hospital."""

    name = forms.CharField(
        label=_("Name"), max_length=120, error_messages={"required": _("Write the hospital's name.")}
    )
    phone = forms.CharField(
        label=_("Phone"),
        max_length=30,
        widget=forms.TelInput(attrs={"class": "w-20"}),
        help_text=_("On every page and paper of the carers."),
        error_messages={"required": _("Write the phone number.")},
    )
    out_of_hours_phone = forms.CharField(
        label=_("Phone out of hours"),
        max_length=30,
        required=False,
        widget=forms.TelInput(attrs={"class": "w-20"}),
        help_text=_("Left empty, carers are told the number above at night too."),
    )
    address = forms.CharField(label=_("Address"), max_length=250, required=False)
    clinic_hours = forms.CharField(
        label=_("Clinic hours, in words"), max_length=120, required=False, help_text=_("Weekdays 09:00 to 17:00.")
    )
    closed_weekdays = forms.TypedMultipleChoiceField(
        label=_("The clinic is closed on"),
        required=False,
        choices=list(enumerate(WEEKDAYS)),
        coerce=int,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices inline"}),
        help_text=_("No visit is planned on these days."),
    )
    late_after_minutes = minutes_field(_("On the treatment sheet late after"), 5)
    missed_after_minutes = minutes_field(_("On the treatment sheet missed after"), 10)
    latitude = degrees_field(_("Latitude"), 90)
    longitude = degrees_field(_("Longitude"), 180)
    zone = forms.ChoiceField(label=_("Time zone"), error_messages={"invalid_choice": _("Choose a time zone.")})
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["zone"].choices = [(zone, zone) for zone in sorted(available_timezones()) if "/" in zone]

    def clean_missed_after_minutes(self) -> int:
        missed = self.cleaned_data["missed_after_minutes"]
        if missed <= self.cleaned_data.get("late_after_minutes", 0):
            raise forms.ValidationError(_("A dose is late first and missed later: give more minutes than above."))
        return missed

    def clean_closed_weekdays(self) -> list[int]:
        days = sorted(self.cleaned_data["closed_weekdays"])
        if len(days) > LONGEST_CLOSED:
            raise forms.ValidationError(_("Leave at least one day on which the clinic is open."))
        return days


class ClosedDayForm(forms.Form):
    on = forms.DateField(
        label=_("Closed on"),
        widget=forms.DateInput(attrs={"type": "date", "class": "w-10"}, format="%Y-%m-%d"),
        error_messages={
            "required": _("Give the day."),
            "invalid": _("Give the day as year-month-day, for example 2027-01-05."),
        },
    )
    reason = forms.CharField(label=_("Reason"), max_length=120, required=False)
