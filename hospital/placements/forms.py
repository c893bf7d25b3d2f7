"""Forms about carers and placements."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.models import Patient, TaxonGroup
from hospital.people.models import FACILITIES, Carer, Person
from hospital.placements.models import Loan
from hospital.sites.forms import degrees_field
from hospital.sites.models import Hospital


def line(label: Any, most: int, **kwargs: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=most, required=False, **kwargs)


class PlaceForm(forms.Form):
    carer = forms.ModelChoiceField(
        Carer.objects.none(),
        label=_("Carer"),
        error_messages={
            "required": _("Choose a carer."),
            "invalid_choice": _("Choose one of the carers of this hospital."),
        },
    )
    note = line(_("Note"), 250, help_text=_("What was agreed; or why it goes there all the same."))
    seen_placement = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, hospital: Hospital, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["carer"].queryset = Carer.objects.at(hospital).filter(is_active=True).select_related("person")


class BringBackForm(forms.Form):
    ward = line(_("Ward or cage"), 80)
    note = line(_("Why"), 250)
    seen_placement = forms.IntegerField(widget=forms.HiddenInput)


class AcceptForm(forms.Form):
    """A button only: whoever presses it has the animal in their hands."""


class DeclineForm(forms.Form):
    why = forms.CharField(
        label=_("Why can you not take it?"),
        max_length=200,
        help_text=_("A few words: the hospital looks for somebody else at once."),
        error_messages={"required": _("Write why, in a few words.")},
    )


class LendForm(forms.Form):
    what = forms.CharField(
        label=_("What is lent"),
        max_length=120,
        help_text=_("With its number, if it has one: Heat lamp 3."),
        error_messages={"required": _("Write what is lent.")},
    )
    patient = forms.ModelChoiceField(
        Patient.objects.none(), label=_("For which animal"), required=False, empty_label=_("For no animal in particular")
    )
    due_on = day_field(_("Due back on"), required=False, help_text=_("Left empty: when the animal comes back."))

    def __init__(self, *args: Any, carer: Carer, **kwargs: Any):
        super().__init__(*args, **kwargs)
        there = carer.placements.open().values("patient")
        self.fields["patient"].queryset = Patient.objects.filter(pk__in=there).select_related("species")


class EndLoanForm(forms.Form):
    ending = forms.ChoiceField(
        label=_("What became of it"),
        choices=Loan.Ending.choices,
        initial=Loan.Ending.BACK,
        widget=forms.RadioSelect(attrs={"class": "choices inline"}),
    )
    note = line(_("Note"), 160, help_text=_("If it is broken or lost: what happened."))
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


def _number(label: Any, least: int) -> forms.IntegerField:
    return forms.IntegerField(
        label=label,
        min_value=least,
        max_value=2000,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "w-4"}),
        error_messages={"invalid": _("Give a whole number, for example 3.")},
    )


class LimitForm(forms.Form):
    group = forms.ModelChoiceField(
        TaxonGroup.objects.order_by("name"),
        label=_("Group"),
        help_text=_("A wide group such as Reptile counts every group in it together."),
        error_messages={"required": _("Choose a group."), "invalid_choice": _("Choose one of the groups.")},
    )
    most_animals = _number(_("Animals at one carer at most"), 0)
    most_days = _number(_("Days with carers at most, since admission"), 1)
    source = forms.CharField(
        label=_("Where it is written"),
        max_length=160,
        help_text=_("The law, permit or agreement, with its number."),
        error_messages={"required": _("Write where this limit comes from.")},
    )


class CarerForm(forms.Form):
    """What a carer may hold, has and can do."""

    phone = line(_("Phone"), 30, widget=forms.TelInput(attrs={"class": "w-20"}))
    authority = line(
        _("Authority to hold wildlife"),
        160,
        help_text=_("Permit, licence or agreement, with its number, as local law asks."),
    )
    authority_ends_on = day_field(_("Authority ends on"), required=False)
    taxon_groups = forms.MultipleChoiceField(
        label=_("Groups they may hold"),
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices cards"}),
        help_text=_("A wide group such as Reptiles includes every group in it."),
    )
    facilities = forms.MultipleChoiceField(
        label=_("What they have"),
        required=False,
        choices=list(FACILITIES.items()),
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices cards"}),
    )
    room_for = forms.IntegerField(
        label=_("Animals at most"),
        min_value=0,
        max_value=200,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "w-4"}),
        error_messages={
            "required": _("Give a number, 0 for none."),
            "invalid": _("Give a whole number, for example 3."),
        },
    )
    experience = line(_("Experience"), 250)
    town = line(_("Town or village"), 120, help_text=_("Seen by coordinators only."))
    latitude = degrees_field(_("Latitude of their home"), 90, required=False)
    longitude = degrees_field(_("Longitude of their home"), 180, required=False)
    is_active = forms.BooleanField(label=_("Takes animals now"), required=False)
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["taxon_groups"].choices = TaxonGroup.objects.order_by("name").values_list("slug", "name")

    def clean(self) -> dict:
        data = super().clean()
        if "latitude" in data and "longitude" in data and (data["latitude"] is None) != (data["longitude"] is None):
            missing = "latitude" if data["latitude"] is None else "longitude"
            self.add_error(missing, _("A place needs both latitude and longitude."))
        return data


class AwayForm(forms.Form):
    starts_on = day_field(_("First day away"))
    ends_on = day_field(_("Last day away"))
    note = line(_("Note"), 120)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["starts_on"].error_messages["required"] = _("Give the first day.")
        self.fields["ends_on"].error_messages["required"] = _("Give the last day.")


class NewCarerForm(forms.Form):
    person = forms.ModelChoiceField(
        Person.objects.none(), label=_("Person"), error_messages={"required": _("Choose a person.")}
    )

    def __init__(self, *args: Any, people: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = people
