"""The sheet of a shift: all animals in the house, what each gets, hour by hour, in a number of queries that does not grow."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from hospital.admissions.models import Patient, Placement, TaxonGroup
from hospital.feeding.models import RUNNING, FeedingPlan, FluidPlan
from hospital.feeding.queries import in_force
from hospital.feeding.wording import fluid_line, fluid_steps, meals_line
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import dose_due_at, needs_new_weight
from hospital.medications.wording import line as medicine_line
from hospital.people.models import Person
from hospital.register.queries import kept_drugs
from hospital.rules.dosetimes import LateDose, nth_dose_at
from hospital.rules.sheet import OVER_FOR, Entry, Hour, State, Written, entries, hours, meal_moments, state_at
from hospital.rules.weights import good_for_days, is_stale
from hospital.sites.models import Hospital
from hospital.ward.models import Attended, Minder

OPEN = (State.DUE, State.LATE, State.MISSED)
GRAVE_FIRST = (State.LATE, State.DUE, State.MISSED, State.COMING, State.REFUSED, State.GIVEN)


@dataclass(frozen=True, slots=True)
class Task:
    """A course, a feeding plan or a fluid plan of one animal, with its entries in the shift.

    `what` names it in an address: "dose", "meal" or "fluid" with the id of its row.
    """

    what: str
    pk: int
    name: str
    line: str
    entries: tuple[Entry, ...]
    can_tap: bool  # whether one tap may sign it: not a controlled drug, not one for a second vet
    warning: str = ""
    next_number: int | None = None  # of a course: only the first dose that nobody wrote of can be signed

    def may_sign(self, entry: Entry) -> bool:
        return entry.written is None and (self.next_number is None or entry.number == self.next_number)

    def by_hour(self, found: Iterable[Hour]) -> list[list[Entry]]:
        return [[each for each in self.entries if hour.holds(each.due_at)] for hour in found]


@dataclass(frozen=True, slots=True)
class Animal:
    """One animal in the house, where it lives, and what it gets in this shift."""

    patient: Patient
    ward: str
    tasks: tuple[Task, ...]
    weighed_on: date | None = None
    weigh_every_days: int | None = None  # for how long a weight is good in its group, once the last one is older; None: it is not
    is_mine: bool = False  # whether the person who looks minds it

    @property
    def weighing_is_due(self) -> bool:
        return self.weigh_every_days is not None


@dataclass(frozen=True, slots=True)
class Shift:
    """What is asked of every animal: from when to when, as of when, and how this hospital counts."""

    starts_at: datetime
    ends_at: datetime
    at: datetime
    zone: str
    waits: Mapping[str, timedelta]
    kept: frozenset[str]  # medicines that are kept in the register


@dataclass(frozen=True, slots=True)
class Sheet:
    hours: tuple[Hour, ...]
    animals: tuple[Animal, ...]
    at: datetime

    def to_weigh(self) -> list[Animal]:
        """Animals whose last weight is too old to dose from, or that have none."""
        return [each for each in self.animals if each.weighing_is_due]

    def open_now(self) -> list[tuple[Animal, Task, Entry]]:
        """What waits for a hand now, late things first: what nobody wrote of and a dose that can be signed."""
        found = [
            (animal, task, entry)
            for animal in self.animals
            for task in animal.tasks
            for entry in task.entries
            if entry.state in OPEN and task.may_sign(entry)
        ]
        return sorted(found, key=lambda each: (GRAVE_FIRST.index(each[2].state), each[2].due_at, each[0].ward, each[0].patient.case_number))


def waits_of(hospital: Hospital) -> dict[str, timedelta]:
    """After how long something is late and missed at this hospital, as rules.sheet takes it."""
    minutes = {"grace": hospital.late_after_minutes, "late_until": hospital.missed_after_minutes}
    return {name: timedelta(minutes=each) for name, each in minutes.items()}


def _lineage(group: str, parents: dict[str, str | None]) -> tuple[str, ...]:
    """TaxonGroup.lineage for many animals of one query."""
    slugs: list[str] = []
    at: str | None = group
    while at:
        slugs.append(at)
        at = parents.get(at)
    return tuple(slugs)


def sheet_of(
    person: Person, hospital: Hospital, starts_at: datetime, ends_at: datetime, at: datetime, ward: str = "", *, is_mine: bool = False
) -> Sheet:
    """The sheet of a shift at a hospital, of one ward or of all, or of the animals that this person minds.

    Late things from before the shift stand in it as well.
    """
    shift = Shift(starts_at, ends_at, at, hospital.zone, waits_of(hospital), frozenset(kept_drugs(hospital)))
    inside = [each for each in _in_house(person, hospital, ends_at) if ward in ("", _ward_of(each))]
    if is_mine:
        inside = [each for each in inside if each.minded]
    parents = dict(TaxonGroup.objects.values_list("slug", "parent"))
    animals = [_animal(each, shift, _lineage(each.species.group_id, parents)) for each in inside]
    return Sheet(hours(starts_at, ends_at), tuple(sorted(animals, key=lambda each: (each.ward, each.patient.case_number))), at)


def wards_of(person: Person, hospital: Hospital) -> list[str]:
    """The wards in which animals are now."""
    rows = Placement.objects.open().filter(carer=None, patient__in=Patient.objects.visible_to(person).at(hospital).in_care())
    return sorted(set(rows.exclude(ward="").values_list("ward", flat=True)))


def _in_house(person: Person, hospital: Hospital, until: datetime) -> list[Patient]:
    """Animals in care that are not with a carer, with all that the sheet reads of them."""
    orders = MedicationOrder.objects.prefetch_related(Prefetch("doses_given", DoseGiven.objects.select_related("given_by")))
    attended = Attended.objects.filter(due_at__gte=until - timedelta(days=3)).select_related("done_by")
    found = Patient.objects.visible_to(person).at(hospital).in_care().select_related("species__group", "hospital")
    found = found.prefetch_related(
        Prefetch("placements", Placement.objects.open(), to_attr="here"),
        Prefetch("medication_orders", orders),
        Prefetch("feedingplans", FeedingPlan.objects.select_related("stop")),
        Prefetch("fluidplans", FluidPlan.objects.select_related("stop")),
        Prefetch("attended", attended),
        Prefetch("minders", Minder.objects.filter(ended_at=None, person=person), to_attr="minded"),
        "weights",
    )
    return [each for each in found if not (each.here and each.here[0].carer_id)]


def _ward_of(patient: Patient) -> str:
    return patient.here[0].ward if patient.here else ""


def _animal(patient: Patient, shift: Shift, lineage: tuple[str, ...]) -> Animal:
    weights = list(patient.weights.all())
    latest = weights[-1] if weights else None
    days = good_for_days(lineage)
    weighed_on = latest.weighed_at.astimezone(ZoneInfo(shift.zone)).date() if latest else None
    is_old = weighed_on is None or is_stale(weighed_on, shift.at.astimezone(ZoneInfo(shift.zone)).date(), days)
    found = [_course(order, shift, latest.weight_g if latest else None) for order in patient.medication_orders.all()]
    attended: dict[tuple[str, int], list[Attended]] = defaultdict(list)
    for row in patient.attended.all():
        attended["meal" if row.feeding_id else "fluid", row.feeding_id or row.fluid_id].append(row)
    if plan := in_force(patient.feedingplans.all()):
        found.append(_meals(plan, shift, attended["meal", plan.pk]))
    if fluids := in_force(patient.fluidplans.all()):
        found.append(_fluids(fluids, shift, attended["fluid", fluids.pk]))
    tasks = tuple(task for task in found if task)
    return Animal(patient, _ward_of(patient), tasks, weighed_on, days if is_old else None, bool(patient.minded))


def _is_long_over(order: MedicationOrder, shift: Shift) -> bool:
    """Whether its last dose lies so far back that no dose of it needs to be worked out."""
    written = [dose.given_at for dose in order.doses_given.all()]
    last_at = nth_dose_at(order.first_dose_at, order.every_hours, order.doses - 1)
    if order.late_dose == LateDose.SHIFT and written:  # a late dose moves what follows by as much
        last_at = max(last_at, nth_dose_at(max(written), order.every_hours, max(order.doses - len(written), 0)))
    return last_at + OVER_FOR < min(shift.starts_at, shift.at)


def _course(order: MedicationOrder, shift: Shift, latest_g: Decimal | None) -> Task | None:
    """A course with its doses of the shift, and an earlier one that is still late."""
    if _is_long_over(order, shift):
        return None
    zone, starts_at, ends_at = shift.zone, shift.starts_at, shift.ends_at
    due = [dose_due_at(order, number, zone) for number in range(order.doses)]
    written = [Written(State(dose.kind), dose.given_at, str(dose.given_by), dose.pk) for dose in order.doses_given.all()]
    found = entries(due, written, shift.at, **shift.waits)
    next_number = len(written) if len(written) < len(due) else None
    shown = [each for each in found if starts_at <= each.due_at < ends_at or (each.number == next_number and each.due_at < starts_at)]
    if order.stopped_on:
        shown = [each for each in shown if each.written]
    if not shown:
        return None
    is_plain = order.drug.casefold() not in shift.kept and not order.is_controlled
    warning = "weight" if needs_new_weight(order, latest_g) else ""
    return Task("dose", order.pk, order.drug, medicine_line(order), tuple(shown), is_plain, warning, next_number)


def planned_moments(plan: FeedingPlan | FluidPlan, starts_at: datetime, ends_at: datetime) -> tuple[datetime, ...]:
    """When the meals or the fluids of a plan are due between two moments (the second not included), in the hospital's zone.

    A drip runs by the hour and has no such moments.
    """
    zone = ZoneInfo(plan.patient.hospital.zone)
    if isinstance(plan, FeedingPlan):
        first, times, every_days = plan.ordered_at.astimezone(zone), plan.meals_per_day, plan.every_days
    elif plan.route in RUNNING or not plan.times_per_day:
        return ()
    else:
        first, times, every_days = plan.starts_at.astimezone(zone), plan.times_per_day, 1
    return meal_moments(times, every_days, first.date(), max(starts_at.astimezone(zone), first), ends_at.astimezone(zone))


def _meals(plan: FeedingPlan, shift: Shift, rows: list[Attended]) -> Task | None:
    shown = _planned(planned_moments(plan, shift.starts_at, shift.ends_at), rows, shift)
    return Task("meal", plan.pk, plan.food, meals_line(plan), shown, True) if shown else None


def _fluids(plan: FluidPlan, shift: Shift, rows: list[Attended]) -> Task | None:
    """Fluids with their amount now. A drip has its rate as a line and nothing to tap."""
    steps = fluid_steps(plan, plan.patient.hospital.zone, since=shift.at)
    line = " · ".join([fluid_line(plan), *(f"{when}: {amount}" for when, amount in steps[:2])])
    is_drip = plan.route in RUNNING or not plan.times_per_day
    shown = () if is_drip else _planned(planned_moments(plan, shift.starts_at, shift.ends_at), rows, shift)
    return Task("fluid", plan.pk, plan.fluid, line, shown, not is_drip) if shown or is_drip else None


def _planned(due: Iterable[datetime], rows: list[Attended], shift: Shift) -> tuple[Entry, ...]:
    """Each planned moment with what was written of it, matched by the moment itself."""
    said = {row.due_at: Written(State(row.kind), row.done_at, str(row.done_by), row.pk) for row in rows}
    return tuple(
        Entry(number, moment, said[moment].state if moment in said else state_at(moment, shift.at, **shift.waits), said.get(moment))
        for number, moment in enumerate(due)
    )
