"""Release criteria against the evidence, in words."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from handover.labels.events import name_of
from handover.schedule.release import Assessed, Needs
from hospital.admissions.days import CLINICAL_DAY
from hospital.rules.wording import body_weight, number

# is_met: tone of templates/_status.html, word
STATES = {
    True: ("done", gettext_lazy("Met")),
    False: ("waiting", gettext_lazy("Not met")),
    None: ("note", gettext_lazy("Nobody knows yet")),
}


def evidence_in_words(each: Assessed, said: str = "", missed_on: date | None = None) -> str:
    """What it rests on, and when the rest could be met. `said` is what the person wrote who judged it; `missed_on` the
    day that was promised for it and has gone by.
    """
    if each.criterion.needs is Needs.EVENT and not each.is_met and not each.earliest and missed_on:
        words = {"what": name_of(each.criterion.target).label, "day": _day(missed_on)}
        return _("%(what)s: was planned for %(day)s, which has gone by.") % words
    return _WORDS[each.criterion.needs](each, said)


def _event(each: Assessed, said: str) -> str:
    what = {"what": name_of(each.criterion.target).label}
    if each.is_met:
        return _("%(what)s: %(day)s.") % {**what, "day": _day(each.seen_on)}
    if each.earliest:
        return _("%(what)s: planned for %(day)s.") % {**what, "day": _day(each.earliest)}
    return _("%(what)s: not done, and no day is planned for it.") % what


def _weight(each: Assessed, said: str) -> str:
    if each.figure is None:
        return _("It was never weighed.")
    words = {"weight": body_weight(each.figure), "day": _day(each.seen_on), "on": _day(each.earliest)}
    if each.is_met is None:
        return _("%(weight)s on %(day)s: too long ago to count. Weigh it.") % words
    if each.is_met:
        return _("%(weight)s on %(day)s.") % words
    if each.earliest:
        return _("%(weight)s on %(day)s; at this rate enough on %(on)s.") % words
    return _("%(weight)s on %(day)s; it does not gain, so no day can be told.") % words


def _trend(each: Assessed, said: str) -> str:
    if each.figure is None:
        return _("Too few weighings to tell. Weigh it on two days.")
    sign = "+" if each.figure > 0 else ""
    words = {"figure": sign + number(each.figure.normalize() if each.figure else each.figure), "day": _day(each.seen_on)}
    if each.is_met is None:
        return _("%(figure)s g a day until %(day)s: too long ago to count. Weigh it.") % words
    return _("%(figure)s g a day, last weighed on %(day)s.") % words


def _season(each: Assessed, said: str) -> str:
    return _("Open today.") if each.is_met else _("Opens on %(day)s.") % {"day": _day(each.earliest)}


def _judged(each: Assessed, said: str) -> str:
    if each.is_met is None and each.earliest:
        return _("Nobody has judged it; it can be judged on %(day)s.") % {"day": _day(each.earliest)}
    if each.is_met is None:
        return _("Nobody has judged it, and no assessment is planned.")
    words = {"who": each.by, "day": _day(each.seen_on), "said": said or "–", "on": _day(each.earliest)}
    if each.is_met is False and each.earliest:
        return _("%(who)s, %(day)s: %(said)s. To be looked at again on %(on)s.") % words
    return _("%(who)s, %(day)s: %(said)s.") % words


_WORDS = {
    Needs.EVENT: _event,
    Needs.WEIGHT: _weight,
    Needs.TREND: _trend,
    Needs.SEASON: _season,
    Needs.TEST: _judged,
    Needs.JUDGEMENT: _judged,
}


def _day(day: date | None) -> str:
    return date_format(day, CLINICAL_DAY) if day else ""
