"""Courses that run now or wait for a second vet, doses that were given, and what of the formulary is in force."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from hospital.admissions.models import Patient, TaxonGroup, Weight
from hospital.admissions.queries import in_tree_order
from hospital.medications.formulary import best_row, medicine_of, reference, row_of
from hospital.medications.models import DoseGiven, FormularyAdoption, MedicationOrder
from hospital.people.models import Person, Role
from hospital.rules.dosetimes import LateDose, due_at, next_dose, washout_ends
from hospital.rules.formulary import Entry, Span
from hospital.rules.weights import has_changed
from hospital.sites.models import Hospital

# --- courses ------------------------------------------------------------------------------------------------------


def orders_of(patient: Patient) -> QuerySet[MedicationOrder]:
    """Every course in force with the doses written down, who ordered it, and the patient's hospital: two queries."""
    return patient.medication_orders.select_related("ordered_by", "countersigned_by").prefetch_related(
        "doses_given"
    )


def unsigned_orders_of(patient: Patient) -> QuerySet[MedicationOrder]:
    """Orders that a second vet has not signed: those that wait, and those that were taken back or declined."""
    written = patient.medication_orders(manager="written")
    return written.filter(needs_countersign=True, countersigned_at=None).select_related("ordered_by")


def waiting_orders(hospitals: Iterable[int] | QuerySet) -> QuerySet[MedicationOrder]:
    """Orders of open cases that wait for a second vet, the oldest first."""
    waiting = MedicationOrder.written.filter(needs_countersign=True, countersigned_at=None, stopped_on=None)
    theirs = waiting.filter(patient__hospital__in=hospitals, patient__closed_on=None)
    return theirs.select_related("ordered_by", "patient__species__group", "patient__hospital").order_by("ordered_at", "pk")


def span_of(order: MedicationOrder, zone: str) -> Span:
    """A course as the formulary's rules compare it with others."""
    first = order.first_dose_at.astimezone(ZoneInfo(zone))
    ends = next_dose(last_dose_at(order, zone), order.every_hours)
    if order.stopped_on:
        ends = min(ends, datetime.combine(order.stopped_on + timedelta(days=1), datetime.min.time(), ZoneInfo(zone)))
    return Span(order.pk, *medicine_and_class(order.drug, order.adoption), first, max(first, ends))


def medicine_and_class(drug: str, adoption: FormularyAdoption | None) -> tuple[str, str]:
    """The name that two orders of one medicine share, and its class; of an unknown one, its first word and none."""
    known = medicine_of(drug)
    if adoption:
        entry = Entry.from_json(adoption.content)
        return known.name if known else entry.drug.casefold(), entry.medicine_class
    return (known.name, known.medicine_class) if known else (drug.casefold().split()[0] if drug.split() else "", "")


def other_courses(patient: Patient, at: datetime) -> list[tuple[MedicationOrder, Span]]:
    """Courses, in force or waiting, that were neither stopped nor are over."""
    zone = patient.hospital.zone
    written = patient.medication_orders(manager="written").filter(stopped_on=None)
    written = written.select_related("adoption").prefetch_related("doses_given")
    spans = [(order, span_of(order, zone)) for order in written]
    return [(order, span) for order, span in spans if span.ends_at > at]


def dose_due_at(order: MedicationOrder, number: int, zone: str, until: datetime | None = None) -> datetime:
    """When a dose falls due (the first is number 0), in the hospital's zone, as late doses before it have moved it:
    all of them, or those that were written down by the moment `until`."""
    given_at: list[datetime | None] = []
    if order.late_dose == LateDose.SHIFT:
        written = [dose for dose in order.doses_given.all() if until is None or dose.given_at <= until]
        given_at = [dose.given_at if dose.kind == DoseGiven.Kind.GIVEN else None for dose in written]
    first_at = order.first_dose_at.astimezone(ZoneInfo(zone))
    return due_at(first_at, order.every_hours, number, given_at, LateDose(order.late_dose))


def last_dose_at(order: MedicationOrder, zone: str) -> datetime:
    """When the last dose of the course falls due, in the hospital's zone."""
    return dose_due_at(order, order.doses - 1, zone)


def washed_out_at(order: MedicationOrder, zone: str) -> datetime | None:
    """When five half-lives will have passed since the last dose given, or to be given; None if no half-life is known, or nothing
    was given of a course that was stopped."""
    if order.half_life_hours is None:
        return None
    given = [dose.given_at for dose in order.doses_given.all() if dose.kind == DoseGiven.Kind.GIVEN]
    if order.stopped_on is None:
        given.append(last_dose_at(order, zone))
    return washout_ends(max(given).astimezone(ZoneInfo(zone)), order.half_life_hours) if given else None


def ends_on(order: MedicationOrder, zone: str) -> date:
    """The last day on which the course is given: the day it was stopped, or that of its last dose."""
    return order.stopped_on or last_dose_at(order, zone).date()


def is_running(order: MedicationOrder, today: date, zone: str) -> bool:
    """Whether doses may still be due: not stopped, and the day of the last dose is not over."""
    return order.stopped_on is None and last_dose_at(order, zone).date() >= today


def next_dose_at(order: MedicationOrder, zone: str) -> datetime | None:
    """When the next dose falls due: the first planned one that nothing was written down for. None when all are."""
    written = len(order.doses_given.all())
    if written >= order.doses:
        return None
    return dose_due_at(order, written, zone)


