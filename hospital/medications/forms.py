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
from hospital.medications.actions import checked_order, course_of
from hospital.medications.dosing import CannotBeDrawnUp, Flag, Sheet, flags, judge_for, sheet, stops, weight_doubt, weight_slip
from hospital.medications.formulary import for_animal, reference
from hospital.medications.models import DoseGiven, DoseUnit, LateDoseRule, MedicationOrder, Route
from hospital.medications.queries import Judge, Shelved, recent_weights, rows_in_force
from hospital.medications.wording import tongue
from hospital.numbers import CommaDecimalField
from hospital.people.models import Person
from hospital.register.forms import AmountField as RegisterAmountField
from hospital.register.forms import SignedForm
from hospital.register.models import Kind, RegisterPage
from hospital.rules.doses import SYRINGES, Dilution
from hospital.rules.dosetimes import LateDose
from hospital.rules.formulary import Entry, Finding
from hospital.rules.weights import good_for_days
from hospital.rules.wording import TALL_MAN, Unit, quantity


class AmountField(CommaDecimalField):
    """A positive decimal with its unit."""

    def __init__(self, required_words: Any, *, unit: Any, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"})
        limits = {
            "min_value": Decimal("0.0001"),
            "max_value": Decimal("9999999"),
            "max_digits": 11,
            "decimal_places": 4,
        }
        super().__init__(widget=widget, **limits, **kwargs)
        self.unit = unit
        self.error_messages["required"] = required_words
        self.error_messages["invalid"] = _("Give a number, for example 0.2.")
        self.error_messages["min_value"] = _("Give a number above 0.")


def whole_number(label: Any, most: int, required_words: Any) -> forms.IntegerField:
    """A whole number from 1 to `most`."""
    sentences = {"required": required_words, "invalid": _("Give a whole number.")}
    widget = forms.NumberInput(attrs={"class": "w-4"})
    return forms.IntegerField(label=label, min_value=1, max_value=most, widget=widget, error_messages=sentences)


def unit_field(label: Any, **kwargs: Any) -> forms.ChoiceField:
    """What an amount counts, beside the amount. Unit names are never shortened."""
    return forms.ChoiceField(label=label, choices=DoseUnit.choices, initial=DoseUnit.MG, **kwargs)


def late_dose_field() -> forms.TypedChoiceField:
    """What a late dose does to the rest; as usual nothing."""
    field = forms.TypedChoiceField(
        label=_("When a dose is late"), choices=LateDoseRule, initial=LateDoseRule.KEEP_TIMES, coerce=LateDose,
        empty_value=LateDose.KEEP_TIMES, required=False,
    )  # fmt: skip
    field.says_optional = True  # something is always chosen
    return field


def syringe_choices() -> list[tuple[str, Any]]:
    """The syringes of the list with their marks, and the smallest that holds the dose."""
    words = _("%(capacity)s, marks %(step)s apart")
    sizes = [
        (
            _plain(each.capacity_ml),
            words
            % {
                "capacity": quantity(each.capacity_ml, Unit.ML, tongue()),
                "step": quantity(each.graduation_ml, Unit.ML, tongue()),
            },
        )
        for each in SYRINGES
    ]
    return [("", _("The smallest that holds it")), *sizes]


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


class OrderForm(forms.ModelForm):
    """A course. Fields that ask for a second look are there only while something asks for it.

    After validation `sheet` holds what was worked out, or None; `refusals` says why it cannot be given so; `flags` what
    speaks against it.
    """

    dose_per_kg = AmountField(_("Give the dose per kg."), label=_("Dose per kg"), unit=_("per kg"))
    dose_unit = unit_field(_("Dose counted in"))
    strength_per_ml = AmountField(
        _("Give the strength, as on the bottle."),
        label=_("Strength"),
        unit=_("per mL"),
        help_text=_("As on the bottle in your hand."),
    )
    strength_unit = unit_field(_("Strength counted in"))
    dilution_parts = forms.IntegerField(
        label=_("Diluted to"),
        min_value=1,
        max_value=1000,
        required=False,
        help_text=_("Parts in all for 1 part of the bottle. 1: not diluted."),
        widget=forms.NumberInput(attrs={"class": "w-4"}),
        error_messages={"invalid": _("Give a whole number."), "min_value": _("Give 1 if it is not diluted.")},
    )
    syringe_ml = forms.TypedChoiceField(label=_("Syringe"), choices=syringe_choices, coerce=Decimal, empty_value=None, required=False)
    every_hours = whole_number(_("Every"), 24 * 366, _("Give the hours from one dose to the next."))
    doses = whole_number(_("Number of doses"), 400, _("Give the number of doses."))
    first_dose_at = moment_field(_("First dose"))
    late_dose = late_dose_field()
    is_weight_checked = forms.BooleanField(label=_("This weight is right"), required=False)
    is_warning_read = forms.MultipleChoiceField(
        label=_("I have read this and mean the order"),
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
    )
    stops_earlier = forms.BooleanField(label=_("Stop the earlier course today"), required=False)
    seen_weight_g = forms.DecimalField(required=False, widget=forms.HiddenInput)

    class Meta:
        model = MedicationOrder
        fields = [
            "drug",
            "dose_per_kg",
            "dose_unit",
            "strength_per_ml",
            "strength_unit",
            "dilution_parts",
            "route",
            "every_hours",
            "doses",
            "first_dose_at",
            "late_dose",
            "instruction",
            "dose_reason",
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
        self.flags: list[Flag] = []
        self.dilution: Dilution | None = None
        self.fields["every_hours"].unit = _("hours")
        self.fields["dilution_parts"].unit = _("parts")
        self.fields["dilution_parts"].says_optional = True
        self.fields["syringe_ml"].says_optional = True
        self.fields["route"].choices = [("", _("Choose")), *Route.choices]
        self.fields["dose_reason"].label = _("Reason for this order")
        self.fields["dose_reason"].says_optional = True  # on the page only when it is asked for, and then it is needed
        if self.recent:
            self.fields["seen_weight_g"].initial = self.recent[0].weight_g
        self.warned = stops(patient, self._typed("drug"), self._typed("route"))[1]
        self._offer_warnings()
        self.slip = weight_slip(self.recent)
        self.doubt = self._doubt()
        self.judge: Judge = judge_for(patient, self._typed("drug"), self._typed("route"))

    def _doubt(self) -> str:
        if not self.recent or self.slip:
            return ""
        zone, days = self.patient.hospital.zone, good_for_days(self.patient.species.group.lineage())
        return weight_doubt(self.recent, today(zone), zone, days)

    def _typed(self, name: str) -> str:
        return str(self[name].value() or "")

    def _offer_warnings(self) -> None:
        """A box for each warning, so that one ticked for another medicine says nothing about this one."""
        field = self.fields["is_warning_read"]
        field.says_optional = True  # it is not: the order waits for it
        field.choices = [(stop.slug, f"{stop.reason} ({stop.source})") for stop in reference().stops]
        field.widget.choices = [(stop.slug, f"{stop.reason} ({stop.source})") for stop in self.warned]

    @property
    def asks_reason(self) -> bool:
        return bool(self.flags)

    @property
    def needs_second_vet(self) -> bool:
        return any(flag.needs_second_vet for flag in self.flags)

    @property
    def offers_to_stop(self) -> bool:
        """Whether an earlier course of the same medicine can be stopped with this order."""
        return not self.needs_second_vet and any(flag.finding is Finding.SAME_MEDICINE for flag in self.flags)

    def proposals(self) -> list[Shelved]:
        """Rows for this animal: what is in force here, then what the reference list proposes."""
        lineage = self.patient.species.group.lineage()
        adopted = rows_in_force(self.patient.hospital)
        rows = {row.slug: row for row in reference().rows} | {slug: entry for slug, (entry, _) in adopted.items()}
        listed = {row.slug: row for row in reference().rows}
        fitting = for_animal(rows.values(), lineage)
        shelved = [
            Shelved(listed.get(entry.slug), adopted[entry.slug][1] if entry.slug in adopted else None, entry) for entry in fitting
        ]
        return sorted(shelved, key=lambda each: each.adoption is None)

    def names(self) -> list[tuple[str, str]]:
        """Medicines to pick from: the name, and the same with its tall letters where two are easily confused."""
        names = dict.fromkeys(each.entry.drug for each in self.proposals())
        return [(name, TALL_MAN.get(name, name)) for name in names]

    def clean(self) -> dict:
        data = super().clean()
        data["dilution_parts"] = data.get("dilution_parts") or 1
        data["is_warning_read"] = {stop.slug for stop in self.warned} <= set(data.get("is_warning_read") or ())
        self._work_out(data)
        if self.errors:
            return data
        try:
            checked_order(self.patient, by=self.by, **data)
        except ValidationError as refusal:
            self.add_error(None, refusal)
            self._move_weight_on()
        return data

    def validate_constraints(self) -> None:
        """The action asks the table's truths; here the same sentence would only stand twice."""

    def _work_out(self, data: dict) -> None:
        """The sums, as far as what was typed allows: shown although something else is still missing."""
        refused, _warned = stops(self.patient, data.get("drug", ""), data.get("route", ""))
        self.refusals = [f"{stop.reason} ({stop.source})" for stop in refused]
        needed = (
            "dose_per_kg", "dose_unit", "strength_per_ml", "strength_unit", "every_hours", "doses", "first_dose_at", "dilution_parts",
        )  # fmt: skip
        if not self.recent or self.refusals or any(data.get(name) is None for name in needed):
            return
        asked = {name: data[name] for name in needed}
        course = course_of(
            self.patient, drug=data.get("drug", ""), route=data.get("route", ""), syringe_ml=data.get("syringe_ml"), **asked
        )
        if course.drug:
            self.flags = flags(self.patient, course, self.judge)
        try:
            self.sheet = sheet(course, self.recent[0].weight_g, self.judge)
        except CannotBeDrawnUp as refusal:
            self.refusals, self.dilution = refusal.messages, refusal.dilution
        except ValidationError as refusal:
            self.refusals = refusal.messages

    def _move_weight_on(self) -> None:
        """Once the new weight was shown, a second save means it."""
        if "seen_weight_g" in self.errors:
            self.data = self.data.copy()
            self.data[self.add_prefix("seen_weight_g")] = str(self.recent[0].weight_g)


def prefilled(entry: Entry) -> dict[str, Any]:
    """A row as values of the form: the lower end of the dose, the strength if there is just one."""
    strengths = entry.strengths_per_ml
    return {
        "drug": entry.drug,
        "dose_per_kg": _plain(entry.per_kg),
        "dose_unit": entry.unit.value,
        "strength_per_ml": _plain(strengths[0]) if len(strengths) == 1 else "",
        "strength_unit": entry.unit.value,
        "dilution_parts": "",
        "route": entry.routes[0],
        "every_hours": entry.every_hours or "",
        "late_dose": entry.late_dose.value,
    }


def like(order: MedicationOrder) -> dict[str, Any]:
    """An earlier order as values of the form, from its first dose anew."""
    names = (
        "drug", "dose_per_kg", "dose_unit", "strength_per_ml", "strength_unit", "dilution_parts", "route", "every_hours", "doses",
        "late_dose", "instruction",
    )  # fmt: skip
    values = {name: getattr(order, name) for name in names}
    return {name: _plain(value) if isinstance(value, Decimal) else value for name, value in values.items()}


class CountersignForm(forms.Form):
    """The second vet's signature: what they looked at, and that they did the sum themselves."""

    is_sure = forms.BooleanField(
        label=_("I have worked this dose out myself and want it given"),
        error_messages={"required": _("Tick the box if you want it given.")},
    )
    seen_weight_g = forms.DecimalField(widget=forms.HiddenInput)

    def clean(self) -> dict:
        cleaned = super().clean()
        cleaned.pop("is_sure", None)
        return cleaned


class DeclineForm(forms.Form):
    reason = forms.CharField(label=_("Why not?"), max_length=200, error_messages={"required": _("Say why it must not be given.")})


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
    given_ml = AmountField(
        "", label=_("Given instead of the ordered amount"), unit=_("mL"), required=False,
        help_text=_("Only if it was another amount, of what was drawn up. Then the note says why."),
    )  # fmt: skip
    note = forms.CharField(label=_("Note"), max_length=250, required=False)
    is_not_double = forms.BooleanField(label=_("This is another dose, given on purpose"), required=False)


class KeptDoseForm(SignedForm, DoseForm):
    """A dose of a drug that is kept in the register of controlled drugs: from where, what was wasted, who saw it."""

    kinds = (Kind.GIVEN, Kind.WASTED)
    page = forms.ModelChoiceField(
        RegisterPage.objects.none(), label=_("Taken from"), empty_label=_("Choose"),
        error_messages={"required": _("Say where it was taken from.")},
    )  # fmt: skip
    wasted_ml = RegisterAmountField(
        _("Wasted besides"), least=Decimal(0), required=False,
        help_text=_("What was drawn up and not given. Empty if nothing was."),
    )  # fmt: skip
    late_reason = forms.CharField(label=_("Why is it entered only now?"), max_length=250, required=False)

    def __init__(self, *args: Any, pages: list[RegisterPage], by: Person, **kwargs: Any):
        super().__init__(*args, page=pages[0], by=by, **kwargs)
        self.fields["page"].queryset = RegisterPage.objects.filter(pk__in=[each.pk for each in pages])
        self.fields["page"].label_from_instance = lambda each: each.location
        if len(pages) == 1:
            self.fields["page"].initial = pages[0].pk
        self.fields["late_reason"].says_optional = True  # on the page only when it is asked for
        self.order_fields(["kind", "given_at", "page", "given_ml", "wasted_ml", "note", "late_reason", "witness", "witness_password"])

    def clean(self) -> dict:
        data = super().clean()
        data["wasted_ml"] = data.get("wasted_ml") or Decimal(0)
        return data


class TakeBackForm(forms.Form):
    """Asks, and holds nothing."""

    is_sure = forms.BooleanField(
        label=_("Yes, this was written by mistake"),
        error_messages={"required": _("Tick the box if it was written by mistake.")},
    )

    def clean(self) -> dict:
        super().clean()
        return {}
