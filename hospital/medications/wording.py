"""A recorded order as the one medication line: every page, pack and label gets it from here."""

from __future__ import annotations

from decimal import Decimal

from django.utils.translation import gettext

from hospital.medications.models import MedicationOrder
from hospital.rules.wording import Medication, Part, Route, Tongue, medication_line, medication_parts


def tongue() -> Tongue:
    """The reader's language."""
    return Tongue(say=gettext)


def readable_mg(dose_mg: Decimal) -> Decimal:
    """A dose to four significant digits: for reading only."""
    return round(dose_mg, 3 - dose_mg.adjusted())


def as_medication(order: MedicationOrder) -> Medication:
    """What the line says: the dose as ordered, the volume to the syringe's mark."""
    return Medication(
        drug=order.drug,
        dose=readable_mg(order.dose_mg),
        route=Route(order.route),
        every_hours=order.every_hours,
        doses=order.doses,
        strength_per_ml=order.mg_per_ml,
        volume_ml=order.volume_ml,
        note=order.instruction,
    )


def line(order: MedicationOrder) -> str:
    """The whole line as text."""
    return medication_line(as_medication(order), tongue())


def parts(order: MedicationOrder) -> tuple[tuple[Part, str], ...]:
    """The pieces of the line, for a page that shows some of them bold."""
    return medication_parts(as_medication(order), tongue())
