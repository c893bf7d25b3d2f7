"""Reading the register: pages with their balance, lines, what is to settle, and whether the chain holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery

from hospital.admissions.models import Patient
from hospital.people.models import CLINICAL, Person, hospitals_where
from hospital.register.models import (
    LIQUIDS,
    CountEntry,
    Kind,
    RegisterLine,
    RegisterPage,
    RegisterRules,
    StrengthUnit,
)
from hospital.rules.register import Fault, first_fault
from hospital.sites.models import Hospital

STILL_THERE = timedelta(days=14)  # a line about a case that was closed so lately can be entered without retyping its number
A_COUNT_WAITS = timedelta(hours=1)  # for the second person; after that both count anew
_MICROGRAMS = {StrengthUnit.MICROGRAM: 1, StrengthUnit.MG: 1000}


def rules_of(hospital: Hospital) -> RegisterRules:
    """What the hospital asks; the defaults, unsaved, where nobody has changed them."""
    return RegisterRules.objects.filter(hospital=hospital).first() or RegisterRules(hospital=hospital)


def may_record(person: Person, hospital: Hospital) -> bool:
    """Whether the person is a vet or nurse there: only they write in the register."""
    return hospitals_where(person, CLINICAL).filter(hospital=hospital).exists()


def witnesses(hospital: Hospital, besides: Person) -> QuerySet[Person]:
    """The other vets and nurses of the hospital."""
    theirs = {"memberships__hospital": hospital, "memberships__role__in": CLINICAL}
    return Person.objects.filter(is_active=True, **theirs).exclude(pk=besides.pk).distinct().order_by("name")


def patients_to_choose(person: Person, hospital: Hospital, today: date) -> QuerySet[Patient]:
    """Animals in care, and those whose case was closed in the last two weeks."""
    seen = Patient.objects.visible_to(person).at(hospital).select_related("species")
    late = seen.filter(closed_on__gte=today - STILL_THERE)
    return (seen.in_care() | late).distinct().order_by("closed_on", "-admitted_at")


# --- pages --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Standing:
    """A page as it stands."""

    page: RegisterPage
    last: RegisterLine | None
    last_count: RegisterLine | None
    not_witnessed: tuple[int, ...]  # numbers of lines
    discrepancies: tuple[RegisterLine, ...]
    is_count_due: bool

    @property
    def balance_thousandths(self) -> int:
        return self.last.balance_thousandths if self.last else 0

    @property
    def is_in_use(self) -> bool:
        """Whether it must be counted: there is stock, or should be, or something is to settle."""
        return bool(self.balance_thousandths or self.not_witnessed or self.discrepancies)

    @cached_property
    def is_to_settle(self) -> bool:
        return bool(self.not_witnessed or self.discrepancies or self.is_count_due)


def standings(pages: QuerySet[RegisterPage], hospital: Hospital, now: datetime) -> list[Standing]:
    """Every page with its balance and what is to settle: six queries, however many pages."""
    rows = list(pages)
    if not rows:
        return []
    lines = RegisterLine.objects.filter(page__in=rows).select_related("page")
    newest = lines.filter(page=OuterRef("pk")).order_by("-number")
    ids = pages.order_by().annotate(
        last_id=Subquery(newest.values("pk")[:1]), count_id=Subquery(newest.filter(kind=Kind.COUNT).values("pk")[:1])
    )
    of_page = {pk: (last, count) for pk, last, count in ids.values_list("pk", "last_id", "count_id")}
    kept = lines.in_bulk([each for pair in of_page.values() for each in pair if each])
    waiting, open_ = list(lines.not_witnessed()), list(lines.open_discrepancies())
    since = now - timedelta(days=rules_of(hospital).count_every_days)
    return [
        _standing(
            page,
            *(kept.get(each) for each in of_page[page.pk]),
            not_witnessed=tuple(line.number for line in waiting if line.page_id == page.pk),
            discrepancies=tuple(line for line in open_ if line.page_id == page.pk),
            since=since,
        )
        for page in rows
    ]


def _standing(
    page: RegisterPage, last: RegisterLine | None, count: RegisterLine | None, *, since: datetime, **found
) -> Standing:
    counted_at = count.done_at if count else page.opened_at
    is_due = bool(last and last.balance_thousandths and counted_at < since)
    return Standing(page, last, count, is_count_due=is_due, **found)


def to_settle(hospital: Hospital, now: datetime) -> list[Standing]:
    """Pages of a hospital on which a count differs, a witness is missing or a count is due: for the day's board."""
    return [each for each in standings(RegisterPage.objects.at(hospital), hospital, now) if each.is_to_settle]