def needs_new_weight(order: MedicationOrder, latest_g: Decimal | None) -> bool:
    """Whether the animal's weight has moved by more than 10 % since the dose was worked out."""
    return latest_g is not None and has_changed(order.weight_g, latest_g)


def recent_weights(patient: Patient) -> list[Weight]:
    """Every weight, the newest first."""
    return list(patient.weights.order_by("-weighed_at", "-pk"))


def other_vets(patient: Patient, than: Person) -> QuerySet[Person]:
    """The other vets of the patient's hospital, who may countersign."""
    theirs = {"memberships__hospital": patient.hospital_id, "memberships__role": Role.VET}
    return Person.objects.filter(is_active=True, **theirs).exclude(pk=than.pk).distinct().order_by("name")


# --- the formulary ------------------------------------------------------------------------------------------------


def adoptions_in_force(hospital: Hospital) -> QuerySet[FormularyAdoption]:
    return FormularyAdoption.objects.filter(hospital=hospital, ended_at=None).order_by("pk")


class Judge(NamedTuple):
    """The row that an order is judged by: one in force, or else the proposal of the reference list.

    `nearer`: a row of the reference list for a nearer group of animals, which nobody here adopted while a wider one is in force.
    """

    entry: Entry | None
    adoption: FormularyAdoption | None
    nearer: Entry | None = None


def rows_in_force(hospital: Hospital) -> dict[str, tuple[Entry, FormularyAdoption]]:
    """What this hospital's vets adopted, by slug."""
    return {each.slug: (Entry.from_json(each.content), each) for each in adoptions_in_force(hospital)}


def judge_of(hospital: Hospital, drug: str, lineage: tuple[str, ...], route: str) -> Judge:
    """By what an order is judged. A row in force for a wider group comes before a nearer one that nobody adopted, and says so."""
    adopted = rows_in_force(hospital)
    entry = best_row([row for row, _ in adopted.values()], drug, lineage, route)
    listed = best_row(reference().rows, drug, lineage, route)
    if entry is None:
        return Judge(listed, None)
    is_nearer = listed is not None and lineage.index(listed.group) < lineage.index(entry.group)
    return Judge(entry, adopted[entry.slug][1], listed if is_nearer else None)


def is_controlled(hospital: Hospital, drug: str, lineage: tuple[str, ...]) -> bool:
    """Whether the hospital's formulary, or else the reference list, calls a medicine a controlled drug."""
    judge = judge_of(hospital, drug, lineage, "")
    if judge.entry:
        return judge.entry.is_controlled
    known = medicine_of(drug)
    return bool(known and known.is_controlled)


class Shelved(NamedTuple):
    """A row of the reference list beside what the hospital made of it. `entry` is what is in force, else the proposal."""

    row: Entry | None
    adoption: FormularyAdoption | None
    entry: Entry

    @property
    def slug(self) -> str:
        return self.entry.slug

    @property
    def is_changed(self) -> bool:
        """Whether the hospital adopted it with figures of its own."""
        return bool(self.row and self.adoption and self.row != self.entry)

    @property
    def is_own(self) -> bool:
        """Whether the hospital wrote the row itself."""
        return self.slug.startswith(OWN)


OWN = "own."


def _shelved(row: Entry | None, adoption: FormularyAdoption | None) -> Shelved:
    entry = Entry.from_json(adoption.content) if adoption else row
    assert entry is not None
    return Shelved(row, adoption, entry)


def shelf(hospital: Hospital, group: str) -> list[Shelved]:
    """All rows of one group: the list's in its order, then adoptions that are the hospital's own or have left the list."""
    adopted = {a.slug: a for a in adoptions_in_force(hospital).filter(group=group).select_related("adopted_by")}
    rows = [_shelved(row, adopted.pop(row.slug, None)) for row in reference().rows if row.group == group]
    return rows + [_shelved(None, adoption) for adoption in adopted.values()]


def shelved(hospital: Hospital, slug: str) -> Shelved | None:
    """One row beside its adoption, or None if neither is there."""
    found = adoptions_in_force(hospital).filter(slug=slug).select_related("adopted_by", "group").first()
    row = row_of(slug)
    return _shelved(row, found) if row or found else None


def history(hospital: Hospital, slug: str) -> QuerySet[FormularyAdoption]:
    """Every version that was ever in force here, the newest first."""
    return FormularyAdoption.objects.filter(hospital=hospital, slug=slug).select_related("adopted_by").order_by("-version")


class GroupCount(NamedTuple):
    """A taxon group, how many rows the list and the hospital have for it, and how many are in force here."""

    group: TaxonGroup
    rows: int
    in_force: int


def group_counts(hospital: Hospital) -> list[GroupCount]:
    """Every group with rows, wide groups before the narrow ones below them."""
    adopted = list(adoptions_in_force(hospital).values_list("slug", "group"))
    rows = {row.slug: row.group for row in reference().rows} | dict(adopted)
    counts, in_force = Counter(rows.values()), Counter(group for _, group in adopted)
    groups = in_tree_order(TaxonGroup.objects.all())
    return [GroupCount(group, counts[group.slug], in_force[group.slug]) for group in groups if counts[group.slug]]
