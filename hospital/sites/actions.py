"""Writing about a hospital: its details and the days on which it is closed."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.edits import save_edit
from hospital.sites.models import ClosedDay, Hospital


@transaction.atomic
def correct_hospital(hospital: Hospital, *, seen_version: int, **fields: Any) -> Hospital:
    """Change phones, place, time zone or the weekdays on which the clinic is closed."""
    for name, value in fields.items():
        setattr(hospital, name, value)
    return save_edit(hospital, seen_version=seen_version)


@transaction.atomic
def close_day(hospital: Hospital, *, today: date, on: date, reason: str = "") -> ClosedDay:
    """The clinic sees nobody on this day; care plans keep visits off it from now on."""
    if on < today:
        raise ValidationError({"on": _("This day is over. Give today or a day to come.")})
    if on.weekday() in hospital.closed_weekdays:
        raise ValidationError({"on": _("The clinic is closed on this weekday anyway.")})
    if hospital.closed_days.filter(on=on).exists():
        raise ValidationError({"on": _("This day is in the list already.")})
    day = ClosedDay(hospital=hospital, on=on, reason=reason)
    day.full_clean()
    day.save()
    return day


@transaction.atomic
def open_day(day: ClosedDay) -> None:
    """The clinic sees animals on this day after all."""
    day.delete()
