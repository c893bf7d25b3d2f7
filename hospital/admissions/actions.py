"""Writing about patients: admit, correct, weigh, photograph. Each is one transaction."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from hospital.admissions.days import admitted_on, in_words, locked, refuse_day
from hospital.admissions.models import (
    CaseCounter,
    Finder,
    Identification,
    Patient,
    Photo,
    Placement,
    Species,
    Weight,
)
from hospital.admissions.queries import stored_mark
from hospital.admissions.reference import searchable
from hospital.edits import EditCollision, save_edit
from hospital.people.models import Person
from hospital.rules.casenumbers import case_number
from hospital.sites.models import Hospital

# A scale read in the wrong unit, or a slipped point, changes a weight at least tenfold; a true weight seldom doubles
# between two weighings. Ours; common practice, no source.
UNLIKELY_FACTOR = 2


@transaction.atomic
def take_case_number() -> str:
    """The next case number of the installation. Held until the transaction ends, so that two admissions never share one."""
    CaseCounter.objects.get_or_create(pk=1)
    counter = CaseCounter.objects.select_for_update().get(pk=1)
    counter.last += 1
    counter.save()
    return case_number(counter.last)


@transaction.atomic
def admit(
    hospital: Hospital,
    *,
    by: Person,
    at: datetime,
    animal: Mapping[str, Any],
    finder: Mapping[str, Any] | Finder | None = None,
    weight_g: Decimal | None = None,
    mark: tuple[str, str] | None = None,
    photo: bytes | None = None,
    ward: str = "",
    key: uuid.UUID | None = None,
) -> Patient:
    """Take an animal in: its case, finder, weight, mark, photograph and place in the ward.

    `animal` holds fields of Patient, `finder` those of a new Finder or one known already. A `key` that was used before
    means that the same form came twice: the first patient is the answer and nothing is written.
    """
    number = take_case_number()
    if key and (before := Patient.objects.filter(key=key, hospital=hospital).first()):
        return before
    patient = Patient(hospital=hospital, case_number=number, admitted_at=at, admitted_by=by, **animal)
    patient.key = key or patient.key
    patient.finder = _finder(hospital, finder)
    _checked(patient).save()
    _checked(Placement(patient=patient, ward=ward, started_at=at, placed_by=by)).save()
    if weight_g is not None:
        _checked(Weight(patient=patient, weighed_at=at, weight_g=weight_g, weighed_by=by)).save()
    if mark:
        note_mark(patient, kind=mark[0], value=mark[1])
    if photo:
        add_photo(patient, by=by, at=at, photo=photo)
    return patient


def _finder(hospital: Hospital, finder: Mapping[str, Any] | Finder | None) -> Finder | None:
    if not finder or isinstance(finder, Finder):
        return finder or None
    new = Finder(hospital=hospital, **finder)
    _checked(new).save()
    return new


def _checked(row: Any) -> Any:
    if isinstance(row, Patient):
        _refuse_days_out_of_order(row)
    row.full_clean()
    return row


def _refuse_days_out_of_order(patient: Patient) -> None:
    if patient.found_on and patient.found_on > admitted_on(patient):
        day = in_words(admitted_on(patient))
        raise ValidationError({"found_on": _("It cannot be found after it was admitted on %(day)s.") % {"day": day}})


@transaction.atomic
def correct_patient(patient: Patient, *, seen_version: int, now: datetime, **fields: Any) -> Patient:
    """Correct what is known of an animal, also after its case was closed."""
    for name, value in fields.items():
        setattr(patient, name, value)
    if patient.admitted_at > now:
        raise ValidationError({"admitted_at": _("This is in the future. Give the moment of admission.")})
    _refuse_days_out_of_order(patient)
    return save_edit(patient, seen_version=seen_version)


@transaction.atomic
def correct_finder(patient: Patient, *, seen_version: int, **fields: Any) -> Finder:
    """Write down or correct who found the animal; `seen_version` is 0 when no finder was known."""
    held = Patient.objects.select_for_update(of=("self",)).select_related("finder").get(pk=patient.pk)
    if held.finder is None:
        held.finder = _finder(held.hospital, fields)
        save_edit(held, seen_version=held.version)
        return held.finder
    if seen_version == 0:
        raise EditCollision(held.finder)
    for name, value in fields.items():
        setattr(held.finder, name, value)
    return save_edit(held.finder, seen_version=seen_version)


@transaction.atomic
def record_weight(
    patient: Patient,
    *,
    by: Person,
    now: datetime,
    weight_g: Decimal,
    weighed_at: datetime | None = None,
    note: str = "",
    is_sure: bool = False,
) -> Weight:
    """Add a weighing. One that is twice or half the last, or more, must be confirmed: doses are worked out from it."""
    patient = locked(patient)
    weighed_at = weighed_at or now
    refuse_day(patient, weighed_at.astimezone(ZoneInfo(patient.hospital.zone)).date(), field="weighed_at")
    if weighed_at > now:
        raise ValidationError({"weighed_at": _("This is in the future. Give the moment of weighing.")})
    if not is_sure:
        _refuse_unlikely(weight_g, patient.latest_weight())
    weight = Weight(patient=patient, weighed_at=weighed_at, weight_g=weight_g, weighed_by=by, note=note)
    _checked(weight).save()
    return weight


def _refuse_unlikely(weight_g: Decimal, last: Weight | None) -> None:
    if last and not last.weight_g / UNLIKELY_FACTOR < weight_g < last.weight_g * UNLIKELY_FACTOR:
        before = {"grams": f"{last.weight_g.normalize():f}", "day": in_words(localtime(last.weighed_at).date())}
        sentence = _("The last weight was %(grams)s g on %(day)s. Check the scale and the unit.") % before
        raise ValidationError({"weight_g": ValidationError(sentence, code="unlikely")})


@transaction.atomic
def note_mark(patient: Patient, *, kind: str, value: str) -> Identification:
    """Note a mark that tells this animal from others."""
    mark = Identification(patient=patient, kind=kind, value=stored_mark(kind, value))
    try:
        mark.full_clean()
    except ValidationError as refusal:
        if "__all__" in refusal.error_dict:
            raise ValidationError({"value": _("This mark is noted already.")}) from None
        raise
    mark.save()
    return mark


@transaction.atomic
def add_photo(patient: Patient, *, by: Person, at: datetime, photo: bytes, caption: str = "") -> Photo:
    """Keep a photograph, already made safe (hospital.pictures), under a name that says nothing."""
    kept = Photo(patient=patient, caption=caption, taken_at=at, added_by=by)
    kept.file = ContentFile(photo, name=f"{kept.key}.jpg")
    _checked(kept).save()
    return kept


@transaction.atomic
def remove_mark(mark: Identification) -> None:
    """Take away a mark noted by mistake."""
    mark.delete()


@transaction.atomic
def remove_photo(photo: Photo) -> None:
    """Take away a photograph, and its file once that is certain."""
    file = photo.file
    photo.delete()
    transaction.on_commit(lambda: file.storage.delete(file.name))


@transaction.atomic
def add_species(*, common_name: str, scientific_name: str, **fields: Any) -> Species:
    """Add a species that the shipped list lacks."""
    species = Species(common_name=common_name, scientific_name=scientific_name, **fields)
    species.search_text = searchable(common_name, species.other_names, scientific_name)
    _checked(species).save()
    return species


@transaction.atomic
def edit_species(species: Species, *, seen_version: int, **fields: Any) -> Species:
    """Correct a species that a hospital added. One of the shipped list is corrected in its file."""
    if species.is_shipped:
        raise ValidationError(_("This species comes with the program: tell its makers what is wrong."))
    for name, value in fields.items():
        setattr(species, name, value)
    species.search_text = searchable(species.common_name, species.other_names, species.scientific_name)
    return save_edit(species, seen_version=seen_version)
