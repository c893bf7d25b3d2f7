"""Putting rows of the formulary in force, with the list's figures or the hospital's own, and taking them out again.

By adopting a row a vet says that its source was read and that it suits the hospital's patients.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from hospital.admissions.models import TaxonGroup
from hospital.edits import refuse_unseen
from hospital.medications.formulary import medicine_of, reference
from hospital.medications.models import FormularyAdoption
from hospital.medications.queries import OWN, Shelved, adoptions_in_force
from hospital.people.models import Person
from hospital.rules.formulary import Entry
from hospital.sites.models import Hospital

OWN_FIGURES = "the hospital's own figures"


@transaction.atomic
def adopt(
    shelved: Shelved,
    *,
    hospital: Hospital,
    by: Person,
    at: datetime,
    seen_version: int,
    figures: Mapping[str, Any] | None = None,
) -> FormularyAdoption:
    """Put a row in force: the list's as it is, or with `figures` in place of what the page showed. What was in force ends.

    `seen_version` is the version that the person saw, 0 for none; EditCollision if another one is in force by now.
    """
    before = _in_force_now(hospital, shelved.slug, seen_version)
    entry = _with_figures(shelved, figures)
    if before and Entry.from_json(before.content) == entry:
        raise ValidationError(_("This is in force already, with these very figures."))
    if before:
        _end(before, at)
    last = _last_versions(hospital, [shelved.slug]).get(shelved.slug, 0)
    return _saved([_new(entry, hospital, last, by=by, at=at, is_changed=entry != shelved.row)])[0]


@transaction.atomic
def adopt_group(group: TaxonGroup, *, hospital: Hospital, by: Person, at: datetime) -> list[FormularyAdoption]:
    """Put every row of a group in force that is not yet, as the list has it."""
    adopted = set(adoptions_in_force(hospital).values_list("slug", flat=True))
    missing = [row for row in reference().rows if row.group == group.pk and row.slug not in adopted]
    if not missing:
        raise ValidationError(_("Everything for this group is in force already."))
    last = _last_versions(hospital, [row.slug for row in missing])
    return _saved([_new(row, hospital, last.get(row.slug, 0), by=by, at=at, is_changed=False) for row in missing])


@transaction.atomic
def add_row(
    *, hospital: Hospital, by: Person, at: datetime, drug: str, group: TaxonGroup, source: str, figures: Mapping[str, Any]
) -> FormularyAdoption:
    """A row that the hospital writes itself, for a medicine that the list does not have for this group."""
    known = medicine_of(drug)
    slug = f"{OWN}{group.pk}.{re.sub(r'[^a-z0-9]+', '-', drug.casefold()).strip('-')}"[:120]
    if adoptions_in_force(hospital).filter(slug=slug).exists():
        raise ValidationError({"drug": _("The hospital has a row of its own for this medicine and group. Change that one.")})
    entry = _made(
        slug=slug, drug=drug, group=group.pk, interval_note="", strengths_per_ml=(), species="", source=source,
        medicine_class=known.medicine_class if known else "", how_known=OWN_FIGURES, discard_note="", **figures,
    )  # fmt: skip
    last = _last_versions(hospital, [slug]).get(slug, 0)
    return _saved([_new(entry, hospital, last, by=by, at=at, is_changed=True)])[0]


@transaction.atomic
def withdraw(slug: str, *, hospital: Hospital, at: datetime, seen_version: int) -> FormularyAdoption:
    """Take a row out of force. Orders stay as they are; the next one is judged without it."""
    before = _in_force_now(hospital, slug, seen_version)
    if before is None:
        raise ValidationError(_("This is not in force here."))
    return _end(before, at)


def sentence_for(adopted: list[FormularyAdoption]) -> str:
    """What happened, for the person who did it."""
    return ngettext("%(n)d row is in force now.", "%(n)d rows are in force now.", len(adopted)) % {"n": len(adopted)}


def _in_force_now(hospital: Hospital, slug: str, seen_version: int) -> FormularyAdoption | None:
    before = adoptions_in_force(hospital).filter(slug=slug).select_for_update().first()
    refuse_unseen(before, seen_version)
    return before


def _end(adoption: FormularyAdoption, at: datetime) -> FormularyAdoption:
    adoption.ended_at = at
    adoption.save(update_fields=["ended_at"])
    return adoption


def _with_figures(shelved: Shelved, figures: Mapping[str, Any] | None) -> Entry:
    """The list's row for no figures; else what the page showed with these figures put in."""
    if figures is None:
        if shelved.row is None:
            raise ValidationError(_("The reference list does not have this row. Give figures of your own."))
        return shelved.row
    try:
        return replace(shelved.entry, **figures)
    except ValueError as refusal:
        raise ValidationError(str(refusal)) from None


def _made(**parts: Any) -> Entry:
    try:
        return Entry(**parts)
    except ValueError as refusal:
        raise ValidationError(str(refusal)) from None


def _last_versions(hospital: Hospital, slugs: Iterable[str]) -> dict[str, int]:
    ever = FormularyAdoption.objects.filter(hospital=hospital, slug__in=slugs).values_list("slug")
    return dict(ever.annotate(Max("version")))


def _new(
    entry: Entry, hospital: Hospital, last_version: int, *, by: Person, at: datetime, is_changed: bool
) -> FormularyAdoption:
    return FormularyAdoption(
        hospital=hospital,
        slug=entry.slug,
        group_id=entry.group,
        content=entry.to_json(),
        version=last_version + 1,
        source=entry.source,
        how_known=OWN_FIGURES if is_changed else entry.how_known,
        adopted_by=by,
        adopted_at=at,
    )


def _saved(adoptions: list[FormularyAdoption]) -> list[FormularyAdoption]:
    """Save them all, or none: the database settles a race between two vets."""
    for adoption in adoptions:
        adoption.clean_fields(exclude=["hospital", "group", "adopted_by"])  # rows that were just read
    try:
        with transaction.atomic():
            return FormularyAdoption.objects.bulk_create(adoptions)
    except IntegrityError:
        raise ValidationError(_("Somebody adopted this at the same moment. Look again, then decide.")) from None
