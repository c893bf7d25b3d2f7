"""What the night's check found, for a person at a terminal and for a program that sends mail."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.plans.models import Proposal
from handover.plans.nightly import Run, Tally, Unchecked, is_for_a_person
from handover.plans.told import late_sentence, reason_of, sentence_of
from hospital.admissions.days import in_words

Kind = Proposal.Kind
Numbers = Mapping[int, str]  # case numbers by the patient's key
TOLD = (Kind.TROUBLE, Kind.CONFLICT, Kind.CHANGED, Kind.FIRST)  # what cannot wait first


# --- for a person -------------------------------------------------------------------------------------------------


def as_text(run: Run, found: list[Tally], numbers: Numbers, with_animals: bool = True) -> str:
    """By hospital: how many of each kind, and each animal that a person should look at in a line."""
    blocks = [_block(tally, with_animals) for tally in found]
    if not blocks:
        blocks = [_("There is no animal in care: nothing to check.")]
    blocks += [_unchecked(each, numbers) for each in run.unchecked]
    return "\n\n".join(blocks)


def _block(tally: Tally, with_animals: bool) -> str:
    lines = [f"{tally.hospital}, {in_words(tally.day)}", "  " + _counted(tally)]
    if with_animals:
        for kind in TOLD:
            lines += _part(kind.label, [each for each in tally.told if each.kind == kind], sentence_of)
        lines += _part(_("Late"), [each for each in tally.told if each.late], late_sentence)
    return "\n".join(lines)


def _counted(tally: Tally) -> str:
    parts = [ngettext("%(n)d case checked", "%(n)d cases checked", tally.checked) % {"n": tally.checked}]
    parts += [f"{kind.label.lower()}: {tally.counts[kind]}" for kind in Kind if tally.counts[kind]]
    if tally.late:
        parts.append(_("with something late: %(n)d") % {"n": tally.late})
    return "; ".join(parts) + "."


def _part(heading: str, proposals: list[Proposal], words: Callable[[Proposal], str]) -> list[str]:
    if not proposals:
        return []
    return [f"  {heading}", *(f"    {each.patient.case_number}  {each.patient.called}: {words(each)}" for each in proposals)]


def _unchecked(each: Unchecked, numbers: Numbers) -> str:
    count = len(each.patient_ids)
    words = {"n": count, "why": each.why, "cases": " ".join(numbers.get(pk, "?") for pk in each.patient_ids)}
    return ngettext(
        "%(n)d case could not be checked (%(why)s): %(cases)s", "%(n)d cases could not be checked (%(why)s): %(cases)s", count
    ) % words


# --- for a program ------------------------------------------------------------------------------------------------


def as_json(run: Run, found: list[Tally], numbers: Numbers) -> dict[str, Any]:
    """The same as plain values; days are ISO 8601 dates, and addresses lead to old and new side by side."""
    return {
        "cases": run.total,
        "checked": run.checked,
        "unchanged_since_earlier_check": run.standing,
        "needs_a_person": bool(run.unchecked) or any(tally.needs_a_person for tally in found),
        "hospitals": [_hospital(tally) for tally in found],
        "could_not_be_checked": [{"why": each.why, "cases": [numbers.get(pk, "?") for pk in each.patient_ids]} for each in run.unchecked],
        "seconds": {"reading": _s(run.reading_s), "planning": _s(run.planning_s), "writing": _s(run.writing_s)},
    }


def _hospital(tally: Tally) -> dict[str, Any]:
    return {
        "hospital": tally.hospital.slug,
        "name": tally.hospital.name,
        "on": tally.day.isoformat(),
        "checked": tally.checked,
        "counts": {str(kind): tally.counts[kind] for kind in Kind},
        "late": tally.late,
        "animals": [_animal(proposal) for proposal in tally.told],
    }


def _animal(proposal: Proposal) -> dict[str, Any]:
    patient = proposal.patient
    return {
        "case": patient.case_number,
        "called": patient.called,
        "kind": proposal.kind,
        "needs_a_person": is_for_a_person(proposal),
        "sentence": sentence_of(proposal),
        "reason": reason_of(proposal),
        "changes": proposal.changes,
        "late": proposal.late,
        "conflict": proposal.conflict,
        "address": settings.SITE_URL + reverse("plans:replan", args=[patient.case_number]),
    }


def _s(seconds: float) -> float:
    return round(seconds, 2)
