"""Forms for food and fluids. The sums are shown while one types; a vet signs them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.admissions.forms import moment_field
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.feeding.actions import Asked, weight_doubt, work_out_feeding, work_out_fluids
from hospital.feeding.models import FeedingPlan, FluidPlan, FluidRoute
from hospital.feeding.queries import weights_of
from hospital.numbers import CommaDecimalField
from hospital.rules.energy import Metabolism, kcal_per_gram, linear_resting_kcal, metabolism_for
from hospital.rules.fluids import DROPS_PER_ML, MOST_PERCENT, Maintenance, maintenance_for


class FigureField(CommaDecimalField):
    """A decimal with its unit."""

    def __init__(self, *, unit: Any, least: str = "0.0001", most: str = "99999", places: int = 4, required_words: Any = "", **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"})
        super().__init__(widget=widget, min_value=Decimal(least), max_value=Decimal(most), decimal_places=places, **kwargs)
        self.unit = unit
        self.error_messages["required"] = required_words or _("Give a number.")
        self.error_messages["invalid"] = _("Give a number, for example 0.2.")


def count_field(label: Any, most: int, unit: Any, required_words: Any = "", **kwargs: Any) -> forms.IntegerField:
    widget = forms.NumberInput(attrs={"class": "w-4"})
    sentences = {"required": required_words or _("Give a whole number."), "invalid": _("Give a whole number.")}
    field = forms.IntegerField(label=label, min_value=1, max_value=most, widget=widget, error_messages=sentences, **kwargs)
    field.unit = unit
    return field


def plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def giving_sets() -> list[tuple[Any, Any]]:
    words = _("%(n)d drops make 1 mL")
    return [("", _("No drops: a pump or a syringe")), *((n, words % {"n": n}) for n in DROPS_PER_ML)]


class PlanForm(forms.Form):
    """What both forms share. After validation `asked` holds the sums and what speaks against them, or None."""

    figures: tuple[str, ...] = ()

    note = forms.CharField(label=_("Note for whoever gives it"), max_length=250, required=False)
    seen_version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    seen_weight_g = forms.DecimalField(widget=forms.HiddenInput, required=False)
    is_weight_checked = forms.BooleanField(label=_("This weight is right"), required=False)
    is_warning_read = forms.BooleanField(label=_("I have read this and mean it"), required=False)

    def __init__(self, *args: Any, patient: Patient, latest: FeedingPlan | FluidPlan | None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.patient, self.latest = patient, latest
        recent = weights_of(patient)
        self.weight = recent[0] if recent else None
        self.asked: Asked | None = None
        self.refusals: list[str] = []
        self.doubt = weight_doubt(patient, self.weight) if self.weight else ""
        self.fields["seen_version"].initial = latest.version if latest else 0
        self.fields["seen_weight_g"].initial = self.weight.weight_g if self.weight else None
        self.order_fields([name for name in self.fields if name != "note"] + ["note"])

    def clean(self) -> dict:
        data = super().clean()
        data["seen_version"] = data.get("seen_version") or 0
        self._work_out(data)
        return data

    def _work_out(self, data: dict) -> None:
        """The sums, as far as what was typed allows: shown although something else is still missing."""
        if self.weight is None or any(name in self.errors for name in self.figures):
            return
        try:
            self.asked = self.work_out(data)
        except ValidationError as refusal:
            self.refusals = refusal.messages
            self.add_error(None, refusal)

    def add_error(self, field: str | None, error: Any) -> None:
        """What was signed or weighed meanwhile is refused once with its sentence; the next save has seen it."""
        super().add_error(field, error)
        seen = {"seen_version": self.latest.version if self.latest else 0, "seen_weight_g": self.weight.weight_g if self.weight else ""}
        for name in seen.keys() & self.errors.keys():
            self.data = self.data.copy()
            self.data[self.add_prefix(name)] = str(seen[name])

    def work_out(self, data: dict) -> Asked:
        raise NotImplementedError


ENERGY_IN = [
    ("kcal-1", _("kcal for 1 g")),
    ("kcal-100", _("kcal for 100 g")),
    ("kcal-1000", _("kcal for 1 kg")),
    ("kJ-1", _("kJ for 1 g")),
    ("kJ-100", _("kJ for 100 g")),
]


class FeedingForm(PlanForm):
    figures = ("kcal_constant", "factor", "kcal_per_g", "meals_per_day", "every_days")

    food = forms.CharField(
        label=_("Food"), max_length=120, error_messages={"required": _("Say what it is fed.")},
        widget=forms.TextInput(attrs={"list": "foods", "autocomplete": "off"}),
    )  # fmt: skip
    kcal_per_g = FigureField(
        label=_("Energy of the food"), unit="", help_text=_("As fed, from the packet."),
        required_words=_("Give the energy of the food: it stands on the packet."),
    )  # fmt: skip
    energy_in = forms.ChoiceField(label=_("Energy counted in"), choices=ENERGY_IN, required=False, initial="kcal-1")
    kcal_constant = FigureField(
        label=_("Constant"), unit=_("kcal per day at 1 kg"), most="500", places=2, required_words=_("Give the constant of the formula.")
    )
    factor = FigureField(
        label=_("Times"), unit=_("× need at rest"), least="0.1", most="8", places=2,
        help_text=_("Usual keep 1.5. Growing young 1.5 to 3 times that. Never both for illness and growth."),
        required_words=_("Give the factor; 1 for the need at rest."),
    )  # fmt: skip
    kept_at_c = FigureField(label=_("Kept at"), unit="°C", least="-10", most="45", places=1, required=False)
    every_days = count_field(_("Fed every"), 60, _("days"), initial=1)
    meals_per_day = count_field(_("Meals on such a day"), 24, _("meals"), _("Give the number of meals."))

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.known: Metabolism | None = metabolism_for(self.patient.species.group.lineage())
        if self.known:
            self.fields["kcal_constant"].initial = plain(self.known.kcal_constant)
            self.fields["factor"].initial = plain(self.known.usual_factor)
        self.fields["energy_in"].says_optional = True  # it always says something
        if not (self.known and self.known.needs_warmth):
            del self.fields["kept_at_c"]
        else:
            self.fields["kept_at_c"].says_optional = True  # it is not: the action asks for it in its own words

    def clean(self) -> dict:
        data = super().clean()
        data.setdefault("kept_at_c", None)
        return data

    def _work_out(self, data: dict) -> None:
        """What the packet says is turned into kcal for one gram first."""
        unit, _dash, grams = (data.pop("energy_in", "") or "kcal-1").partition("-")
        if data.get("kcal_per_g"):
            try:
                data["kcal_per_g"] = round(kcal_per_gram(data["kcal_per_g"], is_kj=unit == "kJ", grams=int(grams)), 4)
            except ValueError:
                self.add_error("kcal_per_g", _("No food holds more energy than pure fat: look at the packet and the unit."))
        if data.get("kcal_per_g") == 0:
            self.add_error("kcal_per_g", _("That is next to nothing: look at the packet and the unit."))
        super()._work_out(data)

    def work_out(self, data: dict) -> Asked:
        return work_out_feeding(self.patient, self.weight.weight_g, **{name: data[name] for name in self.figures})

    @property
    def linear_kcal(self) -> Decimal | None:
        """A second look by the other formula, for mammals where it holds."""
        is_mammal = "mammal" in self.patient.species.group.lineage()
        return linear_resting_kcal(self.weight.weight_g) if is_mammal and self.weight else None


class FluidForm(PlanForm):
    figures = (
        "route", "ml_per_kg_day", "dehydration_percent", "deficit_hours", "half_in_hours", "losses_ml_day", "times_per_day", "drops_per_ml",
    )  # fmt: skip

    fluid = forms.CharField(label=_("Fluid"), max_length=120, error_messages={"required": _("Name the fluid, in full.")})
    route = forms.ChoiceField(
        label=_("How given"), choices=[("", _("Choose")), *FluidRoute.choices], error_messages={"required": _("Choose how it is given.")}
    )
    ml_per_kg_day = FigureField(label=_("Maintenance"), unit=_("mL per kg a day"), most="500", places=2)
    dehydration_percent = FigureField(
        label=_("Dehydration"), unit=_("% of the weight"), least="0", most=plain(MOST_PERCENT), places=1, initial=0,
        help_text=_("Percent, for example 6. 0 for none."),
    )  # fmt: skip
    deficit_hours = count_field(
        _("Deficit given within"), 240, _("hours"), required=False, help_text=_("Once, and not again on the next day.")
    )
    half_in_hours = count_field(
        _("Half of it within"), 239, _("hours"), required=False,
        help_text=_("Birds: often half in the first 12 to 24 hours. Empty: evenly."),
    )  # fmt: skip
    losses_ml_day = FigureField(
        label=_("Ongoing losses"), unit=_("mL a day"), least="0", places=2, initial=0,
        help_text=_("Vomit, loose droppings, wounds. Urine is in the maintenance already."),
    )  # fmt: skip
    times_per_day = count_field(_("Times a day"), 24, _("times"), required=False, help_text=_("Not for a vein or a bone."))
    drops_per_ml = forms.TypedChoiceField(
        label=_("Giving set"), coerce=int, empty_value=None, required=False,
        choices=giving_sets,
        help_text=_("The number stands on the packet of the set."),
    )  # fmt: skip
    starts_at = moment_field(_("Begins"), initial=now)
    carer_gives = forms.BooleanField(
        label=_("The carer gives it"), required=False,
        help_text=_("Only then is it on the carer’s page and in the pack. Show them how first."),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.known: Maintenance | None = maintenance_for(self.patient.species.group.lineage())
        if self.known:
            self.fields["ml_per_kg_day"].initial = plain(self.known.usual)
        for name in ("deficit_hours", "half_in_hours", "times_per_day", "drops_per_ml"):  # it depends: the hint says it
            self.fields[name].says_optional = True

    def work_out(self, data: dict) -> Asked:
        return work_out_fluids(self.patient, self.weight.weight_g, **{name: data[name] for name in self.figures})


class StopPlanForm(forms.Form):
    reason = forms.CharField(label=_("Why?"), max_length=250, error_messages={"required": _("Say why it is stopped.")})


def like(plan: FeedingPlan | FluidPlan) -> dict[str, Any]:
    """A plan's figures as values of the form, to be changed and signed anew. A deficit is given once: it is not repeated."""
    names = (
        ("food", "kcal_per_g", "kcal_constant", "factor", "kept_at_c", "every_days", "meals_per_day", "note")
        if isinstance(plan, FeedingPlan)
        else ("fluid", "route", "ml_per_kg_day", "losses_ml_day", "times_per_day", "drops_per_ml", "carer_gives", "note")
    )
    values = {name: getattr(plan, name) for name in names}
    return {name: plain(value) if isinstance(value, Decimal) else value for name, value in values.items()}
