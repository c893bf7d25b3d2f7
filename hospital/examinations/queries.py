"""Reading examinations."""

from __future__ import annotations

from django.db.models import F, Q, QuerySet

from hospital.admissions.models import Patient
from hospital.examinations.models import Examination, Problem


def before(examination: Examination) -> Examination | None:
    """The last examination with marks on the drawing before this one."""
    earlier = Q(examined_on__lt=examination.examined_on) | Q(examined_on=examination.examined_on, pk__lt=examination.pk)
    marked = examination.patient.examinations.filter(earlier, marks__isnull=False)
    return marked.prefetch_related("marks").order_by("examined_on", "pk").last()


def marked_examinations(patient: Patient) -> QuerySet[Examination]:
    """Those with marks on the drawing, the newest first."""
    return patient.examinations.filter(marks__isnull=False).distinct().prefetch_related("marks").order_by("-examined_on", "-pk")


def problems_of(patient: Patient) -> QuerySet[Problem]:
    """What is wrong and what was, the open ones first."""
    return patient.problems.select_related("found_by", "closed_by").order_by(F("closed_on").desc(nulls_first=True), "found_on", "pk")
