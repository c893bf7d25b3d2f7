"""A dose worked out from an animal's weight, and what a vet must look at before it is ordered.

Sums only: what the animal needs is a licensed vet's judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from hospital.admissions.days import in_words
from hospital.admissions.models import Patient, Weight
from hospital.medications.formulary import Stop, largest_mg_per_kg, stops_for
from hospital.rules import weights
from hospital.rules.doses import DoseRefused, DrawUp, TooCoarse, dose_mg, draw_up, volume_to_dispense_ml
from hospital.rules.dosetimes import nth_dose_at
from hospital.rules.wording import Unit, body_weight, mass, number, quantity, rounded

WEIGHT_GOOD_FOR_DAYS = 14  # common practice, no source


@dataclass(frozen=True, slots=True)
class Sheet:
    """One dose and its course. `drawn` holds the exact and the rounded volume; moments are in the hospital's zone."""

    weight_g: Decimal
    drawn: DrawUp
    dispense_ml: Decimal
    last_dose_at: datetime


def sheet(
    weight_g: Decimal,
    *,
    mg_per_kg: Decimal,
    mg_per_ml: Decimal,
    every_hours: int,
    doses: int,
    first_dose_at: datetime,
) -> Sheet:
    """Work a course out. Refuses, as a sentence at `mg_per_ml`, a volume that no syringe can show within 10 %."""
    amount_mg = dose_mg(weight_g, mg_per_kg)
    try:
        drawn = draw_up(amount_mg, mg_per_ml)
    except TooCoarse as refusal:
        raise ValidationError({"mg_per_ml": _too_coarse(refusal, amount_mg, mg_per_ml)}) from refusal
    except DoseRefused as refusal:
        raise ValidationError({"mg_per_ml": str(refusal)}) from refusal
    last = nth_dose_at(first_dose_at, every_hours, doses - 1)
    return Sheet(weight_g, drawn, volume_to_dispense_ml(drawn.volume_ml, doses), last)


def _too_coarse(refusal: TooCoarse, amount_mg: Decimal, mg_per_ml: Decimal) -> str:
    """Why it cannot be drawn up, and the dilution that would do."""
    exact = quantity(rounded(amount_mg / mg_per_ml, 4), Unit.ML)
    sentence = _("%(volume)s cannot be drawn up within 10%% of the dose.") % {"volume": exact}
    if refusal.dilution is None:
        return sentence + " " + _("Use a weaker solution.")
    proposal = _(
        "Proposal: dilute 1 part in %(parts)s parts altogether, to %(strength)s per mL, and draw up %(volume)s."
    )
    return (
        sentence
        + " "
        + proposal
        % {
            "parts": refusal.dilution.parts,
            "strength": mass(refusal.dilution.mg_per_ml),
            "volume": quantity(refusal.dilution.volume_ml, Unit.ML),
        }
    )


def weight_doubt(recent: Sequence[Weight], today: date, zone: str) -> str:
    """Why the newest weight should be looked at before a dose is worked from it; empty when nothing speaks against it.

    `recent` holds the newest weight first, and the one before it.
    """
    newest = recent[0]
    weighed_on = newest.weighed_at.astimezone(ZoneInfo(zone)).date()
    if weights.is_stale(weighed_on, today, WEIGHT_GOOD_FOR_DAYS):
        old = _("The weight is from %(day)s, more than %(days)d days ago.")
        return old % {"day": in_words(weighed_on), "days": WEIGHT_GOOD_FOR_DAYS}
    if len(recent) > 1 and weights.has_changed(recent[1].weight_g, newest.weight_g):
        changed = _("The weight went from %(before)s to %(now)s, more than 10%%.")
        return changed % {"before": body_weight(recent[1].weight_g), "now": body_weight(newest.weight_g)}
    return ""


def stops(patient: Patient, drug: str, route: str) -> tuple[list[Stop], list[Stop]]:
    """What the order meets: refusals, and warnings that may be overridden."""
    species = patient.species
    met = stops_for(drug, species.group.lineage(), species.family, route)
    return [stop for stop in met if stop.is_refused], [stop for stop in met if not stop.is_refused]


def excess(patient: Patient, drug: str, mg_per_kg: Decimal) -> str:
    """Why a dose is out of range: above every figure listed for this medicine and group. Empty when it is not."""
    largest = largest_mg_per_kg(drug, patient.species.group.lineage())
    if largest is None or mg_per_kg <= largest:
        return ""
    return _(
        "The largest dose listed for this group is %(dose)s per kg; this is %(times)s times as much."
    ) % {
        "dose": quantity(largest, Unit.MG),
        "times": number(rounded(mg_per_kg / largest, 1)),
    }
