"""Publishing a plan, and the decisions that people put into the next one. Nothing published is ever overwritten."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _

from handover.labels.events import plain_label
from handover.plans.models import CurrentPlan, Hold, Pin, Plan, PlannedDate, RuleChoice
from handover.plans.queries import LivePlan, changes_since, live_plan, names_of, other_windows, plan_in_force
from handover.schedule.changes import ASIDE, Cause, Change
from handover.schedule.problem import Event
from hospital.admissions.days import in_words, locked
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import EditCollision
from hospital.mail.actions import write
from hospital.people.models import Person

UNSEEN = "unseen"  # the code of a refusal because of a later decision of somebody else

# --- publishing ---------------------------------------------------------------------------------------------------


@transaction.atomic
def publish(patient: Patient, *, by: Person, reason: str = "", seen_plan: int | None = None, seen_answer: str | None = None) -> Plan:
    """Make today's plan the one in force: a new version with its dates and what it changes.

    Refuses a plan in conflict and one that changes nothing. `seen_plan` is the id of the plan that was in force when
    the person looked (0: none): EditCollision if there is another by now. `seen_answer` is the digest of the dates that
    the person saw: others are refused.
    """
    patient = locked(patient)
    current = plan_in_force(patient)
    if seen_plan is not None and current is not None and current.pk != seen_plan:
        raise EditCollision(current)
    live = live_plan(patient, today(patient.hospital.zone))
    changes = _checked_changes(current, live, seen_answer)
    return put_in_force(live, current, by=by, at=now(), reason=reason, changes=changes)


def put_in_force(live: LivePlan, current: Plan | None, *, by: Person, at: datetime, reason: str, changes: Iterable[Change]) -> Plan:
    """Store a new version with its dates and make it the one that counts. The caller holds the patient and has checked it."""
    published = _new_version(live, current, by=by, at=at, reason=reason, changes=changes)
    PlannedDate.objects.bulk_create(_dates(published, live))
    CurrentPlan.objects.update_or_create(patient=live.patient, defaults={"plan": published})
    _write_home(published)
    return published


def _write_home(published: Plan) -> None:
    """The carer who has the animal gets a letter about the new days."""
    here = published.patient.open_placement()
    if here and here.carer:
        facts = {"plan": published.pk, "placement": here.pk}
        write("plan", published.pk, hospital=published.hospital, to=here.carer.person, facts=facts)


def _checked_changes(current: Plan | None, live: LivePlan, seen_answer: str | None) -> tuple[Change, ...]:
    if live.planned is None:
        raise ValidationError(live.trouble or _("These dates collide. Settle that first: nothing was published."))
    changes = changes_since(current, live)
    if current and not changes:
        raise ValidationError(_("Nothing has changed since version %(version)d. It stays in force.") % {"version": current.version})
    if not changes:
        raise ValidationError(_("There is nothing to plan yet: no rule in force asks for anything."))
    if seen_answer is not None and live.digest != seen_answer:
        raise ValidationError(_("The dates are no longer those that you saw: something was recorded meanwhile. Look again, then publish."))
    return changes


def _new_version(live: LivePlan, current: Plan | None, *, by: Person, at: datetime, reason: str, changes: Iterable[Change]) -> Plan:
    assert live.instance is not None
    assert live.planned is not None
    names = names_of(live, current)
    published = Plan(
        patient=live.patient,
        hospital=live.patient.hospital,
        version=current.version + 1 if current else 1,
        published_at=at,
        published_by=by,
        reason=reason,
        problem=live.instance.problem.to_json(),
        answer=live.planned.to_json(),
        adoptions=live.adoptions,
        changes=[change_to_json(change, names) for change in changes],
    )
    published.full_clean()
    published.save()
    return published


def change_to_json(change: Change, names: dict[str, str]) -> dict[str, Any]:
    """A change in plain values, with the names of its events as they were when it was published."""
    return {
        "event_id": change.event_id,
        "what": names.get(change.event_id) or plain_label(change.event_id),
        "kind": str(change.kind),
        "was": change.was.isoformat() if change.was else None,
        "now": change.now.isoformat() if change.now else None,
        "causes": [_cause_to_json(cause, names) for cause in change.causes],
    }


def _cause_to_json(cause: Cause, names: dict[str, str]) -> dict[str, Any]:
    return cause.to_json() | {"what": names.get(cause.event_id) or plain_label(cause.event_id)}


def _dates(published: Plan, live: LivePlan) -> list[PlannedDate]:
    """Rows for events to come, and for those that a rule asked for and that are done."""
    assert live.instance is not None
    meaning = live.instance.meaning
    events = (e for e in live.instance.problem.events if not e.id.startswith(ASIDE))
    return [_date(published, live, event) for event in events if not event.done or meaning[event.id].rule]


def _date(published: Plan, live: LivePlan, event: Event) -> PlannedDate:
    assert live.instance is not None
    assert live.planned is not None
    meaning = live.instance.meaning[event.id]
    opens_on, closes_on = live.planned.windows.get(event.id, (None, None))
    return PlannedDate(
        plan=published,
        patient=live.patient,
        hospital=live.patient.hospital,
        event_id=event.id,
        event=meaning.event,
        subject=meaning.label[:80],
        place=event.place,
        on=live.planned.days[event.id],
        opens_on=opens_on,
        closes_on=closes_on,
        done_on=event.done,
    )


# --- decisions ----------------------------------------------------------------------------------------------------


@transaction.atomic
def fix_day(patient: Patient, *, by: Person, event_id: str, on: date, reason: str, seen_latest: int | None = None) -> Pin:
    """Decide that something happens on this very day. An earlier decision about it ends, if it was seen."""
    patient, at = locked(patient), now()
    day = today(patient.hospital.zone)
    _refuse_unknown(patient, event_id, day)
    if on < day:
        raise ValidationError({"on": _("This day has gone by. Choose today or a later day.")})
    _refuse_unseen(patient.pins.filter(event_id=event_id, ended_at=None).first(), seen_latest, "on")
    patient.pins.filter(event_id=event_id, ended_at=None).update(ended_at=at)
    return _saved(Pin(patient=patient, event_id=event_id, on=on, reason=reason, decided_by=by, decided_at=at))


@transaction.atomic
def hold_back(patient: Patient, *, by: Person, event_id: str, not_before: date, reason: str, seen_latest: int | None = None) -> Hold:
    """A vet's "not yet", said today. An earlier one about the same thing ends, if it was seen."""
    patient, at = locked(patient), now()
    day = today(patient.hospital.zone)
    _refuse_unknown(patient, event_id, day)
    if not_before <= day:
        raise ValidationError({"not_before": _("Choose a day after today.")})
    _refuse_unseen(patient.holds.filter(event_id=event_id, ended_at=None).first(), seen_latest, "not_before")
    patient.holds.filter(event_id=event_id, ended_at=None).update(ended_at=at)
    return _saved(
        Hold(
            patient=patient,
            event_id=event_id,
            from_on=day,
            not_before=not_before,
            reason=reason,
            decided_by=by,
            decided_at=at,
        )
    )


