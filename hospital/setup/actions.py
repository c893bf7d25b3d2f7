"""The first hospital of an installation and the first person in it, written together."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from hospital.people.models import Membership, Person, Role
from hospital.sites.models import Hospital


def is_empty() -> bool:
    """Whether nobody could sign in yet."""
    return not Person.objects.exists()


@transaction.atomic
def begin(*, email: str, person_name: str, password: str, roles: Iterable[Role], **site: Any) -> Person:
    """Write down the hospital and its first coordinator, who may be a vet as well. Refuses once there is anybody."""
    if not is_empty():
        raise ValidationError(_("This installation has its first hospital already. Sign in instead."))
    hospital = Hospital(slug=slugify(site["name"])[:50] or "hospital", **site)
    hospital.full_clean()
    hospital.save()
    person = Person.objects.create_user(email, person_name, password)
    for role in {Role.COORDINATOR, *roles}:
        Membership.objects.create(person=person, hospital=hospital, role=role)
    return person
