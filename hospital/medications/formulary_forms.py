"""Forms for the figures of a row of the formulary. They clean to the arguments of the actions."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.admissions.models import TaxonGroup
from hospital.medications.forms import AmountField, late_dose_field, unit_field, whole_number
from hospital.medications.models import Route
from hospital.rules.doses import AmountUnit
from hospital.rules.formulary import Emergency, Entry

FIGURES = (
    "unit", "per_kg", "per_kg_top", "least_per_kg", "hard_from_per_kg", "hard_reason", "routes", "every_hours", "doses_most",
    "late_dose", "half_life_hours", "is_controlled", "discard_days", "caution",
)  # fmt: skip
EMERGENCY = ("per_kg", "strength_per_ml", "strength_unit", "route", "source", "note")  # the fields of rules.formulary.Emergency
DECIMALS = ("per_kg", "per_kg_top", "least_per_kg", "hard_from_per_kg", "half_life_hours")


def _amount(label: Any, **kwargs: Any) -> AmountField:
    return AmountField(gettext_lazy("Give a figure."), label=label, unit=gettext_lazy("per kg"), **kwargs)


def _optional_number(label: Any, most: int, unit: Any, **kwargs: Any) -> forms.IntegerField:
    field = whole_number(label, most, "")
    field.required, field.unit, field.help_text = False, unit, kwargs.get("help_text", "")
    return field


class RowForm(forms.Form):
    """The figures of one row, each with the limits that it sets."""

    unit = unit_field(gettext_lazy("Counted in"))
    per_kg = _amount(gettext_lazy("Usual dose"), help_text=gettext_lazy("The lower end, and what the order form begins with."))
    per_kg_top = _amount(gettext_lazy("Largest usual dose"), help_text=gettext_lazy("Above it an order needs a reason."))
    least_per_kg = _amount(gettext_lazy("Least usual dose"), help_text=gettext_lazy("Below it an order needs a reason."))
    hard_from_per_kg = _amount(
        gettext_lazy("Second vet from"), help_text=gettext_lazy("From this dose on an order waits until a second vet has signed.")
    )
    hard_reason = forms.CharField(label=gettext_lazy("Why that limit"), max_length=200, required=False)
    routes = forms.MultipleChoiceField(
        label=gettext_lazy("How given"),
        choices=Route.choices,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
        error_messages={"required": gettext_lazy("Tick at least one way.")},
    )
    every_hours = _optional_number(
        gettext_lazy("Every"), 24 * 366, gettext_lazy("hours"), help_text=gettext_lazy("Empty: no interval is established.")
    )
    doses_most = _optional_number(gettext_lazy("Doses at most"), 400, "", help_text=gettext_lazy("Empty: no limit."))
    late_dose = late_dose_field()
    half_life_hours = forms.DecimalField(
        label=gettext_lazy("Half-life"), required=False, min_value=Decimal("0.001"), max_digits=8, decimal_places=3,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"}),
        help_text=gettext_lazy("In this group of animals. Five of them after the last dose it has washed out. Empty: not known."),
    )  # fmt: skip
    is_controlled = forms.BooleanField(label=gettext_lazy("Controlled drug where we work"), required=False)
    discard_days = _optional_number(
        gettext_lazy("Discard after opening"), 730, gettext_lazy("days"), help_text=gettext_lazy("From the label. Empty: not known.")
    )
    caution = forms.CharField(label=gettext_lazy("Caution"), max_length=250, required=False)
    emergency_per_kg = _amount(
        gettext_lazy("Emergency dose"), required=False, help_text=gettext_lazy("In the unit above. Empty: not on the emergency sheet.")
    )
    emergency_strength_per_ml = AmountField(
        "", label=gettext_lazy("Strength in the emergency box"), unit=gettext_lazy("per mL"), required=False,
        help_text=gettext_lazy("As on the bottle that lies there."),
    )  # fmt: skip
    emergency_strength_unit = unit_field(gettext_lazy("Strength counted in"), required=False)
    emergency_route = forms.ChoiceField(
        label=gettext_lazy("Given in an emergency"), choices=[("", gettext_lazy("Choose")), *Route.choices], required=False
    )
    emergency_source = forms.CharField(
        label=gettext_lazy("Where the emergency figures are from"), max_length=250, required=False,
        help_text=gettext_lazy("The book, the paper or the person: it is printed on the sheet."),
    )  # fmt: skip
    emergency_note = forms.CharField(label=gettext_lazy("What for, and how to repeat it"), max_length=120, required=False)
    seen_version = forms.IntegerField(widget=forms.HiddenInput, min_value=0)  # the version in force that was seen; 0: none

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["half_life_hours"].unit = gettext_lazy("hours")
        for name in EMERGENCY:
            self.fields[f"emergency_{name}"].says_optional = True  # all of them or none

    def clean(self) -> Mapping[str, Any]:
        cleaned = super().clean()
        _refuse_falling(self, cleaned, "least_per_kg", "per_kg")
        _refuse_falling(self, cleaned, "per_kg", "per_kg_top")
        _refuse_falling(self, cleaned, "per_kg_top", "hard_from_per_kg", may_be_equal=False)
        _refuse_falling(self, cleaned, "emergency_per_kg", "hard_from_per_kg", may_be_equal=False)
        cleaned["emergency_strength_unit"] = cleaned.get("emergency_strength_unit") or AmountUnit.MG
        self._refuse_half_an_emergency(cleaned)
        if self.errors:
            return cleaned
        return {"seen_version": cleaned["seen_version"], "figures": self._figures(cleaned)}

    @staticmethod
    def _figures(cleaned: Mapping[str, Any]) -> dict[str, Any]:
        figures = {name: cleaned[name] for name in FIGURES}
        said = {name: cleaned[f"emergency_{name}"] for name in EMERGENCY}
        said["strength_unit"] = AmountUnit(said["strength_unit"])
        emergency = Emergency(**said) if said["per_kg"] else None
        return figures | {"unit": AmountUnit(figures["unit"]), "routes": tuple(figures["routes"]), "emergency": emergency}

    def _refuse_half_an_emergency(self, cleaned: Mapping[str, Any]) -> None:
        """A row on the emergency sheet says everything that is drawn up by, and where its figures are from."""
        if not cleaned.get("emergency_per_kg") or self.errors:
            return
        for name in ("strength_per_ml", "route", "source"):
            if not cleaned.get(f"emergency_{name}"):
                self.add_error(f"emergency_{name}", _("The emergency sheet needs this: fill it in, or leave the emergency dose empty."))
        units = {cleaned["unit"], cleaned["emergency_strength_unit"]}
        if AmountUnit.UNIT in units and len(units) > 1:
            self.add_error("emergency_strength_unit", _("Dose and strength must both be in units, or both in mg or micrograms."))


class NewRowForm(RowForm):
    """A row of the hospital's own."""

    drug = forms.CharField(
        label=gettext_lazy("Medicine"), max_length=80, help_text=gettext_lazy("The generic name, in full."),
        error_messages={"required": gettext_lazy("Name the medicine.")},
    )  # fmt: skip
    group = forms.ModelChoiceField(TaxonGroup.objects.order_by("name"), label=gettext_lazy("For"), empty_label=gettext_lazy("Choose"))
    source = forms.CharField(
        label=gettext_lazy("Where these figures are from"), max_length=250,
        error_messages={"required": gettext_lazy("Name the book, the paper or the person.")},
    )  # fmt: skip
    field_order = ["drug", "group", "source"]
    seen_version = None

    def clean(self) -> Mapping[str, Any]:
        self.cleaned_data["seen_version"] = 0
        cleaned = super().clean()
        if self.errors:
            return cleaned
        return {"figures": cleaned["figures"], **{name: self.cleaned_data[name] for name in ("drug", "group", "source")}}


def _refuse_falling(form: forms.Form, cleaned: Mapping[str, Any], low: str, high: str, *, may_be_equal: bool = True) -> None:
    lower, upper = cleaned.get(low), cleaned.get(high)
    if lower is None or upper is None or lower < upper or (may_be_equal and lower == upper):
        return
    words = {"high": form.fields[high].label, "low": form.fields[low].label}
    sentence = _("“%(high)s” cannot be less than “%(low)s”.") if may_be_equal else _("“%(high)s” must be more than “%(low)s”.")
    form.add_error(high, sentence % words)


def start(entry: Entry) -> dict[str, Any]:
    """The figures of a row as the form shows them."""
    shown = {name: getattr(entry, name) for name in FIGURES}
    shown |= {name: f"{shown[name].normalize():f}" for name in DECIMALS if isinstance(shown[name], Decimal)}
    told = entry.emergency.to_json() if entry.emergency else {"strength_unit": entry.unit.value}
    shown |= {f"emergency_{name}": told.get(name, "") for name in EMERGENCY}
    return shown | {"unit": entry.unit.value, "routes": list(entry.routes)}
