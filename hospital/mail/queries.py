"""Reading the post."""

from __future__ import annotations

from django.db.models import QuerySet

from hospital.mail.models import Letter, MailChoice
from hospital.people.models import Person
from hospital.sites.models import Hospital

State = Letter.State


def choice_of(person: Person) -> MailChoice:
    """What the person chose, or what counts for somebody who never did (not saved)."""
    return MailChoice.objects.filter(person=person).first() or MailChoice(person=person)


def letters_at(hospital: Hospital, person: Person, states: list[str]) -> QuerySet[Letter]:
    """The hospital's letters in these states, the newest first."""
    known = Letter.objects.visible_to(person).filter(hospital=hospital, state__in=states)
    return known.select_related("to", "settled_by").order_by("-written_at", "-pk")


def undelivered(hospital: Hospital) -> int:
    """How many letters a person must settle, because they could not be delivered."""
    return Letter.objects.filter(hospital=hospital, state=State.FAILED).count()
