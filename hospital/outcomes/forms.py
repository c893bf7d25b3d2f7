"""How a case ended, and why it is opened again."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import degrees_field
from hospital.admissions.models import Patient
from hospital.outcomes.actions import refuse_outcome
from hospital.outcomes.models import Outcome
from hospital.outcomes.queries import staff_of
from hospital.rules.geo import parse_coordinates


class OutcomeForm(forms.ModelForm):
    """Valid only when the action would accept it, so that the check page shows nothing that is refused afterwards."""

    happened_on = day_field(_("On which day?"))
    latitude = degrees_field(_("Latitude"), _("Needed for a release. 54.5083 or 54°30′30″N. Both may be pasted here."))
    longitude = degrees_field(_("Longitude"), _("3.2 or 3°12′E; west is negative."))

    class Meta:
        model = Outcome
        fields = ["kind", "happened_on", "reason", "place", "latitude", "longitude", "decided_by"]
        widgets = {
            "kind": forms.RadioSelect(attrs={"class": "choices cards"}),
            "reason": forms.Textarea(attrs={"rows": 3}),
        }
        help_texts = {
            "reason": _("Needed for euthanasia. For a release, say what made the animal fit."),
            "place": _("Where it was released, or to whom it went: needed for both."),
        }

        error_messages = {
            "kind": {"required": _("Choose how the case ended.")},
            "decided_by": {"required": _("Choose who decided it.")},
        }

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.patient = patient
        self.fields["kind"].choices = Outcome.Kind.choices
        self.fields["decided_by"].queryset = staff_of(patient)
        self.fields["decided_by"].label = _("Decided by")
        for name in ("place", "latitude", "longitude"):  # it depends on the outcome: the hint says it
            self.fields[name].says_optional = True

    def clean(self) -> dict:
        data = super().clean()
        self._read_point(data)
        if self.errors:
            return data
        try:
            refuse_outcome(self.patient, **data)
        except ValidationError as refusal:
            self.add_error(None, refusal)
        return data

    def _read_point(self, data: dict) -> None:
        """Turn what was typed into degrees; both may stand in the first box."""
        typed = [data.get(axis, "") for axis in ("latitude", "longitude")]
        data["latitude"] = data["longitude"] = None
        if not any(typed):
            return
        try:
            point = parse_coordinates("; ".join(text for text in typed if text))
        except ValueError as mistake:
            self.add_error("latitude", str(mistake))
        else:
            data["latitude"], data["longitude"] = (round(degrees, 6) for degrees in point)


class ReopenForm(forms.Form):
    reason = forms.CharField(
        label=_("Why is the case opened again?"),
        max_length=250,
        error_messages={"required": _("Say why the case is opened again.")},
    )
