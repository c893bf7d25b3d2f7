"""Sums beside an order: infusions, dilutions, strengths. Each is a small form that answers in words and saves nothing."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.medications.forms import AmountField
from hospital.medications.models import DoseUnit
from hospital.medications.wording import tongue
from hospital.rules import infusions
from hospital.rules.doses import AmountUnit, DoseRefused, UnitsDiffer, converted, diluted_per_ml, exact_ml, mg_per_ml_of_percent
from hospital.rules.infusions import KM, Per
from hospital.rules.wording import Unit, drug_amount, quantity, readable, strength

Answer = list[tuple[str, str]]


def _figure(label: Any, unit: Any, **kwargs: Any) -> AmountField:
    return AmountField(gettext_lazy("Give a figure."), label=label, unit=unit, **kwargs)


def _ml(value: Decimal) -> str:
    return quantity(readable(value), Unit.ML, tongue())


class SumForm(forms.Form):
    """One sum. `answer` holds label and words for each figure once the form is right."""

    title: Any = ""
    hint: Any = ""

    def clean(self) -> dict:
        data = super().clean()
        if not self.errors:
            try:
                self.answer = self.worked(**data)
            except UnitsDiffer:
                raise ValidationError(_("Dose and strength must both be in units, or both in mg or micrograms.")) from None
            except DoseRefused:
                raise ValidationError(_("The drugs alone are more than the bag or syringe holds.")) from None
        return data

    def worked(self, **data: Any) -> Answer:
        raise NotImplementedError


class InfusionForm(SumForm):
    title = gettext_lazy("Infusion: what goes into the bag or syringe")
    hint = gettext_lazy("The volume is the whole: take out as much fluid as you put drug in.")

    weight_g = _figure(gettext_lazy("Weight"), gettext_lazy("g"))
    rate = _figure(gettext_lazy("Dose per kg"), "")
    unit = forms.ChoiceField(label=gettext_lazy("Counted in"), choices=DoseUnit.choices, initial=DoseUnit.MG)
    per = forms.ChoiceField(
        label=gettext_lazy("In each"),
        choices=[(Per.MINUTE, gettext_lazy("minute")), (Per.HOUR, gettext_lazy("hour")), (Per.DAY, gettext_lazy("day"))],
        initial=Per.HOUR,
    )
    per_ml = _figure(gettext_lazy("Strength"), gettext_lazy("per mL"))
    strength_unit = forms.ChoiceField(label=gettext_lazy("Strength counted in"), choices=DoseUnit.choices, initial=DoseUnit.MG)
    bag_ml = _figure(gettext_lazy("Bag or syringe"), gettext_lazy("mL"))
    pump_ml_per_hour = _figure(gettext_lazy("Pump"), gettext_lazy("mL an hour"))

    def worked(self, *, weight_g, rate, unit, per, per_ml, strength_unit, bag_ml, pump_ml_per_hour) -> Answer:
        hourly = infusions.per_hour(rate, Per(per))
        in_bag = infusions.amount_in_bag(weight_g, hourly, bag_ml, pump_ml_per_hour)
        drug_ml = exact_ml(converted(in_bag, AmountUnit(unit), AmountUnit(strength_unit)), per_ml)
        diluent = infusions.diluent_ml(bag_ml, [drug_ml])
        undiluted = infusions.ml_per_hour(weight_g, converted(hourly, AmountUnit(unit), AmountUnit(strength_unit)), per_ml)
        an_hour = drug_amount(readable(infusions.infused_per_hour(weight_g, hourly)), Unit(unit), tongue())
        whole = drug_amount(readable(in_bag), Unit(unit), tongue())
        return [
            (_("The animal gets in an hour"), an_hour),
            (_("Drug into the bag"), _("%(volume)s, which is %(amount)s") % {"volume": _ml(drug_ml), "amount": whole}),
            (_("Fluid beside it"), _ml(diluent)),
            (_("Undiluted instead, in an hour"), _ml(undiluted)),
        ]  # fmt: skip


class BagForm(SumForm):
    title = gettext_lazy("What a bag gives")
    hint = gettext_lazy("The bag’s volume is the whole, with the drug in it.")

    drug_ml = _figure(gettext_lazy("Drug in the bag"), gettext_lazy("mL"))
    per_ml = _figure(gettext_lazy("Strength of the drug"), gettext_lazy("mg per mL"))
    bag_ml = _figure(gettext_lazy("Bag"), gettext_lazy("mL"))
    ml_per_kg_per_hour = _figure(gettext_lazy("Pump"), gettext_lazy("mL per kg and hour"))

    def worked(self, *, drug_ml, per_ml, bag_ml, ml_per_kg_per_hour) -> Answer:
        hourly = infusions.given_per_kg_per_hour(drug_ml, per_ml, bag_ml, ml_per_kg_per_hour)
        return [
            (_("Per kg and hour"), drug_amount(readable(hourly), Unit.MG, tongue())),
            (_("Per kg and minute"), drug_amount(readable(hourly / 60), Unit.MG, tongue())),
        ]


class DilutionForm(SumForm):
    title = gettext_lazy("Diluting")
    hint = gettext_lazy("The final volume is both together.")

    per_ml = _figure(gettext_lazy("Strength"), gettext_lazy("per mL"))
    unit = forms.ChoiceField(label=gettext_lazy("Counted in"), choices=DoseUnit.choices, initial=DoseUnit.MG)
    take_ml = _figure(gettext_lazy("Take of it"), gettext_lazy("mL"))
    add_ml = _figure(gettext_lazy("Add of the diluent"), gettext_lazy("mL"))

    def worked(self, *, per_ml, unit, take_ml, add_ml) -> Answer:
        return [
            (_("Strength then"), strength(readable(diluted_per_ml(per_ml, take_ml, add_ml)), Unit(unit), tongue())),
            (_("Volume then"), _ml(take_ml + add_ml)),
        ]


class PercentForm(SumForm):
    title = gettext_lazy("Percent on the bottle")
    hint = gettext_lazy("Weight in volume: 1% is 10 mg in each mL.")

    percent = _figure(gettext_lazy("Strength"), "%")

    def worked(self, *, percent) -> Answer:
        return [(_("Strength"), strength(mg_per_ml_of_percent(percent), Unit.MG, tongue()))]


SPECIES = {
    "mouse": gettext_lazy("mouse"), "hamster": gettext_lazy("hamster"), "rat": gettext_lazy("rat"),
    "ferret": gettext_lazy("ferret"), "guinea_pig": gettext_lazy("guinea pig"), "rabbit": gettext_lazy("rabbit"),
    "dog": gettext_lazy("dog"), "micro_pig": gettext_lazy("micro-pig"), "mini_pig": gettext_lazy("mini-pig"),
    "human": gettext_lazy("person"),
}  # fmt: skip


class SpeciesForm(SumForm):
    title = gettext_lazy("From one species to another")
    hint = gettext_lazy(
        "By body surface, after the table of Nair and Jacob 2016. A start for a vet’s thinking, never evidence:"
        " reptiles, birds and amphibians are not in it."
    )

    dose = _figure(gettext_lazy("Dose per kg"), gettext_lazy("mg"))
    from_species = forms.ChoiceField(label=gettext_lazy("Known in"), choices=SPECIES.items())
    to_species = forms.ChoiceField(label=gettext_lazy("Wanted for"), choices=SPECIES.items())

    def worked(self, *, dose, from_species, to_species) -> Answer:
        scaled = infusions.scaled(dose, Decimal(KM[from_species]), Decimal(KM[to_species]))
        return [(_("Dose per kg"), quantity(readable(scaled), Unit.MG, tongue()))]


SUMS: dict[str, type[SumForm]] = {
    "infusion": InfusionForm,
    "bag": BagForm,
    "dilution": DilutionForm,
    "percent": PercentForm,
    "species": SpeciesForm,
}
