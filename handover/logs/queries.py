"""Reading reports, and what a day asks of a carer. Everything about several animals is read in a fixed number of queries."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Case, Prefetch, Q, QuerySet, When

from handover.labels.events import name_of
from handover.logs.models import Answer, Eaten, LogEntry
from handover.logs.water import Water, waters_of
from handover.plans.outlook import Due, Outlook, outlooks
from handover.protocols.queries import book_of
from handover.schedule.protocol import Routine, routines_for
from handover.schedule.watertime import Allowance
from hospital.admissions.models import Patient, Placement, Weight
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import dose_due_at, is_running
from hospital.medications.wording import line
from hospital.people.models import Person
from hospital.procedures.models import Bandage
from hospital.sites.models import Hospital

WEIGHING = ("weigh", "incubation_weigh")
DAYS_AHEAD = 3  # days after today whose pages a phone keeps
ATE = (Eaten.ALL, Eaten.SOME)

# --- reports ------------------------------------------------------------------------------------------------------


def standing_reports(patient: Patient) -> QuerySet[LogEntry]:
    """The reports that no correction has replaced, the latest day first."""
    standing = LogEntry.objects.filter(patient=patient).counting()
    return standing.select_related("author", "later_photo", "seen__seen_by").order_by("-on", "-made_at", "-pk")


def worrying_reports(person: Person, hospital: Hospital) -> QuerySet[LogEntry]:
    """Reports that nobody at the hospital has looked at yet and that ask for it, the gravest answer and the oldest first."""
    patients = Patient.objects.visible_to(person).at(hospital)
    unseen = LogEntry.objects.filter(patient__in=patients, is_worrying=True, seen=None)
    is_grave = Case(When(answer=Answer.PHONE_NOW, then=0), When(answer=Answer.STAY, then=1), default=2)
    read_with = ("author", "later_photo", "patient__species", "patient__hospital")
    grave_first = unseen.order_by(is_grave, "made_at", "pk").select_related(*read_with)
    here = Placement.objects.open().select_related("carer__person")
    on_now = Prefetch("patient__bandages", Bandage.objects.filter(removed_on=None), to_attr="bandages_on")
    return grave_first.prefetch_related("passed_on__to", Prefetch("patient__placements", here, to_attr="here"), on_now)


def held_at(patient: Patient, person: Person, moment: datetime) -> Placement | None:
    """The placement by which a carer had the animal at that moment."""
    mine = patient.placements.filter(carer__person=person, started_at__lte=moment)
    return mine.filter(Q(ended_at=None) | Q(ended_at__gte=moment)).order_by("started_at").last()


def ever_held(patient: Patient, person: Person) -> bool:
    return patient.placements.filter(carer__person=person).exists()


# --- what a day asks for ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Dose:
    """One dose of a course that nobody has written down yet: the `number`th, counted from 0."""

    order: MedicationOrder
    number: int
    due_at: datetime

    @property
    def field(self) -> str:
        return f"dose_{self.order.pk}_{self.number}"

    @property
    def line(self) -> str:
        return line(self.order)


@dataclass(frozen=True, slots=True)
class Chore:
    """Something to do at home today, without an appointment."""

    event: str
    label: str
    about: str
    instruction: str

    @property
    def is_weighing(self) -> bool:
        return self.event in WEIGHING


@dataclass(frozen=True, slots=True)
class Day:
    """One animal on one day, for whoever nurses it."""

    patient: Patient
    on: date
    placement: Placement | None
    outlook: Outlook
    water: Water | None
    allowance: Allowance | None
    doses: tuple[Dose, ...]
    given: tuple[DoseGiven, ...]
    unwritten: tuple[MedicationOrder, ...]  # courses with doses of earlier days of which nobody wrote anything
    chores: tuple[Chore, ...]
    reports: tuple[LogEntry, ...]  # of the day, the first one first
    has_bandage: bool

    @property
    def is_logged(self) -> bool:
        return bool(self.reports)

    @property
    def visits(self) -> list[Due]:
        """The promised days at the clinic from today on, the next one first."""
        return [each for each in self.outlook.due if each.at_clinic and each.on >= self.on]

    @property
    def missed_visits(self) -> list[Due]:
        """What should have been done at the clinic on a day that has gone by, the oldest first: never called the next one."""
        return [each for each in self.outlook.due if each.at_clinic and each.on < self.on]

    @property
    def next_visit(self) -> list[Due]:
        """Everything that is done on the next journey to the clinic."""
        return [each for each in self.visits if each.on == self.visits[0].on]

    @property
    def at_home(self) -> list[Due]:
        """What the plan asks for at home by today."""
        return [each for each in self.outlook.due if not each.at_clinic and each.on <= self.on]

    @property
    def asks_water(self) -> bool:
        """Whether minutes in water are asked for: not in full-time water, nor of an animal without water time."""
        return self.allowance is not None and self.allowance.minutes is not None

    @property
    def minutes_so_far(self) -> int | None:
        said = [each.water_minutes for each in self.reports if each.water_minutes is not None]
        return sum(said) if said else None


def days_of(patients: Iterable[Patient], today: date) -> dict[int, Day]:
    """Today of each animal, in a fixed number of queries for each hospital."""
    patients = list(Patient.objects.select_related("hospital", "species__group", "cause").filter(pk__in=[p.pk for p in patients]))
    keys = [p.pk for p in patients]
    found = outlooks(patients, today)
    cases = {pk: outlook.case for pk, outlook in found.items()}
    waters = waters_of(patients, cases)
    books = {hospital: book_of(hospital) for hospital in {p.hospital for p in patients}}
    orders, reports, weighed = _orders(keys), _reports(keys, today), _weighed(patients)
    days = {}
    for p in patients:
        routines = routines_for(cases[p.pk], books[p.hospital].rules, today, cases[p.pk].previous)
        water, zone = waters[p.pk], p.hospital.zone
        days[p.pk] = Day(
            patient=p,
            on=today,
            placement=next((each for each in p.placements.all() if each.ended_at is None), None),
            outlook=found[p.pk],
            water=water,
            allowance=water.on(today) if water else None,
            doses=tuple(dose for order in orders[p.pk] for dose in doses_due(order, today, zone)),
            given=tuple(dose for order in orders[p.pk] for dose in _written_on(order, today, zone)),
            unwritten=tuple(order for order in orders[p.pk] if unwritten_before(order, today, zone)),
            chores=_chores(each for each in routines if is_due(each, today, weighed.get(p.pk))),
            reports=tuple(reports[p.pk]),
            has_bandage=any(each.removed_on is None for each in p.bandages.all()),
        )
    return days


def day_of(patient: Patient, today: date) -> Day:
    return days_of([patient], today)[patient.pk]


def _orders(keys: list[int]) -> dict[int, list[MedicationOrder]]:
    found: dict[int, list[MedicationOrder]] = defaultdict(list)
    written = Prefetch("doses_given", DoseGiven.objects.select_related("given_by"))
    for order in MedicationOrder.objects.filter(patient__in=keys).prefetch_related(written):
        found[order.patient_id].append(order)
    return found


def doses_due(order: MedicationOrder, today: date, zone: str) -> list[Dose]:
    """Doses planned for today that nothing was written down for. An earlier one that was left out is never made up for here."""
    if order.stopped_on and order.stopped_on <= today:
        return []
    slots = [(n, at) for n, at in enumerate(_slots(order, zone)) if at.date() == today]
    return [Dose(order, n, at) for n, at in slots[len(_written_on(order, today, zone)) :]]


def doses_named(patient: Patient, names: Iterable[str]) -> list[Dose]:
    """The doses that a sent form names (`dose_<order>_<number>`), whether they are still due or not."""
    asked = [(int(found[1]), int(found[2])) for name in names if (found := re.fullmatch(r"dose_(\d{1,12})_(\d{1,4})", name))]
    orders = patient.medication_orders.prefetch_related("doses_given").in_bulk([pk for pk, _number in asked])
    known = sorted((pk, number) for pk, number in set(asked) if pk in orders and number < orders[pk].doses)
    return [Dose(orders[pk], number, _slots(orders[pk], patient.hospital.zone)[number]) for pk, number in known]


def unwritten_before(order: MedicationOrder, today: date, zone: str) -> int:
    """How many doses of the days before today nothing was written down for, while the course runs."""
    if order.stopped_on or not is_running(order, today, zone):
        return 0
    planned = sum(at.date() < today for at in _slots(order, zone))
    return max(0, planned - sum(_on(each.given_at, zone) < today for each in order.doses_given.all()))


def _slots(order: MedicationOrder, zone: str) -> list[datetime]:
    return [dose_due_at(order, number, zone) for number in range(order.doses)]


def _on(moment: datetime, zone: str) -> date:
    return moment.astimezone(ZoneInfo(zone)).date()


def _written_on(order: MedicationOrder, on: date, zone: str) -> list[DoseGiven]:
    return [each for each in order.doses_given.all() if _on(each.given_at, zone) == on]


def _reports(keys: list[int], on: date) -> dict[int, list[LogEntry]]:
    rows = LogEntry.objects.filter(patient__in=keys, on=on).counting().select_related("author")
    found: dict[int, list[LogEntry]] = defaultdict(list)
    for entry in rows.order_by("made_at", "pk"):
        found[entry.patient_id].append(entry)
    return found


def _weighed(patients: Iterable[Patient]) -> dict[int, date]:
    """By patient: the day of the newest weight."""
    zones = {p.pk: ZoneInfo(p.hospital.zone) for p in patients}
    rows = Weight.objects.filter(patient__in=list(zones)).order_by("weighed_at").values_list("patient_id", "weighed_at")
    return {patient_id: at.astimezone(zones[patient_id]).date() for patient_id, at in rows}


def is_due(routine: Routine, today: date, weighed_on: date | None) -> bool:
    """Whether a routine falls on today: weighing counts from the newest weight, all else from the day it began."""
    every = max(1, routine.rule.usual_days or 1)
    if routine.rule.event in WEIGHING:
        return weighed_on is None or (today - weighed_on).days >= every
    return today > routine.since and (today - routine.since).days % every == 0


def _chores(routines: Iterable[Routine]) -> tuple[Chore, ...]:
    """Each thing once a day, however many wounds ask for it; the words of the rule that is written for such a wound."""
    found: dict[str, list[Routine]] = defaultdict(list)
    for routine in routines:
        found[routine.rule.event].append(routine)
    return tuple(_chore(event, sorted(each, key=lambda r: not r.rule.applies_to)) for event, each in found.items())


def _chore(event: str, routines: list[Routine]) -> Chore:
    about = ", ".join(dict.fromkeys(each.label for each in routines if each.label))
    return Chore(event, name_of(event).label, about, routines[0].rule.instruction)


def last_minutes(patient: Patient, before: date) -> int | None:
    """The minutes of the last day on which time in water was reported."""
    said = standing_reports(patient).filter(on__lt=before, water_minutes__isnull=False)
    on = said.values_list("on", flat=True).first()
    return sum(said.filter(on=on).values_list("water_minutes", flat=True)) if on else None


def last_fed_on(patient: Patient, placement: Placement | None, on: date) -> date:
    """The last day before this one on which it ate; with none, the day on which it came to where it is."""
    ate = standing_reports(patient).filter(on__lt=on, eaten__in=ATE).values_list("on", flat=True).first()
    started = placement.started_at if placement else patient.admitted_at
    return ate or min(_on(started, patient.hospital.zone), on)


def usual_food(patient: Patient) -> str:
    return standing_reports(patient).exclude(food="").values_list("food", flat=True).first() or ""


def mine(person: Person) -> list[Placement]:
    """The open placements of a carer, those not taken over yet first."""
    placements = Placement.objects.open().filter(carer__person=person, patient__closed_on=None).select_related("patient__hospital")
    return sorted(placements, key=lambda each: (each.accepted_at is not None, each.started_at))


def last_days(patient: Patient, today: date, days: int) -> list[tuple[date, list[LogEntry]]]:
    """The last days, today first, each with its standing reports; days without any are there too."""
    since = today - timedelta(days - 1)
    by_day: Mapping[date, list[LogEntry]] = defaultdict(list)
    for entry in standing_reports(patient).filter(on__gte=since):
        by_day[entry.on].append(entry)
    return [(day, by_day[day]) for day in (today - timedelta(n) for n in range(days))]


def reports_between(patient: Patient, first: date, last: date) -> Mapping[date, list[LogEntry]]:
    """The standing reports of those days, the first one of a day first."""
    found: dict[date, list[LogEntry]] = defaultdict(list)
    for entry in standing_reports(patient).filter(on__range=(first, last)).order_by("made_at", "pk"):
        found[entry.on].append(entry)
    return found


def noon(on: date, zone: str) -> datetime:
    return datetime.combine(on, time(12), ZoneInfo(zone))

