"""Hospitals: several may share one installation."""

from datetime import date

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.edits import Versioned

WEEKDAYS = [_("Monday"), _("Tuesday"), _("Wednesday"), _("Thursday"), _("Friday"), _("Saturday"), _("Sunday")]


class Hospital(Versioned):
    """A hospital: where it is, when its clinic is open, whom to phone."""

    name = models.CharField(_("name"), max_length=120, unique=True)
    slug = models.SlugField(unique=True)
    zone = models.CharField(_("time zone"), max_length=64, default="Europe/London")
    latitude = models.DecimalField(
        max_digits=9, decimal_places=6, validators=[MinValueValidator(-90), MaxValueValidator(90)]
    )
    longitude = models.DecimalField(
        max_digits=9, decimal_places=6, validators=[MinValueValidator(-180), MaxValueValidator(180)]
    )
    phone = models.CharField(_("phone"), max_length=30)
    out_of_hours_phone = models.CharField(_("phone out of hours"), max_length=30, blank=True)
    address = models.CharField(max_length=250, blank=True)
    closed_weekdays = models.JSONField(default=list, blank=True)  # 0 is Monday, as in PLANNING and datetime
    clinic_hours = models.CharField(max_length=120, blank=True)
    late_after_minutes = models.PositiveSmallIntegerField(default=60)  # of the treatment sheet; common practice, no source
    missed_after_minutes = models.PositiveSmallIntegerField(default=360)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(missed_after_minutes__gt=F("late_after_minutes")), name="late_comes_before_missed")
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_southern(self) -> bool:
        return self.latitude < 0

    @property
    def night_phone(self) -> str:
        """The number that is answered out of hours: the day number where none is given."""
        return self.out_of_hours_phone or self.phone


class ClosedDay(models.Model):
    """A day on which the clinic sees nobody, although its weekday is usually open."""

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="closed_days", db_index=False)
    on = models.DateField()
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["hospital", "on"], name="a_day_is_closed_once")]
        ordering = ["on"]


def closed_dates(hospital: Hospital, since: date) -> list[date]:
    """The hospital's single closed days from `since` on, in order."""
    return list(hospital.closed_days.filter(on__gte=since).values_list("on", flat=True))
