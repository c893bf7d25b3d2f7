"""A second person signs with their own sign-in password, in the form of the first, at that moment."""

from __future__ import annotations

from django.utils.translation import gettext as _

from hospital.people import attempts
from hospital.people.models import Person


def why_not_signed(person: Person, password: str) -> str:
    """Why this person has not signed, as a sentence; empty when the password is theirs.

    Wrong tries are counted with those of signing in. Ask outside a transaction: one that is rolled back would forget the count.
    """
    if attempts.must_wait(person.email):
        return _("Too many tries for %(name)s. Wait fifteen minutes, then try again.") % {"name": person}
    if not person.is_active or not person.check_password(password):
        attempts.count(person.email)
        return _("This is not the sign-in password of %(name)s.") % {"name": person}
    attempts.forget(person.email)
    return ""
