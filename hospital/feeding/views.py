"""Pages for food and fluids: what is in force, a new plan of either kind, a stop."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.feeding import actions, wording
from hospital.feeding.forms import FeedingForm, FluidForm, PlanForm, StopPlanForm, like, plain
from hospital.feeding.models import FeedingPlan, FluidPlan
from hospital.feeding.queries import feeding_now, feeding_plans_of, fluid_plans_of, fluids_now, in_force, needs_new_weight
from hospital.pages import done, show, status_of
from hospital.people.models import STAFF, Role
from hospital.rules.energy import FOODS


@require_GET
@for_patient(*STAFF)
def plans(request: HttpRequest, patient: Patient) -> HttpResponse:
    """What it is fed and which fluids it gets now, and every plan before."""
    feeding, fluids = list(feeding_plans_of(patient)), list(fluid_plans_of(patient))
    latest = patient.latest_weight()
    now_fed, now_given = (in_force(feeding), in_force(fluids)) if patient.is_in_care else (None, None)
    context = {
        "patient": patient,
        "feeding": _feeding_words(now_fed) if now_fed else None,
        "fluids": _fluid_words(now_given, patient) if now_given else None,
        "feeding_is_old": bool(now_fed and needs_new_weight(now_fed, latest)),
        "fluids_are_old": bool(now_given and needs_new_weight(now_given, latest)),
        "earlier_feeding": [_feeding_words(each) for each in reversed(feeding) if each != now_fed],
        "earlier_fluids": [_fluid_words(each, patient) for each in reversed(fluids) if each != now_given],
        "is_vet": _is_vet(request, patient),
    }
    return show(request, "feeding/plans.html", context)


def _is_vet(request: HttpRequest, patient: Patient) -> bool:
    return request.user.memberships.filter(hospital=patient.hospital_id, role=Role.VET).exists()


def _feeding_words(plan: FeedingPlan) -> dict[str, Any]:
    return {"plan": plan, "food": plan.food, "meals": wording.meals_line(plan), "sums": wording.need_line(plan)}


def _fluid_words(plan: FluidPlan, patient: Patient) -> dict[str, Any]:
    steps = wording.fluid_steps(plan, patient.hospital.zone)
    return {"plan": plan, "line": wording.fluid_line(plan), "steps": steps, "sums": wording.sums_line(plan)}


@for_patient(Role.VET)
def feed(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Sign what the animal is fed. A food of the list puts its energy in."""
    now_fed, latest = feeding_now(patient), feeding_plans_of(patient).last()
    fresh = like(now_fed) if now_fed else {}
    if "use_food" in request.POST:
        fresh = request.POST.dict() | _food(request.POST["use_food"])
        return _show_feeding(request, patient, FeedingForm(patient=patient, latest=latest, initial=fresh))
    form = FeedingForm(request.POST or None, patient=patient, latest=latest, initial=fresh)
    if "work_out" in request.POST:
        return _worked_out(request, form, "feeding/feed.html", "feeding/_ration.html", _feeding_context)
    if done(form, actions.sign_feeding, patient, by=request.user):
        messages.success(request, _("Signed and in force: %(line)s") % {"line": wording.feeding_line(form.result)})
        return redirect("feeding:plans", patient.case_number)
    return _show_feeding(request, patient, form, status=status_of(form))


def _food(name: str) -> dict[str, str]:
    """The name and, if it is listed, the energy of a food; an empty box says: read the packet."""
    food = next((each for each in FOODS if each.name == name), None)
    if food is None:
        return {}
    return {"food": food.name, "kcal_per_g": plain(food.kcal_per_g) if food.kcal_per_g else "", "energy_in": "kcal-1"}


def _show_feeding(request: HttpRequest, patient: Patient, form: FeedingForm, status: int = 200) -> HttpResponse:
    return show(request, "feeding/feed.html", _feeding_context(form), part="feeding/_feed_form.html", status=status)


def _feeding_context(form: FeedingForm) -> dict[str, Any]:
    context: dict[str, Any] = {"patient": form.patient, "form": form, "foods": FOODS}
    if form.asked:
        found = form.asked.worked
        data = form.cleaned_data
        context["ration"] = {
            "need": wording.kcal(found.need_kcal),
            "rest": wording.kcal(found.resting_kcal),
            "meals": wording.meals(found.grams_per_meal, data["meals_per_day"], data["every_days"]),
            "energy": wording.kcal(data["kcal_per_g"]),
            "exact": wording.grams(round(found.exact_g, 3)),
            "linear": wording.kcal(form.linear_kcal) if form.linear_kcal else "",
        }
    return context


@for_patient(Role.VET)
def give(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Sign which fluids it gets, how, and how fast."""
    now_given, latest = fluids_now(patient), fluid_plans_of(patient).last()
    form = FluidForm(request.POST or None, patient=patient, latest=latest, initial=like(now_given) if now_given else {})
    if "work_out" in request.POST:
        return _worked_out(request, form, "feeding/give.html", "feeding/_rates.html", _fluid_context)
    if done(form, actions.sign_fluids, patient, by=request.user):
        messages.success(request, _("Signed and in force: %(line)s") % {"line": wording.fluid_line(form.result)})
        return redirect("feeding:plans", patient.case_number)
    return show(request, "feeding/give.html", _fluid_context(form), part="feeding/_give_form.html", status=status_of(form))


def _fluid_context(form: FluidForm) -> dict[str, Any]:
    context: dict[str, Any] = {"patient": form.patient, "form": form}
    if form.asked:
        found, often = form.asked.worked, form.cleaned_data["times_per_day"]
        context["rates"] = {
            "maintenance": wording.millilitres(found.maintenance_ml_day),
            "deficit": wording.millilitres(found.deficit_ml) if found.deficit_ml else "",
            "steps": [(each.from_hour, wording.amount_line(each, often)) for each in found.phases],
        }
    return context


def _worked_out(request: HttpRequest, form: PlanForm, page: str, part: str, context_of: Any) -> HttpResponse:
    """Nothing is saved. While one types, only the sums are answered and no field is blamed yet."""
    form.is_valid()
    context = context_of(form)
    if request.htmx:
        form.errors.clear()
    return show(request, page, context, part=part)


@for_patient(Role.VET)
def stop(request: HttpRequest, patient: Patient, kind: str) -> HttpResponse:
    """End the plan in force; none takes its place."""
    if kind not in ("food", "fluids"):
        raise Http404
    plan = feeding_now(patient) if kind == "food" else fluids_now(patient)
    if plan is None:
        messages.info(request, _("No such plan is in force."))
        return redirect("feeding:plans", patient.case_number)
    form = StopPlanForm(request.POST or None)
    if done(form, actions.stop_plan, plan, by=request.user):
        messages.success(request, _("Stopped. Tell whoever feeds it: a printed pack does not know."))
        return redirect("feeding:plans", patient.case_number)
    line = wording.feeding_line(plan) if isinstance(plan, FeedingPlan) else wording.fluid_line(plan)
    context = {"patient": patient, "form": form, "line": line}
    return show(request, "feeding/stop.html", context, part="feeding/_stop_form.html", status=status_of(form))
