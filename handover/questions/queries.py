"""Reading questions: those of an animal, those that wait for the hospital, answers that nobody has read."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Count, QuerySet

from handover.questions.models import Question
from hospital.admissions.models import Patient
from hospital.people.models import Person
from hospital.sites.models import Hospital


def questions_of(patient: Patient, person: Person) -> QuerySet[Question]:
    """What this person may read of an animal's questions, with all that was said; open ones first."""
    seen = Question.objects.visible_to(person).filter(patient=patient)
    return seen.select_related("asked_by", "closed_by").prefetch_related("messages__by").order_by("closed_at", "-asked_at", "-pk")


def waiting_questions(hospital: Hospital, person: Person) -> QuerySet[Question]:
    """Questions to which the hospital owes an answer, the oldest first."""
    waiting = Question.objects.visible_to(person).filter(patient__hospital=hospital, waits_since__isnull=False)
    return waiting.select_related("asked_by", "patient__species").prefetch_related("messages").order_by("waits_since", "pk")


def unread_answers(person: Person, patients: Iterable[int]) -> dict[int, int]:
    """By patient: to how many of the carer's questions there is an answer that they have not read."""
    unread = Question.objects.filter(asked_by=person, unread_since__isnull=False, patient__in=list(patients))
    return dict(unread.order_by().values_list("patient").annotate(n=Count("pk")))
