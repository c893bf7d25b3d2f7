"""What is supposed, and what cannot be, in words."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from handover.labels.events import plain_label
from handover.labels.rules import row_title, rule_figures
from handover.labels.why import day_in_words
from handover.schedule.library import Rule
from handover.schedule.whatif import (
    CarerAway,
    ClinicShut,
    Nonsense,
    NotBefore,
    OnDay,
    OtherFigures,
    Supposition,
    changed_rule,
)

NONSENSE = {
    Nonsense.GONE_BY: gettext_lazy("This day has gone by. Choose today or a later day."),
    Nonsense.TOO_FAR: gettext_lazy("This is more than two years away. Choose a nearer day."),
    Nonsense.NOT_AFTER_TODAY: gettext_lazy("Choose a day after today."),
    Nonsense.BACKWARDS: gettext_lazy("The last day is before the first."),
    Nonsense.NOT_PLANNED: gettext_lazy("This is not planned for this animal. Choose from the list."),
    Nonsense.NO_RULE: gettext_lazy("This rule plans nothing for this animal. Choose from the list."),
    Nonsense.NO_FIGURE: gettext_lazy("Give at least one figure of 1 day or more."),
    Nonsense.TOO_LONG: gettext_lazy("Give a whole number of days from 0 to 730."),
    Nonsense.FALLING: gettext_lazy("“At least”, “usually” and “at most” must rise. Give the other figure too."),
    Nonsense.TWICE: gettext_lazy("There is another supposition about this. Change that one, or take it out."),
}


def supposed(supposition: Supposition, names: Mapping[str, str], rules: Mapping[str, Rule]) -> str:
    """One supposition as a phrase: "Sutures out · left hind limb on Wed 07-Apr-2027"."""
    if isinstance(supposition, OnDay):
        words = {"what": _event(supposition.event_id, names), "day": day_in_words(supposition.on)}
        return _("“%(what)s” on %(day)s") % words
    if isinstance(supposition, NotBefore):
        words = {"what": _event(supposition.event_id, names), "day": day_in_words(supposition.not_before)}
        return _("“%(what)s” not before %(day)s") % words
    if isinstance(supposition, ClinicShut):
        return _("The clinic closed on %(day)s") % {"day": day_in_words(supposition.on)}
    if isinstance(supposition, CarerAway):
        words = {"first": day_in_words(supposition.starts_on), "last": day_in_words(supposition.ends_on)}
        return _("The carer away from %(first)s to %(last)s") % words
    return _figures(supposition, rules)


def _event(event_id: str, names: Mapping[str, str]) -> str:
    return names.get(event_id) or plain_label(event_id)


def _figures(supposition: OtherFigures, rules: Mapping[str, Rule]) -> str:
    rule = changed_rule(rules[supposition.rule_id], supposition)
    return _("Another rule for “%(what)s”: %(figures)s") % {"what": row_title(rule), "figures": rule_figures(rule)}
