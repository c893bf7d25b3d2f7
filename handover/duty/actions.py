"""Passing worrying reports on to whoever is on duty, and keeping the list of those people."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from handover.duty.models import DutyRules, DutyTurn, PassedOn
from handover.logs.models import LogEntry
from handover.logs.wording import answer_card
from handover.schedule.duty import Step, Turn, next_to_tell
from hospital.edits import save_edit
from hospital.mail.actions import write
from hospital.people.models import STAFF, Person
from hospital.sites.models import Hospital

LOOK_BACK = timedelta(days=2)  # a report that waits longer stays on the board, where every eye has passed it


def rules_of(hospital: Hospital) -> DutyRules:
    """The hospital's minutes, or those that count as long as it chose none (not saved)."""
    return DutyRules.objects.filter(hospital=hospital).first() or DutyRules(hospital=hospital)


def turns_of(hospital: Hospital) -> list[Turn]:
    rows = hospital.duty_turns.filter(person__is_active=True, person__memberships__hospital=hospital, person__memberships__role__in=STAFF)
    return [Turn(row.person_id, row.starts, row.ends, frozenset(row.weekdays)) for row in rows.distinct()]


def pass_on_unseen(at: datetime) -> int:
    """Tell the next person of every worrying report that nobody has seen in time; how many were told."""
    unseen = LogEntry.objects.filter(is_worrying=True, seen=None, received_at__gte=at - LOOK_BACK)
    waiting = unseen.select_related("patient__hospital").prefetch_related("passed_on").order_by("received_at", "pk")
    lists: dict[int, tuple[list[Turn], DutyRules]] = {}
    told = 0
    for entry in waiting:
        hospital = entry.patient.hospital
        turns, rules = lists.setdefault(hospital.pk, (turns_of(hospital), rules_of(hospital)))
        if _who_is_next(entry, turns, rules, at) is not None:
            told += _tell(entry, turns, rules, at)
    return told


def _who_is_next(entry: LogEntry, turns: list[Turn], rules: DutyRules, at: datetime) -> int | None:
    minutes = {"now": rules.now_minutes, "today": rules.today_minutes}.get(answer_card(entry).phone, rules.other_minutes)
    steps = [Step(each.to_id, each.at) for each in entry.passed_on.all()]
    return next_to_tell(steps, turns, timedelta(minutes=minutes), at, ZoneInfo(entry.patient.hospital.zone))


@transaction.atomic
def _tell(entry: LogEntry, turns: list[Turn], rules: DutyRules, at: datetime) -> bool:
    """Write the step down with its letter, unless somebody has seen the report or another run was quicker."""
    entry = LogEntry.objects.select_for_update(of=("self",)).select_related("patient__hospital").get(pk=entry.pk)
    person = None if hasattr(entry, "seen") else _who_is_next(entry, turns, rules, at)
    if person is None:
        return False
    step = PassedOn(entry=entry, number=entry.passed_on.count() + 1, to_id=person, at=at)
    step.full_clean()
    step.save()
    facts = {"entry": entry.pk}
    write("passed", entry.pk, step.number, hospital=entry.patient.hospital, to=step.to, facts=facts, is_urgent=True)
    return True


# --- the list -----------------------------------------------------------------------------------------------------


@transaction.atomic
def add_turn(hospital: Hospital, *, person: Person, starts: time, ends: time, weekdays: list[int]) -> DutyTurn:
    """Put somebody at the end of the list."""
    if not person.memberships.filter(hospital=hospital, role__in=STAFF).exists():
        raise ValidationError({"person": _("Choose somebody who works at this hospital.")})
    last = hospital.duty_turns.order_by("place").last()
    turn = DutyTurn(
        hospital=hospital, person=person, starts=starts, ends=ends, weekdays=weekdays, place=last.place + 1 if last else 1
    )
    turn.full_clean()
    turn.save()
    return turn


@transaction.atomic
def remove_turn(turn: DutyTurn) -> None:
    """Take somebody off the list."""
    turn.delete()


@transaction.atomic
def move_up(turn: DutyTurn) -> None:
    """Let somebody be told one place earlier."""
    turns = list(turn.hospital.duty_turns.select_for_update())
    at = turns.index(turn)
    if at:
        turns[at - 1], turns[at] = turns[at], turns[at - 1]
    for place, each in enumerate(turns, start=1):
        each.place = place
    DutyTurn.objects.bulk_update(turns, ["place"])


@transaction.atomic
def set_minutes(rules: DutyRules, *, seen_version: int, **minutes: int) -> DutyRules:
    """Say how long somebody has before the next person is told."""
    for name, value in minutes.items():
        setattr(rules, name, value)
    if rules.pk:
        return save_edit(rules, seen_version=seen_version)
    rules.full_clean()
    rules.save()
    return rules
