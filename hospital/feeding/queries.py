"""What is in force for an animal, and what was before."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from hospital.admissions.models import Patient, Weight
from hospital.feeding.models import FeedingPlan, FluidPlan
from hospital.rules.weights import has_changed


def feeding_plans_of(patient: Patient) -> QuerySet[FeedingPlan]:
    """Every feeding plan, the first one first, with who signed and who stopped it."""
    return patient.feedingplans.select_related("ordered_by", "stop__stopped_by").order_by("version")


def fluid_plans_of(patient: Patient) -> QuerySet[FluidPlan]:
    """Every fluid plan, the first one first, with who signed and who stopped it."""
    return patient.fluidplans.select_related("ordered_by", "stop__stopped_by").order_by("version")


def in_force(plans: QuerySet | list) -> Any | None:
    """The newest plan, unless it was stopped."""
    newest = list(plans)[-1:]
    return newest[0] if newest and newest[0].stopped is None else None


def feeding_now(patient: Patient) -> FeedingPlan | None:
    """What the animal is fed by now; nothing once its case is closed."""
    return None if patient.closed_on else in_force(feeding_plans_of(patient))


def fluids_now(patient: Patient) -> FluidPlan | None:
    """Which fluids it gets now; nothing once its case is closed."""
    return None if patient.closed_on else in_force(fluid_plans_of(patient))


def fluids_at_home(patient: Patient) -> FluidPlan | None:
    """The fluid plan if a vet left it to the carer: any other is for the hospital's staff alone."""
    plan = fluids_now(patient)
    return plan if plan and plan.carer_gives else None


def weights_of(patient: Patient) -> list[Weight]:
    """Every weight, the newest first."""
    return list(patient.weights.order_by("-weighed_at", "-pk"))


def needs_new_weight(plan: FeedingPlan | FluidPlan, latest: Weight | None) -> bool:
    """Whether the animal's weight has moved by more than 10 % since the plan was worked out."""
    return latest is not None and has_changed(plan.weight_g, latest.weight_g)
