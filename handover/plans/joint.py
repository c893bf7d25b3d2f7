"""The animals of one carer planned at once: what each would change, and publishing all of it in one go."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from handover.plans.actions import put_in_force
from handover.plans.models import Plan
from handover.plans.queries import LivePlan, changes_since, live_plans
from handover.schedule.case import Meaning
from handover.schedule.changes import Change
from handover.schedule.company import DRIVE, with_company, without_company
from handover.schedule.together import Animal, Outcome, Together, outcome, together
from hospital.admissions.days import locked
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import EditCollision
from hospital.people.models import Carer, Person


@dataclass(frozen=True, slots=True)
class Member:
    """One animal of the joint plan: its plan of today by itself (`alone`), its part of the joint one, and what publishing
    that part would change of the plan in force."""

    patient: Patient
    alone: LivePlan
    live: LivePlan
    published: Plan | None
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class JointPlan:
    """The joint plan of a carer's animals. `left_out` are those whose own dates collide; they keep what is agreed. `apart`
    are those that must be kept from other animals and so share no drive.

    `now` is what today's plans cost when each animal is planned by itself, knowing what is agreed for the others.
    """

    members: tuple[Member, ...]
    left_out: tuple[LivePlan, ...]
    apart: tuple[Patient, ...]
    agreed: dict[date, list[Patient]]
    found: Together
    now: Outcome

    @property
    def changed(self) -> list[Member]:
        return [member for member in self.members if member.changes]

    @property
    def saved_drives(self) -> int:
        """Fewer than by today's plans; below 0 where more drives bring dates nearer to their usual days."""
        return len(self.now.drives) - len(self.found.joint.drives)

    @property
    def seen_plans(self) -> str:
        """Which plan is in force for which animal: "17:203,18:0"."""
        return ",".join(f"{patient.pk}:{plan.pk if plan else 0}" for patient, plan in self._in_force())

    @property
    def digest(self) -> str:
        """A short name for exactly these days of exactly these animals."""
        days = {key: {name: on.isoformat() for name, on in own.items()} for key, own in self.found.joint.days.items()}
        return hashlib.sha256(json.dumps(days, sort_keys=True).encode()).hexdigest()[:16]

    def refuse_another_plan(self, seen_plans: str) -> None:
        """EditCollision if another plan of one of the animals is in force than the one that was seen."""
        seen = dict(part.split(":") for part in seen_plans.split(",") if part.count(":") == 1)
        for patient, plan in self._in_force():
            if plan and str(patient.pk) in seen and seen[str(patient.pk)] != str(plan.pk):
                raise EditCollision(plan)

    def _in_force(self) -> Iterator[tuple[Patient, Plan | None]]:
        yield from ((live.patient, _plan_of(live.patient)) for live in (*(m.live for m in self.members), *self.left_out))


def animals_of(carer: Carer, person: Person) -> QuerySet[Patient]:
    """The animals in care that live with the carer and belong to the same hospital."""
    there = carer.placements.filter(ended_at=None).values("patient")
    seen = Patient.objects.visible_to(person).at(carer.hospital).in_care().filter(pk__in=there)
    return seen.select_related("hospital", "species__group", "cause").order_by("pk")


def joint_plan(carer: Carer, person: Person, on: date) -> JointPlan:
    """Today's joint plan of a carer's animals, from facts read now."""
    there = list(animals_of(carer, person))
    lives = live_plans([each for each in there if not each.is_biosecurity_risk], on).values()
    planned = [live for live in lives if live.planned]
    left_out = tuple(live for live in lives if not live.planned)
    agreed = _agreed(left_out, planned, on)
    own = {live.patient.case_number: without_company(live.instance.problem) for live in planned}
    found = together((Animal(key, problem) for key, problem in own.items()), anyway=frozenset(agreed))
    days = {live.patient.case_number: _own_days(live) for live in planned}
    members = tuple(_member(live, found) for live in planned)
    apart = tuple(each for each in there if each.is_biosecurity_risk)
    return JointPlan(members, left_out, apart, agreed, found, outcome(own, days, frozenset(agreed)))


def _agreed(left_out: tuple[LivePlan, ...], planned: list[LivePlan], on: date) -> dict[date, list[Patient]]:
    """The days on which the carer comes with those left out, which every one of the others knows."""
    absent = {live.patient.pk for live in left_out}
    household = planned[0].patient.household if planned else None
    days = household.days if household else {}
    found = {day: [each for each in animals if each.pk in absent] for day, animals in sorted(days.items()) if day >= on}
    return {day: animals for day, animals in found.items() if animals}


def _own_days(live: LivePlan) -> dict[str, date]:
    return {name: day for name, day in live.planned.days.items() if not name.startswith(DRIVE)}


def _member(alone: LivePlan, found: Together) -> Member:
    key, instance = alone.patient.case_number, alone.instance
    problem = with_company(without_company(instance.problem), found.company[key])
    drives = {event.id: Meaning("drive") for event in problem.events if event.id.startswith(DRIVE)}
    shared = replace(instance, problem=problem, meaning={**instance.meaning, **drives})
    live, published = replace(alone, instance=shared, answer=found.answers[key]), _plan_of(alone.patient)
    return Member(alone.patient, alone, live, published, changes_since(published, live))


def _plan_of(patient: Patient) -> Plan | None:
    current = getattr(patient, "current_plan", None)
    return current.plan if current else None


@transaction.atomic
def publish_together(carer: Carer, *, by: Person, seen_plans: str, seen_answer: str) -> list[Plan]:
    """Put the joint plan in force: a new version for each animal whose dates it changes, or nothing at all.

    Refuses other animals, and other days, than the person saw; EditCollision if somebody has published meanwhile.
    """
    for patient in animals_of(carer, by):  # in one order for everybody, so that no two wait for each other
        locked(patient)
    joint = joint_plan(carer, by, today(carer.hospital.zone))
    joint.refuse_another_plan(seen_plans)
    if (joint.seen_plans, joint.digest) != (seen_plans, seen_answer):
        raise ValidationError(_("The animals or dates are no longer those that you saw: something was recorded meanwhile. Look again."))
    if not joint.changed:
        raise ValidationError(_("Nothing would change. The plans stay in force."))
    at, reason = now(), _("Visits together")
    return [put_in_force(m.live, m.published, by=by, at=at, reason=reason, changes=m.changes) for m in joint.changed]
