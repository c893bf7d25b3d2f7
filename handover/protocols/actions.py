"""Putting rows of the library in force, with the library's figures or the hospital's own, and taking them out again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.protocols.contents import content_of, value_of
from handover.protocols.models import Adoption, LibraryRow
from handover.protocols.queries import adoptions_in_force
from hospital.admissions.models import TaxonGroup
from hospital.edits import refuse_unseen
from hospital.people.models import Person
from hospital.sites.models import Hospital

OWN_FIGURES = "the hospital's own figures"


@transaction.atomic
def adopt(
    subject: LibraryRow | Adoption,
    *,
    hospital: Hospital,
    by: Person,
    at: datetime,
    seen_version: int,
    figures: Mapping[str, Any] | None = None,
) -> Adoption:
    """Put a row in force, with `figures` in place of the library's. What was in force before ends.

    `seen_version` is the version that the person saw, 0 for none; EditCollision if another one is in force by now.
    """
    before = _in_force_now(hospital, subject, seen_version)
    content = _with_figures(subject, figures or {})
    if before and before.content == content:
        raise ValidationError(_("This is in force already, with these very figures."))
    if before:
        _end(before, at)
    return _begin(subject, hospital, content, by=by, at=at)


@transaction.atomic
def adopt_group(group: TaxonGroup, *, hospital: Hospital, by: Person, at: datetime) -> list[Adoption]:
    """Put every row of a group in force that is not yet, as the library has it. Alternatives are left to be chosen."""
    adopted = set(adoptions_in_force(hospital).values_list("kind", "slug"))
    rows = LibraryRow.objects.filter(group=group, is_alternative=False).select_related("group")
    missing = [row for row in rows if (row.kind, row.slug) not in adopted]
    if not missing:
        raise ValidationError(_("Everything for this group is in force already."))
    versions = _last_versions(hospital, [row.slug for row in missing])
    fresh = [_new(row, hospital, row.content, versions.get((row.kind, row.slug), 0), by=by, at=at) for row in missing]
    return _saved(fresh)


@transaction.atomic
def withdraw(subject: LibraryRow | Adoption, *, hospital: Hospital, at: datetime, seen_version: int) -> Adoption:
    """Take a row out of force. Published plans stay as they are; the next plan is made without it."""
    before = _in_force_now(hospital, subject, seen_version)
    if before is None:
        raise ValidationError(_("This is not in force here."))
    return _end(before, at)


def sentence_for(adopted: list[Adoption]) -> str:
    """What happened, for the person who did it."""
    return ngettext("%(n)d row is in force now.", "%(n)d rows are in force now.", len(adopted)) % {"n": len(adopted)}


def _in_force_now(hospital: Hospital, subject: LibraryRow | Adoption, seen_version: int) -> Adoption | None:
    found = adoptions_in_force(hospital).filter(kind=subject.kind, slug=subject.slug)
    before = found.select_for_update().first()
    refuse_unseen(before, seen_version)
    return before


def _end(adoption: Adoption, at: datetime) -> Adoption:
    adoption.ended_at = at
    adoption.save(update_fields=["ended_at"])
    return adoption


def _with_figures(subject: LibraryRow | Adoption, figures: Mapping[str, Any]) -> dict[str, Any]:
    """The content with these figures. Refuses what makes no sense, in the words of the planning core."""
    try:
        return content_of(value_of(subject.kind, {**subject.content, **figures}))
    except ValueError as refusal:
        raise ValidationError(str(refusal)) from None


def _begin(subject: LibraryRow | Adoption, hospital: Hospital, content: Mapping[str, Any], *, by: Person, at: datetime) -> Adoption:
    last = _last_versions(hospital, [subject.slug]).get((subject.kind, subject.slug), 0)
    return _saved([_new(subject, hospital, content, last, by=by, at=at)])[0]


def _last_versions(hospital: Hospital, slugs: Iterable[str]) -> dict[tuple[str, str], int]:
    ever = Adoption.objects.filter(hospital=hospital, slug__in=slugs).values_list("kind", "slug")
    return {(kind, slug): version for kind, slug, version in ever.annotate(Max("version"))}


def _new(
    subject: LibraryRow | Adoption,
    hospital: Hospital,
    content: Mapping[str, Any],
    last_version: int,
    *,
    by: Person,
    at: datetime,
) -> Adoption:
    return Adoption(
        hospital=hospital,
        kind=subject.kind,
        slug=subject.slug,
        group=subject.group,
        content=content,
        version=last_version + 1,
        source=subject.source,
        adopted_by=by,
        adopted_at=at,
        how_known=subject.how_known if content == subject.content else OWN_FIGURES,
    )


def _saved(adoptions: list[Adoption]) -> list[Adoption]:
    """Save them all, or none: the database settles a race between two vets."""
    for adoption in adoptions:
        adoption.clean_fields(exclude=["hospital", "group", "adopted_by"])  # rows that were just read
    try:
        with transaction.atomic():
            return Adoption.objects.bulk_create(adoptions)
    except IntegrityError:
        raise ValidationError(_("Somebody adopted this at the same moment. Look again, then decide.")) from None
