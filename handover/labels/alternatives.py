"""What would move a day, and what it would cost, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.labels.events import event_label
from handover.labels.rules import plain_days
from handover.labels.why import day_in_words
from handover.schedule.alternatives import Alternative, Moves, Price
from handover.schedule.case import Instance
from handover.schedule.problem import Costs


def slack_in_words(found: Moves) -> str:
    """How far the event can go at no broken rule."""
    if not found.possible:
        return _("No other day keeps every rule.")
    words = {
        "earlier": plain_days(found.days_earlier), "later": plain_days(found.days_later),
        "first": day_in_words(found.possible[0]), "last": day_in_words(found.possible[-1]),
    }  # fmt: skip
    if found.days_earlier and found.days_later:
        return _("Up to %(earlier)s earlier (%(first)s) or %(later)s later (%(last)s), with every rule kept.") % words
    if found.days_earlier:
        return _("Up to %(earlier)s earlier (%(first)s) with every rule kept; not a day later.") % words
    if found.days_later:
        return _("Up to %(later)s later (%(last)s) with every rule kept; not a day earlier.") % words
    return _("No other day keeps every rule.")


def step_in_words(found: Moves, offer: Alternative) -> str:
    """ "2 days earlier"."""
    days = (offer.day - found.day).days
    sentence = _("%(days)s earlier") if days < 0 else _("%(days)s later")
    return sentence % {"days": plain_days(days)}


def cost_in_words(base: Price, other: Price, extra: int) -> str:
    """What another plan costs beside the one as it is: "One more visit; 2 more promised dates move (+40 points)."."""
    parts = list(_parts(base, other))
    if not parts and extra == 0:
        return _("Costs nothing more.")
    said = "; ".join(parts) or _("costs more")
    points = ngettext("%(sign)s%(n)d point", "%(sign)s%(n)d points", abs(extra)) % {"sign": "−" if extra < 0 else "+", "n": abs(extra)}
    return f"{said[:1].upper()}{said[1:]} ({points})."


def _parts(base: Price, other: Price) -> Iterator[str]:
    visits, promises = other.visits - base.visits, other.promises - base.promises
    if visits > 0:
        yield ngettext("one more visit", "%(n)d more visits", visits) % {"n": visits}
    if visits < 0:
        yield ngettext("one visit fewer", "%(n)d visits fewer", -visits) % {"n": -visits}
    if promises > 0:
        yield ngettext("one more promised date moves", "%(n)d more promised dates move", promises) % {"n": promises}
    if promises < 0:
        yield ngettext("one more promise is kept", "%(n)d more promises are kept", -promises) % {"n": -promises}
    if other.off_usual > base.off_usual:
        yield _("further from the usual days")
    if other.off_usual < base.off_usual:
        yield _("nearer to the usual days")


def followers_in_words(instance: Instance, offer: Alternative) -> str:
    """Which other events would have another day; nothing if none."""
    names = [name for name in offer.moved if name in instance.meaning and instance.meaning[name].rule]
    if not names:
        return ""
    told = [f"{event_label(instance.meaning[name])} {_to(offer.moved[name])}" for name in names[:3]]
    if len(names) > len(told):
        more = len(names) - len(told)
        told.append(ngettext("one more", "%(n)d more", more) % {"n": more})
    return _("Moves with it: %(others)s.") % {"others": "; ".join(told)}


def _to(day: date) -> str:
    return f"→ {day_in_words(day)}"


def apart_in_words(instance: Instance, found: Moves) -> str:
    """Which visit it shares, and what a visit of its own would cost."""
    others = "; ".join(event_label(instance.meaning[name]) for name in found.companions)
    shares = _("It shares its visit with: %(others)s.") % {"others": others}
    if found.apart is None:
        return shares + " " + _("It cannot have a visit of its own unless they move too.")
    cost = cost_in_words(found.price, found.apart.price, found.apart.extra)
    words = {"day": day_in_words(found.apart.day), "cost": cost[:1].lower() + cost[1:]}
    return shares + " " + _("Apart from them, best on %(day)s: %(cost)s") % words


def price_rows(old: Price | None, new: Price) -> list[dict[str, object]]:
    """Old and new cost part by part, for a table; no old figures where there was no plan."""
    parts: Mapping[str, str] = {
        "visits": _("Visits to the clinic"),
        "promises": _("Promised dates that move"),
        "off_usual": _("Points for days off the usual ones"),
        "total": _("All together, in points"),
    }
    return [{"what": words, "old": getattr(old, part) if old else None, "new": getattr(new, part)} for part, words in parts.items()]


def points_in_words(costs: Costs) -> str:
    """What the points are."""
    words = {"visit": costs.visit, "move": costs.move}
    return _(
        "Points: a visit counts %(visit)d, a promised date that moves %(move)d, and each day off the usual one as much as "
        "the protocol’s rule says. Planning takes the plan with the fewest."
    ) % words
