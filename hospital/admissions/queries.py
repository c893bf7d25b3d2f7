"""Reading patients: lists, the search, and who might be the same animal."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Case, Exists, OuterRef, Prefetch, Q, QuerySet, Subquery, When
from django.utils.translation import gettext as _

from hospital.admissions.models import (
    Identification,
    Patient,
    PatientQuerySet,
    Photo,
    Placement,
    Species,
    TaxonGroup,
    Triage,
    Weight,
)
from hospital.admissions.reference import searchable
from hospital.audit.models import AuditEntry
from hospital.audit.queries import history_of, history_of_patient
from hospital.people.models import Person
from hospital.rules import casenumbers
from hospital.sites.models import Hospital

MOST_SPECIES = 12
STAMPED = (Identification.Kind.MICROCHIP, Identification.Kind.RING, Identification.Kind.EAR_TAG)


# --- species ------------------------------------------------------------------------------------------------------


def species_matching(words: str, most: int = MOST_SPECIES) -> list[Species]:
    """Species whose names hold every word, in any order and without regard to accents; the likeliest first."""
    wanted = searchable(words).split()
    if not wanted:
        return []
    found = Species.objects.select_related("group")
    for word in wanted:
        found = found.filter(search_text__contains=word)
    return sorted(found, key=lambda species: _unlikeliness(species, " ".join(wanted)))[:most]


def _unlikeliness(species: Species, words: str) -> tuple:
    """A name that is what was typed comes first, then names that begin so, then words that do."""
    names = [searchable(n) for n in (species.common_name, *species.other_names.split(","), species.scientific_name)]
    return (
        words not in names,
        not any(name.startswith(words) for name in names),
        not any(re.search(rf"\b{re.escape(words)}", name) for name in names),
        len(names[0]),
        names[0],
    )


# --- lists and the search -----------------------------------------------------------------------------------------


def with_what_a_list_shows(patients: QuerySet[Patient]) -> QuerySet[Patient]:
    """Each patient with species, `last_weight_g`, `last_weighed_at` and its open placement as `here`: four queries at most."""
    latest = Weight.objects.filter(patient=OuterRef("pk")).order_by("-weighed_at", "-pk")
    now_at = Placement.objects.open().select_related("carer__person")
    return (
        patients.select_related("species", "hospital")
        .annotate(
            last_weight_g=Subquery(latest.values("weight_g")[:1]),
            last_weighed_at=Subquery(latest.values("weighed_at")[:1]),
        )
        .prefetch_related(Prefetch("placements", now_at, to_attr="here"), "identifications")
    )


def matching(patients: PatientQuerySet, words: str) -> PatientQuerySet:
    """Those that hold every word in case number, name, species, place or mark."""
    for word in words.split():
        plain = plain_mark(word)
        marked = Identification.objects.filter(patient=OuterRef("pk")).filter(
            Q(value__icontains=word) | Q(value__icontains=plain) if plain else Q(value__icontains=word)
        )
        patients = patients.filter(
            Q(case_number__icontains=word)
            | Q(name__icontains=word)
            | Q(found_place__icontains=word)
            | Q(species__search_text__contains=searchable(word))
            | Exists(marked)
        )
    return patients


def living_at(patients: PatientQuerySet, where: str) -> PatientQuerySet:
    """Those in the ward (`where` is "ward"), with any carer ("carers"), or with one ("carer-7"); all for anything else."""
    place = Placement.objects.open().filter(patient=OuterRef("pk"))
    if where == "ward":
        return patients.exclude(Exists(place.exclude(carer=None)))
    if where == "carers":
        return patients.filter(Exists(place.exclude(carer=None)))
    if match := re.fullmatch(r"carer-(\d{1,18})", where):
        return patients.filter(Exists(place.filter(carer=int(match[1]))))
    return patients


def ordered(patients: PatientQuerySet, order: str) -> PatientQuerySet:
    """Newest first, or in the order that the list's form names."""
    urgency = Case(When(triage=Triage.NOW, then=0), When(triage=Triage.TODAY, then=1), default=2)
    orders = {"oldest": ["admitted_at"], "species": ["species__common_name"], "urgent": [urgency]}
    return patients.order_by(*orders.get(order, []), "-admitted_at", "-pk")


