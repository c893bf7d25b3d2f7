"""What waits between the hospital and its carers: offers without an answer, offers declined, things that are late back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from hospital.admissions.days import in_words
from hospital.admissions.models import Patient, PatientQuerySet, Placement
from hospital.people.models import Person
from hospital.placements.models import Loan
from hospital.placements.queries import animals_of, lineages_of
from hospital.placements.suitability import days_left
from hospital.sites.models import Hospital

UNANSWERED_AFTER = timedelta(days=1)
SOON_DAYS = 7
DECLINED_FOR = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Waiting:
    """One thing for somebody to see to: what it is, about whom, and where."""

    id: str
    title: str
    about: str
    word: str
    url: str


def custody(person: Person, hospital: Hospital, now: datetime, today: date) -> list[Waiting]:
    """Days that the law's limit leaves, then the declined, then what nobody has answered, then what is late back."""
    patients = Patient.objects.visible_to(person).at(hospital).in_care()
    return [*_days_left(patients, hospital, today), *_offers(patients, now), *_late_back(hospital, today)]


def _days_left(patients: PatientQuerySet, hospital: Hospital, today: date) -> list[Waiting]:
    """Animals at carers for whom the hospital's limit of days is used up, or soon will be."""
    if not hospital.holding_limits.exclude(most_days=None).exists():
        return []
    at_carers = patients.filter(pk__in=Placement.objects.open().exclude(carer=None).values("patient"))
    there = list(at_carers.select_related("species__group", "hospital"))
    left = [(each, days_left(animal)) for each, animal in zip(there, animals_of(there, lineages_of(), today).values(), strict=True)]
    return [_short(each, days) for each, days in left if days is not None and days <= SOON_DAYS]


def _short(patient: Patient, days: int) -> Waiting:
    more = ngettext("%(n)d more day with carers, by the hospital’s limit", "%(n)d more days with carers, by the hospital’s limit", days)
    title = more % {"n": days} if days > 0 else _("No more days with carers, by the hospital’s limit")
    return Waiting(f"days-{patient.pk}", title, str(patient), _("Limit"), reverse("placements:chain", args=[patient.case_number]))


def _offers(patients: PatientQuerySet, now: datetime) -> list[Waiting]:
    """An offer that was declined waits as long as no carer has the animal, a week at most."""
    unanswered = Q(ended_at=None, accepted_at=None, started_at__lt=now - UNANSWERED_AFTER)
    homeless = patients.exclude(pk__in=Placement.objects.open().exclude(carer=None).values("patient"))
    declined = Q(declined_at__gt=now - DECLINED_FOR, patient__in=homeless)
    rows = Placement.objects.filter(patient__in=patients).exclude(carer=None).filter(unanswered | declined)
    rows = rows.select_related("patient__species", "carer__person").order_by("-declined_at", "started_at")
    return [_declined(each) if each.declined_at else _unanswered(each) for each in rows]


def _declined(each: Placement) -> Waiting:
    title = _("%(carer)s cannot take it: %(why)s") % {"carer": each.carer, "why": each.declined_why}
    url = reverse("placements:place", args=[each.patient.case_number])
    return Waiting(f"declined-{each.pk}", title, str(each.patient), _("Declined"), url)


def _unanswered(each: Placement) -> Waiting:
    when = date_format(localtime(each.started_at), "D d-M-Y H:i")
    title = _("%(carer)s has not answered since %(when)s") % {"carer": each.carer, "when": when}
    url = reverse("placements:carer", args=[each.carer_id])
    return Waiting(f"offered-{each.pk}", title, str(each.patient), _("Offered"), url)


def _late_back(hospital: Hospital, today: date) -> list[Waiting]:
    rows = Loan.objects.filter(hospital=hospital, ended_at=None, due_on__lt=today).select_related("carer__person").order_by("due_on", "pk")
    return [_late(each) for each in rows]


def _late(each: Loan) -> Waiting:
    title = _("%(what)s was due back on %(day)s") % {"what": each.what, "day": in_words(each.due_on)}
    return Waiting(f"loan-{each.pk}", title, str(each.carer), _("Lent"), reverse("placements:carer", args=[each.carer_id]))
