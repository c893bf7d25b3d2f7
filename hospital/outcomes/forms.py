"""How a case ended, and why it is opened again."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.models import Patient
from hospital.outcomes.actions import refuse_outcome
from hospital.outcomes.models import Outcome
from hospital.outcomes.queries import staff_of


class OutcomeForm(forms.ModelForm):
    """Valid only when the action would accept it, so that the check page shows nothing that is refused afterwards."""

    happened_on = day_field(_("On which day?"))

    class Meta:
        model = Outcome
        fields = ["kind", "happened_on", "reason", "place", "latitude", "longitude", "decided_by"]
        widgets = {
            "kind": forms.RadioSelect(attrs={"class": "choices cards"}),
            "reason": forms.Textarea(attrs={"rows": 3}),
            "latitude": forms.NumberInput(attrs={"step": "any", "class": "w-10"}),
            "longitude": forms.NumberInput(attrs={"step": "any", "class": "w-10"}),
        }
        help_texts = {
            "reason": _("Needed for euthanasia. For a release, say what made the animal fit."),
            "place": _("Where it was released, or to whom it went."),
            "latitude": _("Degrees north, for example 54.51."),
            "longitude": _("Degrees east, for example 3.21; west is negative."),
        }

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.patient = patient
        self.fields["kind"].choices = Outcome.Kind.choices
        self.fields["latitude"].label, self.fields["longitude"].label = _("Latitude"), _("Longitude")
        self.fields["decided_by"].queryset = staff_of(patient)
        self.fields["decided_by"].label = _("Decided by")

    def clean(self) -> dict:
        data = super().clean()
        if self.errors:
            return data
        try:
            refuse_outcome(self.patient, **data)
        except ValidationError as refusal:
            self.add_error(None, refusal)
        return data


class ReopenForm(forms.Form):
    reason = forms.CharField(label=_("Why is the case opened again?"), max_length=250)
