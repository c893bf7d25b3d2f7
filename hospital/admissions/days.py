"""What every record of a patient must respect: the case is open, and the day lies between admission and today."""

from __future__ import annotations

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.admissions.models import Patient
from hospital.clock import today

CLINICAL_DAY = "D d-M-Y"  # Tue 05-Jan-2027


def admitted_on(patient: Patient) -> date:
    """The day of admission where the hospital is."""
    return patient.admitted_at.astimezone(ZoneInfo(patient.hospital.zone)).date()


def in_words(day: date) -> str:
    """A day as clinical screens write it."""
    return date_format(day, CLINICAL_DAY)


def day_field(label: str, **kwargs: Any) -> forms.DateField:
    """A day, picked or typed as 2027-01-05."""
    widget = forms.DateInput(attrs={"type": "date", "class": "w-10"}, format="%Y-%m-%d")
    wrong = {
        "required": gettext_lazy("Give the day."),
        "invalid": gettext_lazy("Give the day as year-month-day, for example 2027-01-05."),
    }
    return forms.DateField(label=label, widget=widget, error_messages=wrong, **kwargs)


def locked(patient: Patient) -> Patient:
    """The patient's row, held until the transaction ends, so that nobody closes it half-way. Refuses a closed case."""
    held = (
        Patient.objects.select_for_update(of=("self",))
        .select_related("hospital", "species__group")
        .get(pk=patient.pk)
    )
    if held.closed_on:
        raise ValidationError(
            _("This case was closed on %(day)s. Reopen it before you add to it.")
            % {"day": in_words(held.closed_on)}
        )
    return held


def locked_both(patient: Patient, other: Patient | None) -> Patient | None:
    """The rows of the animal under which something was recorded and of the one it belongs to, held in one order: the other.

    Refuses a closed case, and one animal given twice, at the field `to`.
    """
    if other is None:
        locked(patient)
        return None
    if other.pk == patient.pk:
        raise ValidationError({"to": _("That is the animal under which it is recorded now.")})
    held = {}
    for each in sorted((patient, other), key=lambda one: one.pk):
        try:
            held[each.pk] = locked(each)
        except ValidationError as refusal:
            raise ValidationError({"to" if each.pk == other.pk else NON_FIELD_ERRORS: refusal.messages}) from None
    return held[other.pk]


def refuse_day(patient: Patient, on: date, *, field: str) -> None:
    """Refuse a day after today or before admission, with a sentence at `field`."""
    if on > today(patient.hospital.zone):
        raise ValidationError({field: _("This day is in the future. Give the day on which it happened.")})
    if on < admitted_on(patient):
        before = _("This is before admission on %(day)s.") % {"day": in_words(admitted_on(patient))}
        raise ValidationError({field: before})


def refuse_before(on: date, earliest: date, sentence: str, *, field: str) -> None:
    """Refuse `on` before `earliest`; `sentence` holds %(day)s for the earliest day."""
    if on < earliest:
        raise ValidationError({field: sentence % {"day": in_words(earliest)}})
