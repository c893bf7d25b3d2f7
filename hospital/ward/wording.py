"""The hours and shifts of the sheet in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.rules.sheet import Hour

# name → from and to o'clock; "now" follows the clock
SHIFTS = {"now": (0, 0), "day": (8, 20), "night": (20, 8), "whole": (8, 8)}
SHIFT_LABELS = [
    ("now", gettext_lazy("Now")),
    ("day", gettext_lazy("By day, 8–20")),
    ("night", gettext_lazy("By night, 20–8")),
    ("whole", gettext_lazy("24 hours")),
]


def hour_label(hour: Hour) -> str:
    """ "02", and "02 again" for the hour that comes twice."""
    label = f"{hour.starts_at:%H}"
    return _("%s again") % label if hour.is_again else label


def clock_note(hours: Sequence[Hour]) -> str:
    """A sentence when the clock changes within the shift."""
    for hour, following in pairwise(hours):
        jump = following.starts_at.utcoffset() - hour.starts_at.utcoffset()
        if jump > timedelta(0):
            return _("The clock goes forward: %(from)s is followed by %(to)s.") % _ends(hour, following)
        if jump < timedelta(0):
            return _("The clock goes back: the hour of %(to)s comes twice.") % _ends(hour, following)
    return ""


def _ends(hour: Hour, following: Hour) -> dict[str, str]:
    return {"from": f"{hour.starts_at:%H:59}", "to": f"{following.starts_at:%H:00}"}


def shift_words(shift: str, starts_at: datetime, ends_at: datetime) -> str:
    """ "Tue 05-Jan-2027 20:00 to Wed 06-Jan-2027 08:00"."""
    moment = "D d-M-Y H:i"
    return _("%(from)s to %(to)s") % {"from": date_format(starts_at, moment), "to": date_format(ends_at, moment)}
