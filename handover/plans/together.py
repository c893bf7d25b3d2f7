"""The page that plans the visits of one carer's animals together: day by day, what it saves, what it would change."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.labels.conflicts import conflict_lines
from handover.labels.events import dated_label
from handover.plans.joint import JointPlan, Member, joint_plan, publish_together
from handover.plans.models import PlannedDate
from handover.plans.queries import LivePlan, names_of
from handover.plans.wording import ChangeLine, change_lines, rows_of, visits_of
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.pages import done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import STAFF, Carer, Role
from hospital.placements.queries import distance_to
from hospital.placements.words import kilometres

PLANNERS = frozenset({Role.VET, Role.COORDINATOR})


class TogetherForm(forms.Form):
    """Publish what was shown: the plans that were in force, and the days that were seen."""

    seen_plans = forms.CharField(widget=forms.HiddenInput, max_length=2000)
    seen_answer = forms.CharField(widget=forms.HiddenInput, max_length=64)


@dataclass(frozen=True, slots=True)
class Stop:
    """One animal of a drive and what is done with it; `is_agreed` if it could not be planned and keeps its old day."""

    patient: Patient
    labels: tuple[str, ...]
    minutes: int = 0
    bring: tuple[str, ...] = ()
    is_agreed: bool = False


@dataclass(frozen=True, slots=True)
class Drive:
    """One day on which the carer comes; `is_new` if today's plans by themselves have no drive on it."""

    on: date
    stops: tuple[Stop, ...]
    is_new: bool

    @property
    def minutes(self) -> int:
        return sum(stop.minutes for stop in self.stops)

    @property
    def bring(self) -> str:
        """Each thing once, in the order of the animals."""
        return ", ".join(dict.fromkeys(thing for stop in self.stops for thing in stop.bring))


@for_roles(*STAFF)
def together(request: HttpRequest, carer_id: int) -> HttpResponse:
    """Every drive of one carer when all their animals are planned at once."""
    return _show(request, _carer(request, carer_id), None)


@for_roles(*PLANNERS)
def publish(request: HttpRequest, carer_id: int) -> HttpResponse:
    """Publish the plans of all animals whose dates the joint plan changes."""
    carer = _carer(request, carer_id)
    if request.method != "POST":
        return redirect("plans:together", carer.pk)
    form = TogetherForm(request.POST)
    if done(form, publish_together, carer, by=request.user):
        number = len(form.result)
        words = ngettext("%(n)d new plan is in force. Make its pack anew.", "%(n)d new plans are in force. Make their packs anew.", number)
        messages.success(request, words % {"n": number})
        return redirect("plans:together", carer.pk)
    return _show(request, carer, form)


def _carer(request: HttpRequest, carer_id: int) -> Carer:
    return get_object_or_404(Carer.objects.at(request.hospital).select_related("person", "hospital"), pk=carer_id)


def _show(request: HttpRequest, carer: Carer, form: TogetherForm | None) -> HttpResponse:
    joint = joint_plan(carer, request.user, today(carer.hospital.zone))
    drives, seen = _drives(joint), {"seen_plans": joint.seen_plans, "seen_answer": joint.digest}
    context = {
        "carer": carer,
        "joint": joint,
        "found": joint.found,
        "drives": drives,
        "visits": _visits(drives),
        "shares": any(len(drive.stops) > 1 for drive in drives),
        "verdict": _verdict(joint, drives),
        "kilometres": _kilometres(carer, joint),
        "changed": [(member.patient, _change_lines(member)) for member in joint.changed],
        "left_out": [(live.patient, _why_left_out(live)) for live in joint.left_out],
        "form": TogetherForm(initial=seen),
        "faults": form.non_field_errors() if form and not hasattr(form, "collision") else [],
        "theirs": form.collision.theirs if form and hasattr(form, "collision") else None,
        "can_plan": bool(request.roles & PLANNERS),
    }
    return show(request, "plans/together.html", context, status=status_of(form) if form else 200)


def _verdict(joint: JointPlan, drives: list[Drive]) -> str:
    """What planning them together is worth, in a sentence."""
    saved, visits = joint.saved_drives, _visits(drives)
    if saved > 0:
        words = ngettext("Planned together they need one drive fewer.", "Planned together they need %(n)d drives fewer.", saved)
        return words % {"n": saved}
    if saved < 0:
        return _("Planned together they need more drives, for dates that are nearer to their usual days.")
    if visits > len(drives):
        words = {"visits": visits, "drives": len(drives)}
        return _("Nothing more to save: %(visits)d visits of single animals share %(drives)d drives already.") % words
    return _("Nothing to save: these visits cannot share a drive, or sharing would move dates too far from their usual days.")


def _visits(drives: list[Drive]) -> int:
    """How often a single animal comes."""
    return sum(len(drive.stops) for drive in drives)


def _kilometres(carer: Carer, joint: JointPlan) -> dict[str, str] | None:
    """There and back, for one drive and for the drives saved; None where the carer's place is not known."""
    one_way = distance_to(carer)
    if one_way is None:
        return None
    return {"drive": kilometres(2 * one_way), "saved": kilometres(2 * one_way * max(0, joint.saved_drives))}


def _change_lines(member: Member) -> list[ChangeLine]:
    return change_lines(member.changes, names_of(member.live, member.published))


def _why_left_out(live: LivePlan) -> list[str]:
    if live.instance is None or live.conflict is None:
        return [live.trouble]
    return [line.words for line in conflict_lines(live.instance, live.conflict)]


# --- day by day -------------------------------------------------------------------------------------------------------


def _drives(joint: JointPlan) -> list[Drive]:
    """Every day on which the carer comes, the next one first."""
    stops: dict[date, list[Stop]] = defaultdict(list)
    for member in joint.members:
        for visit in visits_of(member.live, rows_of(member.live)):
            bring = tuple(part.strip() for part in visit.bring.split(",") if part.strip())
            stops[visit.on].append(Stop(member.patient, tuple(row.label for row in visit.rows), visit.minutes, bring))
    labels = _agreed_labels(joint.left_out)
    for on, animals in joint.agreed.items():
        stops[on] += [Stop(patient, tuple(labels[patient.pk, on]), is_agreed=True) for patient in animals]
    now = set(joint.now.drives)
    return [Drive(on, tuple(found), on not in now) for on, found in sorted(stops.items())]


def _agreed_labels(left_out: Iterable[LivePlan]) -> dict[tuple[int, date], list[str]]:
    """What is promised for the animals that could not be planned, by animal and day."""
    labels: dict[tuple[int, date], list[str]] = defaultdict(list)
    plans = [live.patient.current_plan.plan_id for live in left_out if getattr(live.patient, "current_plan", None)]
    for row in PlannedDate.objects.filter(plan__in=plans, place="clinic", done_on=None):
        labels[row.patient_id, row.on].append(dated_label(row.event, row.subject, row.event_id))
    return labels
