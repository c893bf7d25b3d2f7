"""Distances in templates."""

from __future__ import annotations

from decimal import Decimal

from django import template
from django.utils.translation import gettext

from hospital.rules import wording

register = template.Library()


@register.filter
def distance(metres: int) -> str:
    """A distance as one says it: "340 m", "1.2 km", "23 km"."""
    tongue = wording.Tongue(say=gettext)
    if metres < 1000:
        return wording.quantity(metres, wording.Unit.M, tongue)
    km = Decimal(metres) / 1000
    return wording.quantity(wording.rounded(km, 1 if km < 10 else 0), wording.Unit.KM, tongue)
