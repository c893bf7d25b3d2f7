"""Sign a feeding plan or a fluid plan, and stop one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import admitted_on, in_words, locked
from hospital.admissions.models import Patient, Weight
from hospital.clock import now, today
from hospital.feeding.models import AT_HOME, RUNNING, FeedingPlan, FluidPlan, PlanStop, SignedPlan
from hospital.feeding.queries import feeding_plans_of, fluid_plans_of, weights_of
from hospital.feeding.wording import feeding_line, fluid_line, grams, millilitres
from hospital.people.models import Person
from hospital.rules.doses import DoseRefused
from hospital.rules.energy import Ration, food_called, is_too_coarse, metabolism_for, ration
from hospital.rules.fluids import GRAVE_PERCENT, Fluids, fluids, maintenance_for, share_of_weight_ml
from hospital.rules.weights import good_for_days, is_slip, is_stale
from hospital.rules.wording import body_weight

OWN_FIGURE = ("Own figure of the vet who signed", "own figure")
A_MONTH = timedelta(days=31)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a vet asked for and the sums that follow, with what speaks against it in sentences."""

    worked: Ration | Fluids
    warnings: tuple[str, ...]


# --- food ---------------------------------------------------------------------------------------------------------


def work_out_feeding(
    patient: Patient, weight_g: Decimal, *, kcal_constant: Decimal, factor: Decimal, kcal_per_g: Decimal, meals_per_day: int,
    every_days: int,
) -> Asked:  # fmt: skip
    """The ration, and what a vet should read before signing it."""
    found = ration(weight_g, kcal_constant, factor, kcal_per_g, meals_per_day, every_days)
    most = share_of_weight_ml(weight_g)
    warnings = []
    if found.exact_g > most:
        words = _("A meal of %(meal)s is more than 5%% of the body weight (%(most)s): the stomach may not hold it. Give more meals.")
        warnings.append(words % {"meal": grams(found.grams_per_meal), "most": grams(most)})
    known = metabolism_for(patient.species.group.lineage())
    if known and kcal_constant != known.kcal_constant:
        warnings.append(_("The constant is not the one that is listed for this group of animals."))
    return Asked(found, tuple(warnings))


@transaction.atomic
def sign_feeding(
    patient: Patient, *, by: Person, seen_version: int, seen_weight_g: Decimal | None, is_weight_checked: bool, is_warning_read: bool,
    kept_at_c: Decimal | None, food: str, note: str, **figures: Any,
) -> FeedingPlan:  # fmt: skip
    """Put a feeding plan in force; the one before is replaced. `figures` are those of `work_out_feeding`."""
    patient = locked(patient)
    before = list(feeding_plans_of(patient))
    weight = _weight(patient)
    asked = work_out_feeding(patient, weight.weight_g, **figures)
    wrong = {
        **_signed_meanwhile(before, seen_version),
        **_weight_doubts(patient, weight, seen_weight_g, is_weight_checked),
        **_unread(asked.warnings, is_warning_read),
        **_too_little(asked.worked),
    }
    known = metabolism_for(patient.species.group.lineage())
    if known and known.needs_warmth and kept_at_c is None:
        wrong["kept_at_c"] = _("The formula holds at the preferred temperature only: say at how many °C it is kept.")
    if wrong:
        raise ValidationError(wrong)
    is_listed = known and figures["kcal_constant"] == known.kcal_constant
    source, how_known = (known.source, known.how_known) if is_listed else OWN_FIGURE
    listed = food_called(food)
    from_list = listed and listed.kcal_per_g == figures["kcal_per_g"]
    food_source = f"{listed.source} ({listed.how_known})" if listed and from_list else _("From the packet")
    plan = FeedingPlan(
        patient=patient, version=len(before) + 1, weight_g=weight.weight_g, source=source, how_known=how_known, note=note, ordered_by=by,
        ordered_at=now(), kept_at_c=kept_at_c, food=food, food_source=food_source,
        resting_kcal=round(asked.worked.resting_kcal, 4), need_kcal=round(asked.worked.need_kcal, 4),
        grams_per_meal=asked.worked.grams_per_meal, **figures,
    )  # fmt: skip
    plan.full_clean()
    plan.save()
    return plan


def _too_little(worked: Ration) -> dict[str, str]:
    if not is_too_coarse(worked.exact_g, worked.grams_per_meal):
        return {}
    return {"meals_per_day": _("That is less than a scale can show at each meal: give fewer meals.")}


