"""Asking, answering and closing. The other side gets a letter."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from handover.questions.models import Message, Question
from hospital.admissions.days import locked
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.mail.actions import write
from hospital.people.models import STAFF, Person, Role


@transaction.atomic
def ask(patient: Patient, *, by: Person, key: UUID, words: str, photo: bytes | None = None) -> Question:
    """A carer asks about an animal that is with them; the same key again changes nothing."""
    patient = locked(patient)
    if before := _said(key, by, words):
        return before.question
    here = patient.open_placement()
    if here is None or here.carer is None or here.carer.person_id != by.pk:
        raise ValidationError(_("This animal is not with you any more. Phone the hospital."))
    question = Question(key=key, patient=patient, asked_by=by, asked_at=now())
    question.full_clean()
    question.save()
    _say(question, by=by, key=key, words=words, photo=photo, is_from_staff=False)
    return question


@transaction.atomic
def say(question: Question, *, by: Person, key: UUID, words: str, photo: bytes | None = None) -> Message:
    """Answer, or ask further; a closed question is open again. The same key again changes nothing."""
    question = Question.objects.select_for_update(of=("self",)).select_related("patient__hospital").get(pk=question.pk)
    if before := _said(key, by, words):
        return before
    is_staff = by.memberships.filter(hospital=question.patient.hospital_id, role__in=STAFF).exists()
    return _say(question, by=by, key=key, words=words, photo=photo, is_from_staff=is_staff)


def _said(key: UUID, by: Person, words: str) -> Message | None:
    before = Message.objects.select_related("question").filter(key=key).first()
    if before and (before.by_id, before.words) != (by.pk, words):
        raise ValidationError(_("This was sent before with other words. What is stored stays; write the new words as a new message."))
    return before


def _say(question: Question, *, by: Person, key: UUID, words: str, photo: bytes | None, is_from_staff: bool) -> Message:
    at = now()
    message = Message(key=key, question=question, by=by, at=at, words=words, is_from_staff=is_from_staff)
    if photo:
        message.photo = ContentFile(photo, name=f"{key}.jpg")
    message.full_clean(exclude=["photo"])
    message.save()
    question.waits_since = None if is_from_staff else question.waits_since or at
    question.unread_since = (question.unread_since or at) if is_from_staff else None
    question.closed_at = question.closed_by = None
    question.save()
    _write_to_the_other_side(message, question)
    return message


def _write_to_the_other_side(message: Message, question: Question) -> None:
    hospital, facts = question.patient.hospital, {"message": message.pk}
    if message.is_from_staff:
        write("answer", message.pk, hospital=hospital, to=question.asked_by, facts=facts)
        return
    for member in hospital.memberships.filter(role=Role.COORDINATOR).select_related("person"):
        write("question", message.pk, hospital=hospital, to=member.person, facts=facts)


@transaction.atomic
def close(question: Question, *, by: Person) -> None:
    """Nothing more is owed on this question, answered or settled by telephone."""
    _end(question, closed_at=now(), closed_by=by, waits_since=None)


@transaction.atomic
def say_read(question: Question) -> None:
    """The carer has read the answer."""
    _end(question, unread_since=None)


def _end(question: Question, **fields: datetime | Person | None) -> None:
    Question.objects.filter(pk=question.pk).update(**fields)
