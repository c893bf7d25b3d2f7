"""Words that stand at the head of an examination."""

from __future__ import annotations

from decimal import Decimal

from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.rules.weights import alarm_for
from hospital.rules.wording import number


def alarm_line(patient: Patient) -> str:
    """From which fall in weight a vet is called for this kind of animal, and whose rule that is."""
    alarm = alarm_for(patient.species.group.lineage())
    said = {
        "today": _fall(alarm.today_percent, alarm.today_days),
        "now": _fall(alarm.now_percent, alarm.now_days),
        "source": _("%s, from memory") % alarm.source if alarm.how_known == "memory" else alarm.source,
    }
    return _("A vet hears the same day of a fall of %(today)s, at once of %(now)s. Source: %(source)s.") % said


def _fall(percent: Decimal, days: int | None) -> str:
    if days is None:
        return _("%s%% since admission or since the last weighing") % number(percent)
    if days == 1:
        return _("%s%% within a day") % number(percent)
    return _("%(percent)s%% within %(days)d days") % {"percent": number(percent), "days": days}
