"""Everything about one patient, in a number of queries that does not grow with what is recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from hospital.admissions.models import Patient, Photo, Placement, Weight
from hospital.clock import today
from hospital.clutches.models import Clutch
from hospital.examinations.models import Examination, Problem
from hospital.examinations.queries import problems_of
from hospital.feeding.models import FeedingPlan, FluidPlan
from hospital.feeding.queries import feeding_plans_of, fluid_plans_of
from hospital.images.models import Image
from hospital.images.queries import images_of
from hospital.labs.models import Sample
from hospital.labs.queries import samples_of
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import orders_of, unsigned_orders_of
from hospital.outcomes.models import Outcome, Reopening
from hospital.placements.models import Loan
from hospital.procedures.models import Bandage, Closure, Implant, Milestone, Procedure
from hospital.register.models import RegisterLine
from hospital.register.queries import apart_from_doses
from hospital.theatre.models import Anaesthetic
from hospital.theatre.queries import anaesthetics_of


@dataclass(frozen=True, slots=True)
class Record:
    """One patient's rows, each list in the order of time, and what day it is where the hospital is."""

    patient: Patient
    today: date
    zone: ZoneInfo
    procedures: list[Procedure]
    closures: list[Closure]
    bandages: list[Bandage]
    implants: list[Implant]
    milestones: list[Milestone]
    examinations: list[Examination]
    problems: list[Problem]  # the open ones first
    samples: list[Sample]  # those that wait first, then the newest
    orders: list[MedicationOrder]
    unsigned_orders: list[MedicationOrder]  # that a second vet has not signed: they wait, or never stood
    doses: list[DoseGiven]
    register_lines: list[RegisterLine]  # of controlled drugs that were drawn up outside the orders
    feeding_plans: list[FeedingPlan]
    fluid_plans: list[FluidPlan]
    anaesthetics: list[Anaesthetic]
    weights: list[Weight]
    placements: list[Placement]
    loans: list[Loan]
    photos: list[Photo]
    clutches: list[Clutch]
    images: list[Image]  # diagnostic, that stand
    reopenings: list[Reopening]
    outcome: Outcome | None

    @property
    def open_problems(self) -> list[Problem]:
        return [each for each in self.problems if each.closed_on is None]

    @property
    def closed_problems(self) -> list[Problem]:
        return [each for each in self.problems if each.closed_on]

    @property
    def last_drawn(self) -> Examination | None:
        """The newest examination with marks on the drawing."""
        return next((each for each in reversed(self.examinations) if each.marks.all()), None)


def record_of(patient: Patient) -> Record:
    """All that is recorded for a patient."""
    return Record(
        patient=patient,
        today=today(patient.hospital.zone),
        zone=ZoneInfo(patient.hospital.zone),
        procedures=list(patient.procedures.select_related("surgeon")),
        closures=list(patient.closures.all()),
        bandages=list(patient.bandages.prefetch_related("changes__changed_by")),
        implants=list(patient.implants.all()),
        milestones=list(patient.milestones.select_related("recorded_by")),
        examinations=list(patient.examinations.select_related("examined_by").prefetch_related("marks")),
        problems=list(problems_of(patient)),
        samples=list(samples_of(patient)),
        orders=list(orders_of(patient)),
        unsigned_orders=list(unsigned_orders_of(patient)),
        doses=list(patient.doses_given.select_related("order", "given_by")),
        register_lines=list(apart_from_doses(patient)),
        feeding_plans=list(feeding_plans_of(patient)),
        fluid_plans=list(fluid_plans_of(patient)),
        anaesthetics=list(anaesthetics_of(patient)),
        weights=list(patient.weights.select_related("weighed_by")),
        placements=list(
            patient.placements.select_related("carer__person", "placed_by").order_by("started_at", "pk")
        ),
        loans=list(patient.loans.select_related("carer__person", "lent_by", "ended_by")),
        photos=list(patient.photos.select_related("added_by").order_by("taken_at", "pk")),
        clutches=list(patient.clutches.prefetch_related("eggs__hatchling").select_related("patient__hospital")),
        images=list(images_of(patient))[::-1],
        reopenings=list(patient.reopenings.select_related("reopened_by")),
        outcome=Outcome.objects.select_related("decided_by").filter(patient=patient).first(),
    )
