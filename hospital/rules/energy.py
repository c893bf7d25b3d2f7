"""Energy an animal needs and food that holds it: kilocalories for a day, grams for a meal.

Decimals all the way, rounded once at the end. The formula is constant × kilograms to the power 0.75; the constant is that
of the animal's group. Everything here is a proposal until a licensed vet has signed it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from hospital.rules.doses import LARGEST_ROUNDING_ERROR_PERCENT, amount, to_step

EXPONENT = Decimal("0.75")
KJ_PER_KCAL = Decimal("4.184")  # the thermochemical calorie, exact by definition
PURE_FAT_KCAL_PER_G = Decimal(9)  # the general factor of Atwater for fat, from memory: no food holds more
# The straight-line rule for dogs and cats says nothing outside these weights.
LINEAR_FROM_G, LINEAR_TO_G = Decimal(2000), Decimal(45000)
# What a scale or a syringe shows, by the size of the amount: common practice, no source.
STEPS = ((Decimal(1), Decimal("0.01")), (Decimal(10), Decimal("0.1")))
COARSEST = Decimal(1)


@dataclass(frozen=True, slots=True)
class Metabolism:
    """The constant of a group: kilocalories a day at rest of an animal of 1 kg. `usual_factor` makes it the daily need."""

    group: str
    kcal_constant: Decimal
    usual_factor: Decimal
    source: str
    how_known: str
    needs_warmth: bool = False  # holds only at the preferred temperature


_MARSUPIAL = ("Constant of marsupials in textbooks of comparative nutrition (49)", "memory")
_MERCK = ("Merck Veterinary Manual, small-animal nutrition: 70 × kg^0.75, for dogs and cats", "read")

METABOLISMS = (
    Metabolism("bird", Decimal(78), Decimal("1.5"), "Bartges & Ritchie, Compendium, August 1999: 78 × kg^0.75, times 1.5", "read"),
    Metabolism(
        "passerine", Decimal(129), Decimal("1.5"),
        "Duerr & Gage, Hand-Rearing Birds, 2nd ed. 2020, Appendix B, Table B.1: 129 × kg^0.75, times 1.5", "read",
    ),
    Metabolism("mammal", Decimal(70), Decimal("1.5"), *_MERCK),
    *(Metabolism(group, Decimal(49), Decimal("1.5"), *_MARSUPIAL) for group in ("possum-glider", "macropod", "koala", "wombat")),
    Metabolism(
        "reptile", Decimal(32), Decimal("1.5"),
        "Public pages on turtle and tortoise nutrition: 32 × kg^0.75 at about 30 °C, times 1.5", "read (secondary)",
        needs_warmth=True,
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Food:
    """Something to feed, as it is weighed out. `kcal_per_g` None: it stands on the packet, fill it in."""

    name: str
    kcal_per_g: Decimal | None
    source: str
    how_known: str


_INVERTEBRATES = "Finke, Zoo Biology 2002;21:269-285, invertebrates fed whole"
_FINKE, _ABSTRACT = (_INVERTEBRATES, "memory"), (f"{_INVERTEBRATES} (abstract)", "read")
_PACKET = ("From the packet: fill in", "common practice")

FOODS = (
    Food("mealworms", Decimal("2.06"), *_FINKE),
    Food("adult crickets", Decimal("1.40"), *_FINKE),
    Food("waxworms", Decimal("2.741"), *_ABSTRACT),
    Food("silkworms", Decimal("0.674"), *_ABSTRACT),
    Food("earthworms", Decimal("0.71"), *_FINKE),
    Food("whole mice", None, *_PACKET),
    Food("day-old chicks", None, *_PACKET),
    Food("whole small fish", None, *_PACKET),
    Food("tinned cat food", None, *_PACKET),
    Food("tinned dog food", None, *_PACKET),
    Food("recovery food for carnivores", None, *_PACKET),
    Food("recovery food for herbivores", None, *_PACKET),
    Food("milk replacer, made up", None, *_PACKET),
    Food("pellets", None, *_PACKET),
)


@dataclass(frozen=True, slots=True)
class Ration:
    """A feeding plan worked out. `grams_per_meal` is what the scale can show, `exact_g` what it was before rounding."""

    resting_kcal: Decimal
    need_kcal: Decimal
    exact_g: Decimal
    grams_per_meal: Decimal


def by_power(size: Decimal, constant: Decimal, exponent: Decimal = EXPONENT) -> Decimal:
    """Constant × size to the power of an exponent: the shape of every rule of metabolism."""
    with localcontext() as context:
        context.prec = 28
        return amount("constant", constant) * amount("size", size) ** exponent


def resting_kcal(weight_g: Decimal, kcal_constant: Decimal) -> Decimal:
    """Kilocalories a day at rest. The weight is in grams; the constant belongs to kilograms."""
    return by_power(amount("weight_g", weight_g) / 1000, kcal_constant)


def linear_resting_kcal(weight_g: Decimal) -> Decimal | None:
    """30 × kg + 70, for dogs and cats: a second look at a mammal of 2 to 45 kg; None outside, where it misleads."""
    if not LINEAR_FROM_G < amount("weight_g", weight_g) < LINEAR_TO_G:
        return None
    return 30 * weight_g / 1000 + 70


def kcal_of_kj(kj: Decimal) -> Decimal:
    """Kilojoules, as many packets say, in kilocalories."""
    return amount("kj", kj) / KJ_PER_KCAL


def kcal_per_gram(energy: Decimal, *, is_kj: bool = False, grams: int = 1) -> Decimal:
    """What a packet says (kcal or kJ for so many grams) in kcal for one gram. Raises ValueError above pure fat: a slip."""
    kcal = kcal_of_kj(energy) if is_kj else amount("energy", energy)
    if kcal / grams > PURE_FAT_KCAL_PER_G:
        raise ValueError("No food holds more energy than pure fat: look at the packet and the unit.")
    return kcal / grams


def ration(
    weight_g: Decimal, kcal_constant: Decimal, factor: Decimal, kcal_per_g: Decimal, meals_per_day: int, every_days: int = 1
) -> Ration:
    """Grams for each of so many meals on every so many-th day, so that the food of all of them holds the need of all days."""
    if meals_per_day < 1 or every_days < 1:
        raise ValueError("An animal is fed at least one meal, at least one day apart.")
    resting = resting_kcal(weight_g, kcal_constant)
    need = resting * amount("factor", factor)
    exact = need * every_days / amount("kcal_per_g", kcal_per_g) / meals_per_day
    return Ration(resting, need, exact, to_step(exact, step_for(exact)))


def step_for(size: Decimal) -> Decimal:
    """The step that an amount in g or mL is rounded to: at most a twentieth of it from 0.1 on."""
    return next((step for below, step in STEPS if size < below), COARSEST)


def is_too_coarse(exact: Decimal, rounded: Decimal) -> bool:
    """Whether rounding changed an amount by more than 10 %, as only the smallest are."""
    return abs(rounded - exact) * 100 > LARGEST_ROUNDING_ERROR_PERCENT * exact


def metabolism_for(lineage: Sequence[str]) -> Metabolism | None:
    """The constant of the nearest group that has one; None where nobody has told us one (amphibians)."""
    known = {each.group: each for each in METABOLISMS}
    return next((known[group] for group in lineage if group in known), None)


def food_called(name: str) -> Food | None:
    return next((each for each in FOODS if each.name == name.strip().casefold()), None)
