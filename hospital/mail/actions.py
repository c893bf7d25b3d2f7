"""Putting letters into the post, and a person's word on them. Sending is hospital.mail.sending."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.clock import now
from hospital.edits import save_edit
from hospital.mail.models import Letter, MailChoice
from hospital.people.models import Person
from hospital.sites.models import Hospital

State = Letter.State


@transaction.atomic
def write(
    *parts: object, hospital: Hospital, to: Person, facts: dict[str, Any], not_before: datetime | None = None, is_urgent: bool = False
) -> Letter:
    """Put a letter into the post, in the transaction of what it tells of. The same parts again change nothing.

    `parts`: its kind, then what makes it the only one: numbers and days, which become its key and its Message-ID.
    """
    at = now()
    letter = {
        "hospital": hospital, "to": to, "kind": str(parts[0]), "facts": facts, "is_urgent": is_urgent, "written_at": at,
        "next_try_at": max(not_before or at, at),
    }  # fmt: skip
    return Letter.objects.get_or_create(key=letter_key(*parts, to=to), defaults=letter)[0]


def letter_key(*parts: object, to: Person) -> str:
    return ".".join(str(each) for each in (*parts, to.pk))


@transaction.atomic
def try_again(letter: Letter, *, by: Person) -> Letter:
    """A letter that could not be delivered is tried anew from now on."""
    return _settle(letter, by=by, state=State.WAITING, tries=0, next_try_at=now(), ended_at=None)


@transaction.atomic
def told_otherwise(letter: Letter, *, by: Person) -> Letter:
    """The person was told in another way: the letter goes no more."""
    letter.members.update(state=State.SETTLED, ended_at=now(), settled_by=by)
    return _settle(letter, by=by, state=State.SETTLED, ended_at=now())


def _settle(letter: Letter, *, by: Person, **fields: Any) -> Letter:
    if not Letter.objects.filter(pk=letter.pk, state=State.FAILED).update(settled_by=by, **fields):
        raise ValidationError(_("This letter is no longer among those that could not be delivered. Look again."))
    letter.refresh_from_db()
    return letter


@transaction.atomic
def choose(choice: MailChoice, *, seen_version: int, **fields: Any) -> MailChoice:
    """Keep when a person wants letters."""
    for name, value in fields.items():
        setattr(choice, name, value)
    if choice.pk:
        return save_edit(choice, seen_version=seen_version)
    choice.full_clean()
    choice.save()
    return choice
