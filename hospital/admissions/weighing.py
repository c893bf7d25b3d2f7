"""A weight as it is typed: what it means against the earlier ones, in words, and the drawing beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _

from hospital.admissions.days import in_words
from hospital.admissions.forms import WeightField
from hospital.admissions.models import Patient
from hospital.admissions.weights_svg import WeightChart, weight_chart
from hospital.rules.weights import Level, Weighing, alarm_for, calls_below_g, change_percent, is_slip, reference_g, standing
from hospital.rules.wording import body_weight, number, rounded


@dataclass(frozen=True, slots=True)
class Call:
    """What a weight says: sentences, and how soon a vet hears of it."""

    level: Level
    lines: tuple[str, ...]

    @property
    def is_urgent(self) -> bool:
        return self.level is not Level.NONE


def weighings_of(patient: Patient) -> list[Weighing]:
    """In the order of time."""
    zone = ZoneInfo(patient.hospital.zone)
    return [Weighing(row.weighed_at.astimezone(zone).date(), row.weight_g) for row in patient.weights.order_by("weighed_at", "pk")]


def chart_of(patient: Patient, weighings: Sequence[Weighing], on: date) -> WeightChart | None:
    """Its curve, and for an animal in care the weights at which the next weighing asks for a call."""
    calls = calls_below_g(weighings, on, alarm_for(patient.species.group.lineage())) if patient.is_in_care else None
    return weight_chart(weighings, calls or ())


def call_as_typed(patient: Patient, earlier: Sequence[Weighing], typed: str, on: date) -> Call | None:
    """What a weight that somebody types says; None while it is no weight, and before there is one to hold it against."""
    try:
        weight_g = WeightField(required=False).clean(typed)
    except ValidationError:
        return None
    return call_for(patient, earlier, weight_g, on) if weight_g else None


def call_for(patient: Patient, earlier: Sequence[Weighing], weight_g: Decimal, on: date) -> Call | None:
    """What a weight of that day says against those of earlier days and of that day."""
    before = [each for each in earlier if each.on <= on]
    if not before:
        return None
    if is_slip(weight_g, [each.weight_g for each in before]):
        words = _("The weight before was %(before)s: five times as much or a fifth. Is the point in the right place?")
        return Call(Level.NONE, (words % {"before": body_weight(before[-1].weight_g)},))
    alarm = alarm_for(patient.species.group.lineage())
    stands = standing([*before, Weighing(on, weight_g)], alarm)
    reference = reference_g(before, on, alarm.now_days if stands.level is Level.NOW else alarm.today_days)
    lines = [_against(before[-1], weight_g)]
    if reference > weight_g and reference != before[-1].weight_g:
        said = {"percent": _share(reference, weight_g), "reference": body_weight(reference)}
        lines.append(_("%(percent)s%% below %(reference)s, the weight that it is held against.") % said)
    urgent = {Level.NOW: _("A vet should look at it now."), Level.TODAY: _("A vet should hear of it today."), Level.NONE: ""}
    return Call(stands.level, tuple(filter(None, [*lines, urgent[stands.level]])))


def _against(last: Weighing, weight_g: Decimal) -> str:
    said = {"percent": _share(last.weight_g, weight_g), "on": in_words(last.on), "then": body_weight(last.weight_g)}
    if weight_g == last.weight_g:
        return _("As on %(on)s.") % said
    less, more = _("%(percent)s%% less than on %(on)s (%(then)s)."), _("%(percent)s%% more than on %(on)s (%(then)s).")
    return (less if weight_g < last.weight_g else more) % said


def _share(from_g: Decimal, to_g: Decimal) -> str:
    return number(rounded(abs(change_percent(from_g, to_g)), 1))


# --- on a page ----------------------------------------------------------------------------------------------------


def called_as_typed(patient: Patient, day: str) -> dict[str, str]:
    """Attributes of a weight's field that keep the line below it true while somebody types; `day`: the name of the field of the day."""
    return {
        "hx-get": reverse("admissions:weight-call", args=[patient.case_number]),
        "hx-trigger": "input changed delay:300ms",
        "hx-target": "#weight-call",
        "hx-swap": "outerHTML",
        "hx-include": f"[name={day}]",
    }


def say_call(request: HttpRequest, patient: Patient, earlier: Sequence[Weighing], weight_g: Decimal, on: date) -> None:
    """Once saved the next page says it too: without scripts nobody has seen it before."""
    call = call_for(patient, earlier, weight_g, on)
    if call:
        (messages.warning if call.is_urgent else messages.info)(request, " ".join(call.lines))