# --- fluids -------------------------------------------------------------------------------------------------------


def work_out_fluids(
    patient: Patient, weight_g: Decimal, *, route: str, ml_per_kg_day: Decimal, dehydration_percent: Decimal, deficit_hours: int | None,
    half_in_hours: int | None, losses_ml_day: Decimal, times_per_day: int | None, drops_per_ml: int | None,
) -> Asked:  # fmt: skip
    """The phases, and what a vet should read before signing them. Refuses what cannot be given so, at its field."""
    _refuse_mixed(route, dehydration_percent, deficit_hours, half_in_hours, times_per_day, drops_per_ml)
    try:
        found = fluids(
            weight_g, ml_per_kg_day, dehydration_percent=dehydration_percent, deficit_hours=deficit_hours, half_in_hours=half_in_hours,
            losses_ml_day=losses_ml_day, times_per_day=times_per_day, drops_per_ml=drops_per_ml,
        )  # fmt: skip
    except DoseRefused as refusal:
        slow = _("So slow a rate cannot be counted in drops of this giving set: use a finer set, or a pump.")
        raise ValidationError({"drops_per_ml": slow}) from refusal
    return Asked(found, tuple(_fluid_warnings(patient, weight_g, route, ml_per_kg_day, dehydration_percent, found)))


def _refuse_mixed(
    route: str, percent: Decimal, hours: int | None, half_in: int | None, times_per_day: int | None, drops_per_ml: int | None
) -> None:
    wrong = {}
    if percent and not hours:
        wrong["deficit_hours"] = _("Say within how many hours the deficit is given.")
    if half_in and not (percent and hours and half_in < hours):
        wrong["half_in_hours"] = _("The first half is given in fewer hours than the whole deficit.")
    if route in RUNNING and times_per_day:
        wrong["times_per_day"] = _("Into a vein or a bone it runs by the hour: leave this empty.")
    if route not in RUNNING and not times_per_day:
        wrong["times_per_day"] = _("Say how many times a day it is given.")
    if route not in RUNNING and drops_per_ml:
        wrong["drops_per_ml"] = _("A giving set is for a vein or a bone only.")
    if wrong:
        raise ValidationError(wrong)


def _fluid_warnings(patient: Patient, weight_g: Decimal, route: str, per_kg: Decimal, percent: Decimal, found: Fluids) -> list[str]:
    warnings = []
    known = maintenance_for(patient.species.group.lineage())
    if known and not known.low <= per_kg <= known.high:
        words = _("Maintenance is outside what is listed for this group of animals (%(low)s to %(high)s per kg a day).")
        warnings.append(words % {"low": millilitres(known.low), "high": millilitres(known.high)})
    if percent > GRAVE_PERCENT:
        warnings.append(_("So much dehydration looks like shock: look at the estimate again, and watch the animal all the time."))
    most = share_of_weight_ml(weight_g)
    each = max((phase.ml_each for phase in found.phases if phase.ml_each is not None), default=Decimal(0))
    if route == "mouth" and each > most:
        words = _("%(each)s by mouth at one time is more than 5%% of the body weight (%(most)s): it may come up and go into the lungs.")
        warnings.append(words % {"each": millilitres(each), "most": millilitres(most)})
    return warnings


@transaction.atomic
def sign_fluids(
    patient: Patient, *, by: Person, seen_version: int, seen_weight_g: Decimal | None, is_weight_checked: bool, is_warning_read: bool,
    fluid: str, note: str, starts_at: datetime, carer_gives: bool, **figures: Any,
) -> FluidPlan:  # fmt: skip
    """Put a fluid plan in force; the one before is replaced. `figures` are those of `work_out_fluids`."""
    patient = locked(patient)
    before = list(fluid_plans_of(patient))
    weight = _weight(patient)
    asked = work_out_fluids(patient, weight.weight_g, **figures)
    wrong = {
        **_signed_meanwhile(before, seen_version),
        **_weight_doubts(patient, weight, seen_weight_g, is_weight_checked),
        **_unread(asked.warnings, is_warning_read),
        **_impossible_start(patient, starts_at),
    }
    if carer_gives and figures["route"] not in AT_HOME:
        wrong["carer_gives"] = _("A carer gives fluids by mouth or under the skin only: all else is done at the hospital.")
    often = figures["times_per_day"]
    if any(phase.ml_each is not None and is_too_coarse(phase.ml_per_day / often, phase.ml_each) for phase in asked.worked.phases):
        wrong["times_per_day"] = _("That is less than a syringe can show each time: give it less often.")
    if wrong:
        raise ValidationError(wrong)
    known = maintenance_for(patient.species.group.lineage())
    is_listed = known and figures["ml_per_kg_day"] == known.usual
    source, how_known = (known.source, known.how_known) if is_listed else OWN_FIGURE
    plan = FluidPlan(
        patient=patient, version=len(before) + 1, weight_g=weight.weight_g, source=source, how_known=how_known, note=note, ordered_by=by,
        ordered_at=now(), fluid=fluid, starts_at=starts_at, carer_gives=carer_gives, deficit_ml=round(asked.worked.deficit_ml, 4),
        phases=[phase.to_json() for phase in asked.worked.phases], warned="\n".join(asked.warnings), **figures,
    )  # fmt: skip
    plan.full_clean()
    plan.save()
    return plan


