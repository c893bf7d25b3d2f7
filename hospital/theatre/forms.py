"""Forms of the theatre: a line of the list, the check before, one reading, the moments."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import moment_field
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.procedures.queries import clinical_staff
from hospital.procedures.vocabulary import choices, vocabulary
from hospital.rules.anaesthesia import PHYSICAL_STATUS, RECOVERY_EVERY_MINUTES
from hospital.theatre.models import CHECKS, SAID, Anaesthetic, TheatreReading

LIST = ("kind", "planned_on", "place", "vet", "fasting", "note")
BEFORE = (
    "asa", "is_emergency", "fasted", *CHECKS, "tube", "tube_mm", "is_cuffed", "ventilation", "rate_per_minute", "peak_cmh2o", "agents",
    "fluids", "warmth", "check_every_minutes",
)  # fmt: skip
MOMENTS = ("begun_at", "gas_off_at", "extubated_at", "righted_at", "recovered_at")
UNITS = {
    "heart_per_minute": _("a minute"), "breaths_per_minute": _("a minute"), "spo2_percent": "%", "etco2_mmhg": "mmHg",
    "temperature_c": "°C", "vaporiser_percent": "%", "oxygen_l_min": _("L a minute"), "tube_mm": "mm", "peak_cmh2o": "cmH₂O",
}  # fmt: skip
A_PRESS = {  # what one press of plus or minus moves
    "heart_per_minute": "2", "temperature_c": "0.1", "vaporiser_percent": "0.5", "oxygen_l_min": "0.1",
}  # fmt: skip


class PlanForm(forms.ModelForm):
    kind = forms.ChoiceField(label=_("What for"), required=False)
    planned_on = day_field(_("On which day?"), initial=today)

    class Meta:
        model = Anaesthetic
        fields = LIST
        help_texts = {"fasting": _("From when no food and no water, as the vet decides for this animal; or that it is not wanted.")}

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = choices(vocabulary().procedures, _now("No procedure: pictures, a look, a bandage"))
        self.fields["vet"].queryset = clinical_staff(patient)
        if self.instance.pk:
            self.fields["seen_version"] = forms.IntegerField(widget=forms.HiddenInput, initial=self.instance.version)


class CallOffForm(forms.Form):
    called_off = forms.CharField(label=_("Why is it called off?"), max_length=250, error_messages={"required": _("Say why.")})


class CheckForm(forms.ModelForm):
    check_every_minutes = forms.TypedChoiceField(
        label=_("In recovery, look every"), coerce=int, choices=[(n, _("%d minutes") % n) for n in RECOVERY_EVERY_MINUTES],
        help_text=_("Common practice, no source: a reptile every 15 to 30 minutes until it rights itself."),
    )  # fmt: skip
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    class Meta:
        model = Anaesthetic
        fields = BEFORE
        help_texts = {
            "asa": _("Classes of the American Society of Anesthesiologists."),
            "is_cuffed": _("Birds and chelonians have closed tracheal rings: uncuffed is common practice."),
            "peak_cmh2o": _("For reptiles 10 as usual and 15 at most is read in secondary sources; for others follow your own reference."),
            "agents": _("Gas and carrier gas. Medicines that are given stand in the orders and are shown here."),
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        classes = [(each.value, f"{each.name}: {_now(text)}") for each, text in PHYSICAL_STATUS.items()]
        self.fields["asa"].choices = [("", _now("Not recorded")), *classes]
        for name, unit in UNITS.items():
            if name in self.fields:
                self.fields[name].unit = unit

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields in the order in which theatre asks for them."""
        checks = [_now("Before it begins"), ["asa", "is_emergency", "fasted", *CHECKS]]
        airway = [_now("Airway and breathing"), ["tube", "tube_mm", "is_cuffed", "ventilation", "rate_per_minute", "peak_cmh2o"]]
        rest = [_now("Gas, fluids, warmth, recovery"), ["agents", "fluids", "warmth", "check_every_minutes"]]
        return [(heading, [self[name] for name in names]) for heading, names in (checks, airway, rest)]


class MomentsForm(forms.ModelForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    class Meta:
        model = Anaesthetic
        fields = MOMENTS
        field_classes = {}

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in MOMENTS:
            label = self.fields[name].label
            self.fields[name] = moment_field(label, required=name == "begun_at")


class FigureInput(forms.TextInput):
    """A figure, whole or decimal; a comma for a point is understood."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> str:
        return data.get(name, "").replace(",", ".")


class ReadingForm(forms.ModelForm):
    """One mark of the grid. Boxes stay empty until they are pressed or typed: a figure that nobody read is never saved."""

    at = forms.DateTimeField(widget=forms.HiddenInput)
    seen_version = forms.IntegerField(widget=forms.HiddenInput, initial=0)

    class Meta:
        model = TheatreReading
        fields = SAID

    def __init__(self, *args: Any, before: TheatreReading | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name, unit in UNITS.items():
            if name not in self.fields:
                continue
            last = getattr(before, name) if before else None
            box = self.fields[name].widget = FigureInput(attrs={"inputmode": "decimal", "autocomplete": "off", "class": "big"})
            box.attrs |= {"data-step": A_PRESS.get(name, "1"), "data-last": "" if last is None else str(last)}
            self.fields[name].unit, self.fields[name].last = unit, last

    def figures(self) -> list[forms.BoundField]:
        return [self[name] for name in SAID if name in UNITS]

    def words(self) -> list[forms.BoundField]:
        return [self[name] for name in SAID if name not in UNITS]
