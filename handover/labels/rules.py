"""Protocol rows in words: what each says, and with which figures."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from handover.labels.events import name_of
from handover.schedule.library import Rule, SeasonGate
from handover.schedule.release import Criterion, Needs
from handover.schedule.watertime import WaterProtocol

NEEDS = {
    Needs.EVENT: gettext_lazy("Something done"),
    Needs.WEIGHT: gettext_lazy("A weight"),
    Needs.TREND: gettext_lazy("A trend in weight"),
    Needs.TEST: gettext_lazy("A test passed"),
    Needs.SEASON: gettext_lazy("A season"),
    Needs.JUDGEMENT: gettext_lazy("A person's judgement"),
}
A_YEAR = 2001  # not a leap year


def row_title(value: Rule | SeasonGate | WaterProtocol | Criterion) -> str:
    """What a row is about."""
    if isinstance(value, Criterion):
        return value.wording
    if isinstance(value, WaterProtocol):
        return _("Time in water (%(tag)s)") % {"tag": tag_name(value.applies_to)} if value.applies_to else _("Time in water")
    name = name_of(value.event).label
    if isinstance(value, Rule) and value.applies_to:
        return f"{name} ({tag_name(value.applies_to)})"
    return name


def row_figures(value: Rule | SeasonGate | WaterProtocol | Criterion) -> str:
    """The figures of a row, in a sentence."""
    if isinstance(value, Rule):
        return rule_figures(value)
    if isinstance(value, SeasonGate):
        ends = {"opens": _day_of_year(value.opens), "closes": _day_of_year(value.closes)}
        return _("Only from %(opens)s to %(closes)s, in the north; half a year later in the south.") % ends
    if isinstance(value, WaterProtocol):
        return water_figures(value)
    return criterion_figures(value)


def rule_figures(rule: Rule) -> str:
    """ "At least 28, usually 42, at most 42 days after: wound closed"."""
    anchor = {"anchor": name_of(rule.anchor).label}
    if not rule.is_planned and not rule.is_routine:
        return _("Not needed after: %(anchor)s") % anchor
    days = rule_days(rule.min_days, rule.usual_days, rule.max_days)
    if rule.repeat_until:
        return _repeated(rule, days)
    if rule.is_routine and rule.usual_days:
        return _("Every %(days)s at home, from: %(anchor)s") % {"days": plain_days(rule.usual_days), **anchor}
    return _("%(days)s after: %(anchor)s") % {"days": days, **anchor}


def _repeated(rule: Rule, days: str) -> str:
    ends = _(" or ").join(name_of(end).label.lower() for end in rule.ends)
    sentence = _("Again and again, %(days)s apart, from: %(anchor)s, until: %(end)s")
    words = sentence % {"days": days[:1].lower() + days[1:], "anchor": name_of(rule.anchor).label, "end": ends}
    if rule.then_after is None:
        return words
    later = {"n": rule.then_after, "days": plain_days(rule.then_usual_days or 0)}
    return words + " " + _("(after %(n)d times every %(days)s)") % later


def rule_days(least: int | None, usual: int | None, most: int | None) -> str:
    """ "At least 28, usually 42, at most 56 days"; nothing is said of figures that are not given."""
    named = [(_("at least %(n)d"), least), (_("usually %(n)d"), usual), (_("at most %(n)d"), most)]
    said = [words % {"n": figure} for words, figure in named if figure is not None]
    if not said:
        return _("Any number of days")
    last = next(figure for figure in (most, usual, least) if figure is not None)
    sentence = ", ".join(said) + " " + ngettext("day", "days", last)
    return sentence[:1].upper() + sentence[1:]


def plain_days(days: int) -> str:
    """ "1 day", "14 days"."""
    return ngettext("%(n)d day", "%(n)d days", abs(days)) % {"n": abs(days)}


def water_figures(protocol: WaterProtocol) -> str:
    ladder = ", ".join(str(minutes) for minutes in protocol.ladder)
    figures = {
        "dry": plain_days(protocol.dry_days), "ladder": ladder, "clean": plain_days(protocol.clean_days),
        "share": protocol.used_share_percent, "opening": name_of(protocol.opening_event).label.lower(),
    }  # fmt: skip
    sentence = _(
        "%(dry)s dry, then %(ladder)s minutes a day. Next step after %(clean)s in a row with at least "
        "%(share)d %% of the time used and nothing wrong. Full-time water after: %(opening)s."
    )
    return sentence % figures


def criterion_figures(criterion: Criterion) -> str:
    """What kind of evidence is asked for, with its figure."""
    kind = str(NEEDS[criterion.needs])
    figures = {
        Needs.WEIGHT: _("at least %(target)s g"),
        Needs.TREND: _("at least %(target)s g a day"),
        Needs.SEASON: _("from %(target)s (month-day, in the north)"),
    }
    if criterion.needs in figures:
        return f"{kind}: {figures[criterion.needs] % {'target': criterion.target.replace('/', ' – ')}}"
    if criterion.needs is Needs.EVENT:
        return f"{kind}: {name_of(criterion.target).label}"
    return kind


def tag_name(tag: str) -> str:
    """A tag of an anchoring fact as people write it."""
    return tag.replace("_", " ").replace("-", " ")


def _day_of_year(month_and_day: tuple[int, int]) -> str:
    return date_format(date(A_YEAR, *month_and_day), "j F")
