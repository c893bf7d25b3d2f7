"""Judging criteria, going on although some are not met, and agreeing on the day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, NamedTuple

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from handover.protocols.queries import criteria_in_force
from handover.releases.models import CriterionFinding, GoAhead, ReleaseDay
from handover.releases.queries import BY_A_PERSON, readiness_of_one
from handover.schedule.release import Criterion
from hospital.admissions.days import locked, refuse_day
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import EditCollision, save_edit
from hospital.people.models import Person, Role

ALL_MET = "Looked at for release: met"


class Judgement(NamedTuple):
    """A person's answer to one criterion, and what it rests on."""

    criterion: str
    is_met: bool
    evidence: str


@transaction.atomic
def assess_criterion(
    patient: Patient, *, by: Person, criterion: str, is_met: bool, evidence: str, found_on: date | None = None
) -> CriterionFinding:
    """Write down what a person found about one criterion; it may be found again. `found_on` None: today."""
    patient = locked(patient)
    if criterion not in criteria_by_a_person(patient):
        raise ValidationError({"criterion": _("This criterion is not judged by a person, or no longer in force here.")})
    if not evidence.strip():
        raise ValidationError({"evidence": _("Say what this rests on.")})
    on = found_on or today(patient.hospital.zone)
    refuse_day(patient, on, field="found_on")
    finding = CriterionFinding(patient=patient, criterion=criterion, is_met=is_met, evidence=evidence.strip(), found_on=on, found_by=by)
    finding.full_clean()
    finding.save()
    return finding


def criteria_by_a_person(patient: Patient) -> dict[str, Criterion]:
    """The criteria in force for this animal that somebody must judge, by id."""
    lineage = patient.species.group.lineage()
    criteria = criteria_in_force(patient.hospital)
    return {each.id: each for each in criteria if each.group in lineage and each.needs in BY_A_PERSON}


@transaction.atomic
def assess_criteria(patient: Patient, *, by: Person, judgements: Iterable[Judgement], seen_latest: int) -> list[CriterionFinding]:
    """Several at once. Refuses one that somebody else has judged since the page was opened (`seen_latest`)."""
    patient = locked(patient)
    judgements = list(judgements)
    _refuse_unseen(patient, judgements, seen_latest)
    return [assess_criterion(patient, by=by, **each._asdict()) for each in judgements]


def _refuse_unseen(patient: Patient, judgements: list[Judgement], seen_latest: int) -> None:
    asked = [each.criterion for each in judgements]
    newer = patient.criterion_findings.filter(criterion__in=asked, pk__gt=seen_latest).select_related("found_by").last()
    if newer:
        words = {"who": newer.found_by, "found": _("met") if newer.is_met else _("not met"), "why": newer.evidence}
        sentence = _("%(who)s has just judged one of these: %(found)s (%(why)s). Read it, then save again.")
        raise ValidationError(sentence % words)


@transaction.atomic
def find_all_met(patient: Patient, *, by: Person, evidence: str = ALL_MET) -> list[CriterionFinding]:
    """Find every criterion met, today, that needs a person's judgement."""
    asked = criteria_by_a_person(patient)
    return [assess_criterion(patient, by=by, criterion=each, is_met=True, evidence=evidence) for each in asked]


@transaction.atomic
def go_ahead(patient: Patient, *, by: Person, reason: str) -> GoAhead:
    """A vet lets an animal go although criteria are not met: which ones is kept with the reason."""
    patient = locked(patient)
    unmet = readiness_of_one(patient, today(patient.hospital.zone)).unmet
    if not by.memberships.filter(hospital=patient.hospital_id, role=Role.VET).exists():
        raise ValidationError(_("Only a vet may let an animal go whose criteria are not all met."))
    if not reason.strip():
        raise ValidationError({"reason": _("Give the reason why it goes all the same.")})
    decision = GoAhead(
        patient=patient,
        unmet=[each.criterion.wording for each in unmet],
        reason=reason.strip(),
        decided_by=by,
        decided_at=now(),
    )
    decision.full_clean(exclude=["unmet"])
    decision.save()
    return decision


@transaction.atomic
def agree_on_day(patient: Patient, *, seen_version: int, **fields: Any) -> ReleaseDay:
    """Write down when, where and with whom it goes. `seen_version` 0: nothing was agreed when the page was opened."""
    patient = locked(patient)
    _refuse_past(fields, today(patient.hospital.zone))
    day = ReleaseDay.objects.filter(patient=patient).first()
    if day is None:
        day = ReleaseDay(patient=patient, **fields)
        day.full_clean()
        day.save()
        return day
    if seen_version != day.version:
        raise EditCollision(day)
    for name, value in fields.items():
        setattr(day, name, value)
    return save_edit(day, seen_version=seen_version)


def _refuse_past(fields: Mapping[str, Any], today: date) -> None:
    if fields.get("on") and fields["on"] < today:
        raise ValidationError({"on": _("This day has gone by. Choose today or a later day.")})
