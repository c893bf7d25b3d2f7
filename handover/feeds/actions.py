"""Giving out the address of a calendar, and taking it back."""

from __future__ import annotations

import secrets
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from handover.feeds.models import Feed
from handover.feeds.queries import hash_of, may_have
from hospital.people.models import Person
from hospital.sites.models import Hospital

TOKEN_BYTES = 32


@transaction.atomic
def renew(hospital: Hospital, *, by: Person, kind: str, at: datetime) -> str:
    """End the address that the person had of this calendar and give out another: the only moment at which it is known.

    Asked twice, the address that was shown last is the one that works.
    """
    if not may_have(by, hospital, kind):
        raise ValidationError(_("This calendar is not yours."))
    Person.objects.select_for_update().get(pk=by.pk)  # two presses of the button come one after the other
    end(hospital, by=by, kind=kind, at=at)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    feed = Feed(person=by, hospital=hospital, kind=kind, token_hash=hash_of(token), made_at=at)
    feed.full_clean()
    feed.save()
    return token


@transaction.atomic
def end(hospital: Hospital, *, by: Person, kind: str, at: datetime) -> None:
    """The person's address of this calendar works no more. Saying it again changes nothing."""
    Feed.objects.filter(person=by, hospital=hospital, kind=kind, ended_at=None).update(ended_at=at)
