"""Forms for what is seen when an animal is looked at."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import WeightField
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.examinations.models import Examination
from hospital.procedures.queries import bandages_on, closures_in, implants_in
from hospital.procedures.vocabulary import AT_RECHECK, IN_WATER, event_name
from hospital.procedures.wording import bandage_line, closure_line, implant_line

LEFT, CHANGED, OFF = "", "changed", "off"


class SeenForm(forms.ModelForm):
    """The findings that every examination has."""

    examined_on = day_field(_("Examined on"), initial=today)

    class Meta:
        model = Examination
        fields = ["kind", "examined_on", "wound", "body_condition", "findings", "advice"]
        widgets = {
            "wound": forms.RadioSelect(attrs={"class": "choices cards"}),
            "findings": forms.Textarea(attrs={"rows": 4}),
            "advice": forms.Textarea(attrs={"rows": 3}),
        }
        help_texts = {
            "body_condition": _("With the scale, for example 3 of 5 by keel and breast muscle."),
            "advice": _("In plain words. It goes into the carer's pack."),
        }


class WeighedForm(SeenForm):
    """An examination at which the animal may have been weighed."""

    weight_g = WeightField(required=False)
    is_sure = forms.BooleanField(label=_("Weighed again: this weight is right"), required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.initial["wound"] = None  # somebody has to look and say
        self.fields["wound"].error_messages["required"] = _("Say how the wound is, or that there is none.")

    def asks_to_be_sure(self) -> bool:
        """Whether the weight was refused as unlikely, so that the box to confirm it is shown."""
        return self.is_bound and ("weight_g" in self.errors or bool(self["is_sure"].value()))


class ExaminationForm(WeighedForm):
    pass


class EditExaminationForm(SeenForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class ThingsField(forms.ModelMultipleChoiceField):
    """Things on or in the animal, each with a box; one that somebody else took out meanwhile says so."""

    def __init__(self, queryset: Any, line: Any, **kwargs: Any):
        gone = _("One of these was recorded as out by somebody else meanwhile. Look at the list again.")
        widget = forms.CheckboxSelectMultiple(attrs={"class": "choices"})
        super().__init__(queryset, required=False, widget=widget, **kwargs)
        self.error_messages |= {"invalid_choice": gone, "invalid_pk_value": gone}
        self.line = line

    def label_from_instance(self, thing: Any) -> str:
        return self.line(thing)


class RecheckForm(WeighedForm):
    """A recheck: what was seen, and what was done at it. `cleaned_data` is what `record_recheck` takes."""

    class Meta(SeenForm.Meta):
        fields = [name for name in SeenForm.Meta.fields if name != "kind"]

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.closures, self.implants = closures_in(patient), implants_in(patient)
        self.bandages = list(bandages_on(patient))
        self.fields["closures_out"] = ThingsField(self.closures, closure_line, label=_("Sutures or staples taken out"))
        for bandage in self.bandages:
            self.fields[f"bandage_{bandage.pk}"] = _bandage_field(bandage_line(bandage))
        out = _("Implants, drains or tubes taken out")
        self.fields["implants_out"] = ThingsField(self.implants, implant_line, label=out)
        self.fields["milestones"] = forms.MultipleChoiceField(
            label=_("Steps allowed, done or passed"),
            required=False,
            choices=[(event, event_name(event)) for event in steps_of(patient)],
            widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
        )

        for name in self.fields.keys() - SeenForm.base_fields.keys() - {"weight_g", "is_sure"}:
            self.fields[name].says_optional = True  # an empty box says it

    def bandage_fields(self) -> list[forms.BoundField]:
        return [self[f"bandage_{bandage.pk}"] for bandage in self.bandages]

    def clean(self) -> dict:
        data = super().clean()
        done = {bandage: data.pop(f"bandage_{bandage.pk}", LEFT) for bandage in self.bandages}
        data["bandages_changed"] = [bandage for bandage, what in done.items() if what == CHANGED]
        data["bandages_off"] = [bandage for bandage, what in done.items() if what == OFF]
        return data


def steps_of(patient: Patient) -> list[str]:
    """The steps that a recheck may tick: those in water only for a species that lives there."""
    return [event for event in AT_RECHECK if patient.species.is_aquatic or event not in IN_WATER]


def _bandage_field(line: str) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=line,
        required=False,
        widget=forms.RadioSelect(attrs={"class": "choices inline"}),
        choices=[(LEFT, _("Left as it is")), (CHANGED, _("Looked at or changed")), (OFF, _("Off for good"))],
    )
