"""Drugs in a running infusion, and two ways of carrying a dose over to another body. Decimals, unrounded.

Convention where sources differ: the volume of a bag or syringe is the whole that is given, the drug within it; fluid of
the drug's own volume is taken out first. A source that adds the drug on top of a full bag gives a little less than it says.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum

from hospital.rules.doses import DoseRefused, amount, exact_ml


class Per(StrEnum):
    """The time that a rate is for."""

    MINUTE = "minute"
    HOUR = "hour"
    DAY = "day"


# Body weight by body surface, kg per m²: Nair & Jacob 2016, J Basic Clin Pharm 7(2):27-31 (the FDA's table), read in a copy.
KM = {
    "mouse": 3, "hamster": 5, "rat": 6, "ferret": 7, "guinea_pig": 8, "rabbit": 12, "dog": 20, "micro_pig": 27, "mini_pig": 35,
    "human": 37,
}  # fmt: skip


def per_hour(rate: Decimal, per: Per) -> Decimal:
    """A rate for each hour."""
    value = amount("rate", rate)
    if per is Per.MINUTE:
        return value * 60
    return value / 24 if per is Per.DAY else value


def infused_per_hour(weight_g: Decimal, per_kg_per_hour: Decimal) -> Decimal:
    """What an animal gets in an hour, in the unit of the rate."""
    return amount("weight_g", weight_g) * amount("per_kg_per_hour", per_kg_per_hour) / 1000


def ml_per_hour(weight_g: Decimal, per_kg_per_hour: Decimal, per_ml: Decimal) -> Decimal:
    """What the pump is set to; rate and strength in one unit."""
    return exact_ml(infused_per_hour(weight_g, per_kg_per_hour), per_ml)


def amount_in_bag(weight_g: Decimal, per_kg_per_hour: Decimal, bag_ml: Decimal, pump_ml_per_hour: Decimal) -> Decimal:
    """How much drug a bag or syringe holds, so that the pump at its rate gives the dose."""
    hours = amount("bag_ml", bag_ml) / amount("pump_ml_per_hour", pump_ml_per_hour)
    return infused_per_hour(weight_g, per_kg_per_hour) * hours


def diluent_ml(bag_ml: Decimal, drugs_ml: Sequence[Decimal]) -> Decimal:
    """The fluid beside the drugs, so that all together fill the bag. Raises DoseRefused when the drugs do not fit."""
    left = amount("bag_ml", bag_ml) - sum((amount("drug_ml", each) for each in drugs_ml), Decimal(0))
    if left < 0:
        raise DoseRefused("The drugs alone are more than the bag or syringe holds.")
    return left


def given_per_kg_per_hour(drug_ml: Decimal, per_ml: Decimal, bag_ml: Decimal, ml_per_kg_per_hour: Decimal) -> Decimal:
    """What an animal gets per kg and hour from a bag of so many mL that has a volume of drug in it."""
    in_bag = amount("drug_ml", drug_ml) * amount("per_ml", per_ml) / amount("bag_ml", bag_ml)
    return in_bag * amount("ml_per_kg_per_hour", ml_per_kg_per_hour)


def surface_m2(height_cm: Decimal, weight_g: Decimal) -> Decimal:
    """Body surface of a person, in m²: the root of height times weight over 3,600 (Mosteller 1987). Not made for animals."""
    return (amount("height_cm", height_cm) * amount("weight_g", weight_g) / 1000 / 3600).sqrt()


def scaled(dose_per_kg: Decimal, from_km: Decimal, to_km: Decimal) -> Decimal:
    """A dose per kg carried to another species by body surface: a start for a vet's thinking, never evidence."""
    return amount("dose_per_kg", dose_per_kg) * amount("from_km", from_km) / amount("to_km", to_km)
