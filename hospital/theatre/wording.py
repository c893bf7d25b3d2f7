"""The theatre in words: what an anaesthetic is for, what its moments are called, what is missing, what follows."""

from __future__ import annotations

from datetime import date

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.admissions.models import Patient
from hospital.procedures.vocabulary import name_of, vocabulary
from hospital.theatre.models import CHECKS, Anaesthetic

STEPS = {
    "gas_off_at": gettext_lazy("Gas off now"),
    "extubated_at": gettext_lazy("Tube out now"),
    "righted_at": gettext_lazy("Righted itself now"),
    "recovered_at": gettext_lazy("Recovered: I have looked"),
}


def letters() -> list[tuple[str, str, str]]:
    """The letter on the chart, the field and the words of each moment."""
    fields = Anaesthetic._meta.get_field
    names = ("begun_at", "gas_off_at", "extubated_at", "righted_at", "recovered_at")
    return [(letter, name, fields(name).verbose_name) for letter, name in zip("ABCDE", names, strict=True)]


def kind_name(it: Anaesthetic) -> str:
    """ "Fracture fixation", or that no procedure is planned."""
    return name_of(vocabulary().procedures, it.kind) if it.kind else _("Anaesthetic without a procedure")


def stage_line(it: Anaesthetic) -> str:
    """Where it stands, with the reason if it was called off: "In recovery"."""
    return f"{it.stage.label}: {it.called_off}" if it.called_off else str(it.stage.label)


def missing_checks(it: Anaesthetic) -> list[str]:
    """What nobody has ticked or answered before it begins."""
    asked = [it._meta.get_field(name).verbose_name for name in CHECKS if not getattr(it, name)]
    return [*([] if it.asa else [_("ASA physical status")]), *([] if it.fasted else [_("fasted or not")]), *asked]


def after_list(patient: Patient, it: Anaesthetic, on: date) -> list[dict]:
    """What usually follows an operation (common practice, no source). A tick says that it is recorded since that day, no more."""

    def row(words: str, name: str, is_there: bool, **query: str) -> dict:
        address = reverse(name, args=[patient.case_number])
        asked = "&".join(f"{key}={value}" for key, value in query.items())
        return {"words": words, "url": f"{address}?{asked}" if asked else address, "is_there": is_there}

    orders = patient.medication_orders.filter(ordered_at__date__gte=on)
    return [
        row(_("Procedure written down, with closures, bandages and implants"), "procedures:add", it.procedure is not None),
        row(_("Samples taken, and what is asked of them"), "labs:add", patient.samples.filter(taken_on__gte=on).exists()),
        row(_("Medicines after it: pain, infection"), "medications:order", orders.exists()),
        row(_("Fluids and food"), "feeding:plans", patient.feedingplans.filter(ordered_at__date__gte=on).exists()
            or patient.fluidplans.filter(ordered_at__date__gte=on).exists()),
        row(_("Weight"), "admissions:weigh", patient.weights.filter(weighed_at__date__gte=on).exists()),
        row(_("Bandage on, with its day of change"), "procedures:bandage-on", patient.bandages.filter(applied_on__gte=on).exists()),
    ]  # fmt: skip
