"""Figures with their interval in words, and where they lie on a scale of a hundred."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from hospital.rules.statistics import Estimate

register = template.Library()


@register.filter
def percent(estimate: Estimate | None) -> str:
    """A share as "42 % (31 to 54)", without the brackets where no interval is known; a dash for no figure."""
    if estimate is None:
        return "–"
    value = _("%(percent)s %%") % {"percent": _whole(estimate.value)}
    if estimate.low is None or estimate.high is None:
        return value
    return _("%(value)s (%(low)s to %(high)s)") % {"value": value, "low": _whole(estimate.low), "high": _whole(estimate.high)}


def _whole(share: float) -> str:
    return number_format(round(100 * share), use_l10n=True)


@register.filter
def of_hundred(share: float) -> float:
    return round(100 * share, 1)


@register.filter
def estimate_of(mark: Any, fate: str) -> Estimate | None:
    return mark.of(fate)


@register.filter
def word_of(words: Mapping[str, str], key: str) -> str:
    return words[key]
