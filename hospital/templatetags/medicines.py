"""Amounts in templates, by the one set of rules for reading them safely (hospital.rules.wording)."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from django import template
from django.utils.translation import gettext

from hospital.rules import wording
from hospital.words import tongue as _tongue

register = template.Library()


@register.filter
def grams(weight_g: Decimal) -> str:
    """An animal's weight: "812 g"."""
    return wording.body_weight(weight_g, _tongue())


@register.filter
def rounded_grams(weight_g: Decimal) -> str:
    """A weight that was worked out, to a gram, below 100 g to a tenth: "594 g"."""
    return wording.body_weight(round(weight_g, 0 if weight_g >= 100 else 1), _tongue())


@register.filter
def drug_amount(amount: Decimal, unit: str) -> str:
    """An amount of a medicine, to four significant digits: "162.4 micrograms", "5 mg", "4 units"."""
    return wording.drug_amount(wording.readable(amount), wording.Unit(unit), _tongue())


@register.filter
def as_written(amount: Decimal, unit: str) -> str:
    """An amount in its own unit whatever its size, beside a box that takes that unit: "0.2 mg"."""
    return wording.quantity(amount, wording.Unit(unit), _tongue())


@register.filter
def per_ml(amount: Decimal, unit: str) -> str:
    """A strength as on the bottle: "0.3 mg per mL"."""
    return wording.strength(amount, wording.Unit(unit), _tongue())


@register.filter
def keeping(discard_days: int | None) -> str:
    """What becomes of an opened bottle: "discard 5 days after opening"."""
    return wording.discard_after(discard_days, _tongue())


@register.filter
def millilitres(volume_ml: Decimal | str) -> str:
    """A volume, to four places: "0.03 mL". A pack that was frozen holds its figures as text."""
    return wording.quantity(wording.rounded(Decimal(volume_ml), 4), wording.Unit.ML, _tongue())


@register.filter
def percent(share: Decimal) -> str:
    """A share to a tenth: "−4.8%"."""
    return wording.quantity(wording.rounded(share, 1), wording.Unit.PERCENT, _tongue())


@register.filter
def every_hours(hours: int) -> str:
    """How often: "once a day"."""
    return wording.every(hours, _tongue())


@register.filter
def routes(names: Iterable[str]) -> str:
    """Ways of giving a medicine: "by mouth or by injection under the skin"."""
    ways = [gettext(wording.ROUTES[wording.Route(name)]) for name in names]
    return (" " + gettext("or") + " ").join(ways)