def balance_of(page: RegisterPage) -> int:
    """What the register says is there, in thousandths."""
    last = page.lines.order_by("-number").first()
    return last.balance_thousandths if last else 0


def pages_of_drug(hospital: Hospital, drug: str) -> list[RegisterPage]:
    """Pages of a drug, whatever the strength. Empty: the drug is not kept in the register."""
    return list(RegisterPage.objects.at(hospital).filter(drug__iexact=drug.strip()))


def kept_drugs(hospital: Hospital) -> set[str]:
    """Names, in small letters, of all drugs that have a page in the register."""
    return {drug.casefold() for drug in RegisterPage.objects.at(hospital).values_list("drug", flat=True)}


def same_strength(pages: Iterable[RegisterPage], strength: Decimal, unit: str) -> list[RegisterPage]:
    """The liquids among the pages that have this strength per mL: 0.5 mg is 500 micrograms."""

    def plain(amount: Decimal, of: str) -> tuple[Decimal, bool]:
        return (amount * _MICROGRAMS.get(StrengthUnit(of), 1), of == StrengthUnit.UNIT)

    return [p for p in pages if p.form in LIQUIDS and plain(p.strength, p.strength_unit) == plain(strength, unit)]


def same_kind(page: RegisterPage) -> QuerySet[RegisterPage]:
    """Pages of the same drug, form and strength in other places of the hospital."""
    same = {name: getattr(page, name) for name in ("form", "strength", "strength_unit")}
    return RegisterPage.objects.at(page.hospital).filter(drug__iexact=page.drug, **same).exclude(pk=page.pk)


# --- lines --------------------------------------------------------------------------------------------------------


def lines_of(page: RegisterPage) -> QuerySet[RegisterLine]:
    """The lines in order, as wording.rows wants them."""
    return in_detail(page.lines.all()).order_by("number")


def in_detail(lines: QuerySet[RegisterLine]) -> QuerySet[RegisterLine]:
    """Each line with the lines that refer to it (`referring.all()`) and its standing."""
    referring = Prefetch("referring", RegisterLine.objects.with_standing().select_related("page").order_by("number"))
    return lines.with_standing().select_related("page", "patient", "refers_to").prefetch_related(referring)


def apart_from_doses(patient: Patient) -> QuerySet[RegisterLine]:
    """What was drawn up for a patient outside the orders: anaesthetics, euthanasia, rests that were wasted."""
    return in_detail(patient.register_lines.filter(dose=None).exclude(kind=Kind.CORRECTION)).order_by("done_at", "pk")


def corrected_thousandths(line: RegisterLine) -> int:
    """What the line moved, all corrections counted in."""
    return line.moved_thousandths + sum(
        line.referring.filter(kind=Kind.CORRECTION).values_list("moved_thousandths", flat=True)
    )


def first_count(page: RegisterPage, now: datetime) -> CountEntry | None:
    """The count of a first person that waits for a second: none when stock has moved since, or after an hour."""
    entry = page.count_entries.select_related("counted_by").order_by("-pk").first()
    last = page.lines.order_by("-number").values_list("number", flat=True).first() or 0
    is_waiting = entry and entry.place == 1 and entry.after_number == last and entry.counted_at > now - A_COUNT_WAITS
    return entry if is_waiting else None


# --- the chain ----------------------------------------------------------------------------------------------------


def fault_of(page: RegisterPage) -> Fault | None:
    """The first bad line of a page; None when the chain holds."""
    lines = page.lines.select_related("page").order_by("number").iterator(chunk_size=500)
    return first_fault(line.as_link() for line in lines)


def faults(pages: Iterable[RegisterPage]) -> Iterator[tuple[RegisterPage, Fault]]:
    for page in pages:
        if fault := fault_of(page):
            yield page, fault

