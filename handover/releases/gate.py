"""What stands against recording a release: the hospital's page of outcomes asks here, by the name in its settings."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.releases.queries import readiness_of_one
from hospital.admissions.models import Patient
from hospital.clock import today


def objection(patient: Patient) -> str:
    """A sentence, or "" if all criteria are met or a vet let the animal go with just these unmet."""
    ready = readiness_of_one(patient, today(patient.hospital.zone))
    unmet = {each.criterion.wording for each in ready.unmet}
    if ready.is_ready or any(unmet <= set(decision.unmet) for decision in patient.go_aheads.filter(decided_at__gte=_since(patient))):
        return ""
    if ready.hold is not None and not unmet:
        return _("A vet has said “not yet”. A vet lets it go all the same on its page “Fit for release?”.")
    if not unmet:
        return _("No release criteria are in force for this animal’s group. A vet lets it go on its page “Fit for release?”.")
    sentence = ngettext(
        "%(count)d criterion for release is not met. See “Fit for release?”: a vet may let it go all the same, with a reason.",
        "%(count)d criteria for release are not met. See “Fit for release?”: a vet may let it go all the same, with a reason.",
        len(unmet),
    )
    return sentence % {"count": len(unmet)}


def _since(patient: Patient):
    """A decision made before the case was last opened again was about another release."""
    last = patient.reopenings.order_by("reopened_at").last()
    return last.reopened_at if last else patient.admitted_at