def by_case_number(person: Person, words: str) -> Patient | None:
    """The patient that the words are the case number of, if there is one that the person may see."""
    try:
        number = casenumbers.case_number(casenumbers.sequence_of(words))
    except ValueError:
        return None
    return Patient.objects.visible_to(person).filter(case_number=number).first()


# --- one patient ------------------------------------------------------------------------------------------------


def photos_of(patient: Patient) -> QuerySet[Photo]:
    """The photographs, the newest first."""
    return patient.photos.order_by("-taken_at", "-pk").select_related("added_by")


def history(patient: Patient) -> QuerySet[AuditEntry]:
    """What happened to the patient's rows and to the finder's, the newest first."""
    entries = history_of_patient(patient.pk)
    if patient.finder_id:
        entries |= history_of(patient.finder)
    return entries


# --- the same animal? -------------------------------------------------------------------------------------------


class Twin(NamedTuple):
    """A patient that the animal being admitted may already be, and why one may think so."""

    patient: Patient
    why: str


def plain_mark(value: str) -> str:
    """A stamped number as it is stored and compared: capitals, without spaces, hyphens, dots and slashes."""
    return re.sub(r"[\s./-]", "", value).upper()


def stored_mark(kind: str, value: str) -> str:
    """A number stamped by a maker is made plain; a pattern such as shell notches stays as it was written."""
    return plain_mark(value) if kind in STAMPED else " ".join(value.split())


def possible_twins(
    hospital: Hospital,
    *,
    mark: str = "",
    finder_name: str = "",
    finder_phone: str = "",
    on: date,
    besides: Iterable[int] = (),
) -> list[Twin]:
    """Patients of this hospital with the same mark, ever, or from the same finder, admitted on the day `on`.

    `besides` are finders that are known and meant: their other animals are no surprise.
    """
    twins = {p.pk: Twin(p, _("has the same mark")) for p in _with_mark(hospital, mark)}
    for patient in _admitted_on(hospital, on).exclude(finder__in=list(besides)).exclude(finder=None):
        if _is_same_finder(patient, finder_name, finder_phone):
            twins.setdefault(patient.pk, Twin(patient, _("was admitted on the same day from the same finder")))
    return list(twins.values())


def _with_mark(hospital: Hospital, mark: str) -> QuerySet[Patient]:
    if not plain_mark(mark):
        return Patient.objects.none()
    marked = Identification.objects.filter(patient=OuterRef("pk"), kind__in=STAMPED, value=plain_mark(mark))
    patients = Patient.objects.at(hospital).filter(Exists(marked))
    return patients.select_related("species", "hospital").order_by("-admitted_at")


def _admitted_on(hospital: Hospital, on: date) -> QuerySet[Patient]:
    starts = datetime.combine(on, time.min, ZoneInfo(hospital.zone))
    ends = datetime.combine(on + timedelta(days=1), time.min, ZoneInfo(hospital.zone))
    that_day = Patient.objects.at(hospital).filter(admitted_at__gte=starts, admitted_at__lt=ends)
    return that_day.select_related("species", "finder").order_by("-admitted_at")


def _is_same_finder(patient: Patient, name: str, phone: str) -> bool:
    their_phone, digits = _digits(patient.finder.phone), _digits(phone)
    if digits and their_phone:
        return their_phone.endswith(digits[-9:]) or digits.endswith(their_phone[-9:])
    return bool(searchable(name)) and searchable(name) == searchable(patient.finder.name)


def _digits(phone: str) -> str:
    """Digits only; too few to tell people apart count as none."""
    digits = re.sub(r"\D", "", phone)
    return digits if len(digits) >= 6 else ""


# --- taxon groups -------------------------------------------------------------------------------------------------


def in_tree_order(groups: Iterable[TaxonGroup]) -> list[TaxonGroup]:
    """Each group right before the groups below it, siblings by name."""
    below: dict[str | None, list[TaxonGroup]] = {}
    for group in sorted(groups, key=lambda each: each.name):
        below.setdefault(group.parent_id, []).append(group)
    ordered: list[TaxonGroup] = []
    waiting = below.get(None, [])[::-1]
    while waiting:
        ordered.append(waiting.pop())
        waiting += below.get(ordered[-1].slug, [])[::-1]
    return ordered