def _impossible_start(patient: Patient, starts_at: datetime) -> dict[str, str]:
    if starts_at.astimezone(ZoneInfo(patient.hospital.zone)).date() < admitted_on(patient):
        before = _("This is before admission on %(day)s.")
        return {"starts_at": before % {"day": in_words(admitted_on(patient))}}
    if starts_at > now() + A_MONTH:
        return {"starts_at": _("This is more than a month ahead.")}
    return {}


# --- both ---------------------------------------------------------------------------------------------------------


@transaction.atomic
def stop_plan(plan: SignedPlan, *, by: Person, reason: str) -> PlanStop:
    """End the plan in force without another one in its place."""
    patient = locked(plan.patient)
    kind = "feeding" if isinstance(plan, FeedingPlan) else "fluid"
    newest = type(plan).objects.filter(patient=patient).order_by("version").last()
    if newest != plan or plan.stopped is not None or PlanStop.objects.filter(**{kind: plan}).exists():
        raise ValidationError(_("This plan is no longer in force."))
    stop = PlanStop(patient=patient, reason=reason, stopped_by=by, stopped_at=now(), **{kind: plan})
    stop.full_clean()
    stop.save()
    return stop


def _weight(patient: Patient) -> Weight:
    recent = weights_of(patient)
    if not recent:
        raise ValidationError(_("There is no weight yet. Weigh the animal, then order."))
    if is_slip(recent[0].weight_g, [each.weight_g for each in recent[1:]]):
        told = {"weight": body_weight(recent[0].weight_g)}
        raise ValidationError(_("The newest weight, %(weight)s, is far from all earlier ones. Weigh it again.") % told)
    return recent[0]


def _signed_meanwhile(before: list, seen_version: int) -> dict[str, str]:
    """Somebody signed another plan after the page was opened: both are shown, nothing typed is lost."""
    if len(before) == seen_version:
        return {}
    theirs = before[-1]
    line = feeding_line(theirs) if isinstance(theirs, FeedingPlan) else fluid_line(theirs)
    words = _("%(who)s signed another plan meanwhile: %(line)s. Compare; saving again replaces it.")
    return {"seen_version": words % {"who": theirs.ordered_by, "line": line}}


def weight_doubt(patient: Patient, weight: Weight) -> str:
    """Why the weight should be looked at first; empty when nothing speaks against it."""
    zone = patient.hospital.zone
    weighed_on = weight.weighed_at.astimezone(ZoneInfo(zone)).date()
    days = good_for_days(patient.species.group.lineage())
    if not is_stale(weighed_on, today(zone), days):
        return ""
    return _("The weight is from %(day)s, more than %(days)d days ago.") % {"day": in_words(weighed_on), "days": days}


def _weight_doubts(patient: Patient, weight: Weight, seen_weight_g: Decimal | None, is_weight_checked: bool) -> dict[str, str]:
    wrong = {}
    if seen_weight_g is not None and seen_weight_g != weight.weight_g:
        moved = _("The animal was weighed meanwhile: %(weight)s. The sums are done anew: look at them, then save.")
        wrong["seen_weight_g"] = moved % {"weight": body_weight(weight.weight_g)}
    if (doubt := weight_doubt(patient, weight)) and not is_weight_checked:
        wrong["is_weight_checked"] = f"{doubt} " + _("Weigh it again, or say that this weight is right.")
    return wrong


def _unread(warnings: tuple[str, ...], is_warning_read: bool) -> dict[str, str]:
    if not warnings or is_warning_read:
        return {}
    return {"is_warning_read": " ".join(warnings) + " " + _("Change it, or say that you mean it.")}


