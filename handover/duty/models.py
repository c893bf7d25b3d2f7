"""Who is told of a worrying report, in which order and how soon; and who was."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from handover.logs.models import LogEntry
from hospital.edits import Versioned
from hospital.sites.models import Hospital

A_DAY_AT_MOST = [MinValueValidator(1), MaxValueValidator(1440)]


class DutyTurn(models.Model):
    """A place on a hospital's list: a person with hours. The same time twice is the whole day."""

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="duty_turns", db_index=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    place = models.PositiveSmallIntegerField()
    starts = models.TimeField(_("from"))
    ends = models.TimeField(_("until"))
    weekdays = models.JSONField(default=list, blank=True)  # 0 is Monday; none are all

    class Meta:
        ordering = ["place", "id"]
        indexes = [models.Index(fields=["hospital", "place"], name="duty_list_of_a_hospital")]


class DutyRules(Versioned):
    """How many minutes somebody has before the next is told, by what the carer was told."""

    hospital = models.OneToOneField(Hospital, models.CASCADE, related_name="duty_rules")
    now_minutes = models.PositiveSmallIntegerField(_("the carer was told: phone now"), default=10, validators=A_DAY_AT_MOST)
    today_minutes = models.PositiveSmallIntegerField(_("the carer was told: phone today"), default=60, validators=A_DAY_AT_MOST)
    other_minutes = models.PositiveSmallIntegerField(_("anything else that worries the carer"), default=240, validators=A_DAY_AT_MOST)


class PassedOn(models.Model):
    """A person was told of a worrying report that nobody had seen by then. Rows are only added."""

    entry = models.ForeignKey(LogEntry, models.PROTECT, related_name="passed_on", db_index=False)
    number = models.PositiveSmallIntegerField()
    to = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["entry", "number"], name="a_report_is_passed_on_step_by_step")]
