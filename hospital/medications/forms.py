"""Forms about medicines."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import moment_field
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.medications.actions import checked_sheet
from hospital.medications.dosing import Sheet, excess, sheet, stops, weight_doubt
from hospital.medications.formulary import Proposal, proposals_for, shipped
from hospital.medications.models import DoseGiven, MedicationOrder, Route
from hospital.medications.queries import clinical_colleagues, recent_weights
from hospital.people.models import Person


class AmountField(forms.DecimalField):
    """A positive decimal; a comma for a point is understood, a thousand separator is not."""

    def __init__(self, required_words: Any, *, unit: Any, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"})
        limits = {
            "min_value": Decimal("0.0001"),
            "max_value": Decimal("99999"),
            "max_digits": 9,
            "decimal_places": 4,
        }
        super().__init__(widget=widget, **limits, **kwargs)
        self.unit = unit
        self.error_messages["required"] = required_words
        self.error_messages["invalid"] = _("Give a number, for example 0.2.")
        self.error_messages["min_value"] = _("Give a number above 0.")

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.strip().replace(",", ".") if isinstance(value, str) else value)


def whole_number(label: Any, most: int, required_words: Any) -> forms.IntegerField:
    """A whole number from 1 to `most`."""
    sentences = {"required": required_words, "invalid": _("Give a whole number.")}
    widget = forms.NumberInput(attrs={"class": "w-4"})
    return forms.IntegerField(label=label, min_value=1, max_value=most, widget=widget, error_messages=sentences)


class OrderForm(forms.ModelForm):
    """A course. Fields that ask for a second look are there only while something asks for it.

    After validation `sheet` holds what was worked out, or None; `refusals` says why it cannot be given so.
    """

    mg_per_kg = AmountField(_("Give the dose per kg."), label=_("Dose per kg"), unit=_("mg per kg"))
    mg_per_ml = AmountField(
        _("Give the strength, as on the bottle."),
        label=_("Strength"),
        unit=_("mg per mL"),
        help_text=_("As on the bottle in your hand."),
    )
    every_hours = whole_number(_("Every"), 24 * 366, _("Give the hours from one dose to the next."))
    doses = whole_number(_("Number of doses"), 400, _("Give the number of doses."))
    first_dose_at = moment_field(_("First dose"))
    is_weight_checked = forms.BooleanField(label=_("This weight is right"), required=False)
    is_warning_read = forms.MultipleChoiceField(
        label=_("I have read this and mean the order"),
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
    )
    seen_weight_g = forms.DecimalField(required=False, widget=forms.HiddenInput)

    class Meta:
        model = MedicationOrder
        fields = [
            "drug",
            "mg_per_kg",
            "mg_per_ml",
            "route",
            "every_hours",
            "doses",
            "first_dose_at",
            "instruction",
            "dose_reason",
            "checked_by",
        ]
        widgets = {"drug": forms.TextInput(attrs={"list": "medicines", "autocomplete": "off"})}
        help_texts = {
            "drug": _("The generic name, in full."),
            "instruction": _("For the label and the carer, if needed."),
        }
        error_messages = {
            "drug": {"required": _("Name the medicine.")},
            "route": {"required": _("Choose how it is given.")},
        }

    def __init__(self, *args: Any, patient: Patient, by: Person, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.patient, self.by, self.recent = patient, by, recent_weights(patient)
        self.sheet: Sheet | None = None
        self.refusals: list[str] = []
        self.fields["every_hours"].unit = _("hours")
        self.fields["route"].choices = [("", _("Choose")), *Route.choices]
        self.fields["dose_reason"].label = _("Reason for this dose")
        for name in ("dose_reason", "checked_by"):  # on the page only when they are asked for, and then they are needed
            self.fields[name].says_optional = True
        self.fields["checked_by"].label = _("Second person who checked")
        self.fields["checked_by"].queryset = clinical_colleagues(patient, by)
        if self.recent:
            self.fields["seen_weight_g"].initial = self.recent[0].weight_g
        self.warned = stops(patient, self._typed("drug"), self._typed("route"))[1]
        self._offer_warnings()
        self.doubt = (
            weight_doubt(self.recent, today(patient.hospital.zone), patient.hospital.zone) if self.recent else ""
        )
        self.excess = self._excess()

    def _typed(self, name: str) -> str:
        return str(self[name].value() or "")

    def _offer_warnings(self) -> None:
        """A box for each warning, so that one ticked for another medicine says nothing about this one."""
        field = self.fields["is_warning_read"]
        field.says_optional = True  # it is not: the order waits for it
        field.choices = [(stop.slug, f"{stop.reason} ({stop.source})") for stop in shipped()[1]]
        field.widget.choices = [(stop.slug, f"{stop.reason} ({stop.source})") for stop in self.warned]

    def _excess(self) -> str:
        """Why the dose is out of range, once one was typed."""
        try:
            per_kg = self.fields["mg_per_kg"].clean(self._typed("mg_per_kg"))
        except ValidationError:
            return ""
        return excess(self.patient, self._typed("drug"), per_kg) if self._typed("drug") else ""

    def proposals(self) -> list[Proposal]:
        return proposals_for(self.patient.species.group.lineage())

    def clean(self) -> dict:
        data = super().clean()
        data["is_warning_read"] = {stop.slug for stop in self.warned} <= set(data.get("is_warning_read") or ())
        self._work_out(data)
        if self.errors:
            return data
        try:
            asked = {name: value for name, value in data.items() if name != "instruction"}
            checked_sheet(self.patient, by=self.by, **asked)
        except ValidationError as refusal:
            self.add_error(None, refusal)
            self._move_weight_on()
        return data

    def _work_out(self, data: dict) -> None:
        """The sums, as far as what was typed allows: shown although something else is still missing."""
        refused, _warned = stops(self.patient, data.get("drug", ""), data.get("route", ""))
        self.refusals = [f"{stop.reason} ({stop.source})" for stop in refused]
        needed = ("mg_per_kg", "mg_per_ml", "every_hours", "doses", "first_dose_at")
        if not self.recent or self.refusals or any(data.get(name) is None for name in needed):
            return
        try:
            self.sheet = sheet(self.recent[0].weight_g, **{name: data[name] for name in needed})
        except ValidationError as refusal:
            self.refusals = refusal.messages

    def _move_weight_on(self) -> None:
        """Once the new weight was shown, a second save means it."""
        if "seen_weight_g" in self.errors:
            self.data = self.data.copy()
            self.data[self.add_prefix("seen_weight_g")] = str(self.recent[0].weight_g)


def prefilled(proposal: Proposal) -> dict[str, Any]:
    """A published proposal as values of the form: the lower end of the dose, the strength if there is just one."""
    strengths = proposal.strengths_mg_per_ml
    return {
        "drug": proposal.drug,
        "mg_per_kg": proposal.mg_per_kg,
        "mg_per_ml": strengths[0] if len(strengths) == 1 else "",
        "route": proposal.routes[0],
        "every_hours": proposal.every_hours or "",
    }


def like(order: MedicationOrder) -> dict[str, Any]:
    """An earlier order as values of the form, from its first dose anew."""
    names = ("drug", "mg_per_kg", "mg_per_ml", "route", "every_hours", "doses", "instruction")
    return {name: getattr(order, name) for name in names}


class StopForm(forms.Form):
    stopped_on = day_field(_("Stopped on"), initial=today)
    stop_reason = forms.CharField(
        label=_("Why?"), max_length=250, error_messages={"required": _("Say why it was stopped.")}
    )


class DoseForm(forms.Form):
    kind = forms.ChoiceField(
        label=_("What happened?"),
        choices=DoseGiven.Kind,
        initial=DoseGiven.Kind.GIVEN,
        widget=forms.RadioSelect(attrs={"class": "choices inline"}),
    )
    given_at = moment_field(_("When?"), initial=now)
    note = forms.CharField(label=_("Note"), max_length=250, required=False)
    is_not_double = forms.BooleanField(label=_("This is another dose, given on purpose"), required=False)


class TakeBackForm(forms.Form):
    """Asks, and holds nothing."""

    is_sure = forms.BooleanField(
        label=_("Yes, this was written by mistake"),
        error_messages={"required": _("Tick the box if it was written by mistake.")},
    )

    def clean(self) -> dict:
        super().clean()
        return {}
