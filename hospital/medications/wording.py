"""A recorded order as the one medication line: every page, pack and label gets it from here."""

from __future__ import annotations

from django.utils.translation import gettext

from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.rules.dosetimes import LateDose
from hospital.rules.wording import Medication, Part, Route, Unit, drug_amount, medication_line, medication_parts, quantity, readable
from hospital.words import said, tongue


def as_medication(order: MedicationOrder) -> Medication:
    """What the line says: the dose as ordered, to four significant digits; the volume to the syringe's mark."""
    return Medication(
        drug=order.drug,
        dose=readable(order.dose_amount),
        dose_unit=Unit(order.dose_unit),
        route=Route(order.route),
        every_hours=order.every_hours,
        doses=order.doses,
        strength_per_ml=order.strength_per_ml,
        strength_unit=Unit(order.strength_unit),
        dilution_parts=order.dilution_parts,
        volume_ml=order.volume_ml,
        discard_days=order.discard_days,
        note=note(order),
    )


def note(order: MedicationOrder) -> str:
    """What the vet wrote for whoever gives it, and what a late dose does when it is not the usual."""
    moves = gettext("Given late, it moves the later doses by as much.") if order.late_dose == LateDose.SHIFT else ""
    return f"{said(order.instruction)} {moves}".strip()


def dose_in_words(order: MedicationOrder) -> str:
    """The dose alone: "162.4 micrograms", "4 units"."""
    return drug_amount(readable(order.dose_amount), Unit(order.dose_unit), tongue())


def other_amount(dose: DoseGiven) -> str:
    """ "0.1 mL instead of 0.16 mL" for a dose that was not given as ordered; else empty."""
    if dose.given_ml is None:
        return ""
    told = {name: quantity(ml, Unit.ML, tongue()) for name, ml in (("given", dose.given_ml.normalize()), ("ordered", dose.order.volume_ml))}
    return gettext("%(given)s instead of %(ordered)s") % told


def line(order: MedicationOrder) -> str:
    """The whole line as text."""
    return medication_line(as_medication(order), tongue())


def parts(order: MedicationOrder) -> tuple[tuple[Part, str], ...]:
    """The pieces of the line, for a page that shows some of them bold."""
    return medication_parts(as_medication(order), tongue())