@transaction.atomic
def choose_window(patient: Patient, *, by: Person, rule: str, reason: str) -> RuleChoice:
    """Plan this animal by another window of the protocol, in place of the usual one."""
    patient = locked(patient)
    if rule not in {each.id for each in other_windows(live_plan(patient, today(patient.hospital.zone)))}:
        raise ValidationError({"rule": _("This window cannot be chosen for this animal now.")})
    if patient.rule_choices.filter(rule=rule, ended_at=None).exists():
        raise ValidationError({"rule": _("This window is chosen already.")})
    return _saved(RuleChoice(patient=patient, rule=rule, reason=reason, decided_by=by, decided_at=now()))


@transaction.atomic
def end_decision(decision: Pin | Hold | RuleChoice) -> Pin | Hold | RuleChoice:
    """Take a decision back; it stays readable."""
    locked(decision.patient)
    if not type(decision).objects.filter(pk=decision.pk, ended_at=None).update(ended_at=now()):
        raise ValidationError(_("Somebody has taken this back already."))
    return decision


def _refuse_unknown(patient: Patient, event_id: str, day: date) -> None:
    instance = live_plan(patient, day).instance
    events = instance.problem.events if instance else ()
    if not any(e.id == event_id and not e.done and not e.id.startswith(ASIDE) for e in events):
        raise ValidationError({"event_id": _("This is not planned any more. Look at the plan again.")})


def _refuse_unseen(earlier: Pin | Hold | None, seen_latest: int | None, field: str) -> None:
    """A decision about the same thing that was made after the page was opened is never replaced unseen."""
    if earlier and seen_latest is not None and earlier.pk > seen_latest:
        day = earlier.on if isinstance(earlier, Pin) else earlier.not_before
        words = {"who": earlier.decided_by, "day": in_words(day), "why": earlier.reason or "–"}
        sentence = _("%(who)s has just decided on %(day)s for this (%(why)s). Send again if your day is to stand instead.")
        raise ValidationError({field: ValidationError(sentence % words, code=UNSEEN)})


def _saved(row: models.Model) -> Any:
    row.full_clean()
    row.save()
    return row
