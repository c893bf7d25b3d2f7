"""Eggs that somebody must look at: due to hatch or to be candled, or in an incubator that is silent or out of its range.

Also of a dam whose case is closed: her eggs stay.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from hospital.admissions.days import in_words
from hospital.admissions.models import Patient
from hospital.clutches.models import Clutch
from hospital.clutches.queries import Standing, incubating
from hospital.clutches.wording import clutch_line, counts_line, window_line
from hospital.people.models import Person
from hospital.sites.models import Hospital

SOON = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class DueClutch:
    """A clutch, and what is due: a tone of _status.html and words each, the most urgent first."""

    clutch: Clutch
    line: str
    counts: str
    reasons: tuple[tuple[str, str], ...]

    @property
    def is_urgent(self) -> bool:
        return self.reasons[0][0] == "late"

    @property
    def patient(self) -> Patient:
        return self.clutch.patient


def due_clutches(person: Person, hospital: Hospital, at: datetime) -> list[DueClutch]:
    """The hospital's clutches of which something is due, the urgent ones first."""
    standings = [Standing(each, at) for each in incubating(Patient.objects.visible_to(person).at(hospital))]
    known = [(each, tuple(sorted(_reasons(each), key=lambda reason: reason[0] != "late"))) for each in standings]
    due = [DueClutch(each.clutch, clutch_line(each.clutch), counts_line(each), reasons) for each, reasons in known if reasons]
    return sorted(due, key=lambda each: not each.is_urgent)


def _reasons(standing: Standing) -> Iterator[tuple[str, str]]:
    if standing.is_out_of_range:
        yield "late", _("Temperature out of range: look now")
    if standing.is_humidity_out_of_range:
        yield "late", _("Humidity out of range: look now")
    if any(loss and loss.is_outside for loss in map(standing.loss, standing.open_eggs)):
        yield "due", _("An egg loses too much or too little weight")
    if standing.is_silent:
        yield "late", _("No reading for more than %(n)d hours") % {"n": standing.incubator.silent_hours}
    if standing.candle_on and standing.candle_on <= standing.today:
        tone, words = ("late", _("Candling is late")) if standing.is_candling_late else ("due", _("Candle the eggs"))
        yield tone, words
    yield from _hatch(standing)


def _hatch(standing: Standing) -> Iterator[tuple[str, str]]:
    found, soon = standing.forecast, standing.now + SOON
    if found and found.latest and found.latest < standing.now:
        yield "late", _("The last expected day has gone by: %(window)s") % {"window": window_line(standing)}
    elif found and found.earliest <= soon:
        yield "due" if found.earliest <= standing.now else "coming", _("May hatch: %(window)s") % {"window": window_line(standing)}
    elif standing.watch_from and standing.watch_from <= soon.date():
        words = _("No published figures here: watch from %(day)s")
        yield "due" if standing.watch_from <= standing.today else "coming", words % {"day": in_words(standing.watch_from)}
