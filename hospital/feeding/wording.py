"""A plan in words: every page, card and pack gets it from here."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from hospital.feeding.models import FeedingPlan, FluidPlan
from hospital.rules.fluids import Phase
from hospital.rules.wording import Unit, number, quantity, readable
from hospital.words import dated, said, tongue

CLINICAL_MOMENT = "D d-M-Y H:i"


def grams(amount: Decimal) -> str:
    return quantity(amount, Unit.G, tongue())


def millilitres(amount: Decimal) -> str:
    """A volume to four significant digits, for reading."""
    return quantity(readable(amount), Unit.ML, tongue())


def kcal(amount: Decimal) -> str:
    """An energy to four significant digits, for reading."""
    return quantity(readable(amount), Unit.KCAL, tongue())


def times(factor: Decimal) -> str:
    return f"× {number(factor, tongue())}"


def meals_line(plan: FeedingPlan) -> str:
    """ "12 g at each meal, 3 meals a day"."""
    return meals(plan.grams_per_meal, plan.meals_per_day, plan.every_days)


def meals(grams_per_meal: Decimal, meals_per_day: int, every_days: int) -> str:
    each = _("%(grams)s at each meal") % {"grams": grams(grams_per_meal)}
    if every_days == 1:
        often = ngettext("%(n)d meal a day", "%(n)d meals a day", meals_per_day) % {"n": meals_per_day}
    else:
        often = ngettext("%(n)d meal every %(days)d days", "%(n)d meals every %(days)d days", meals_per_day)
        often %= {"n": meals_per_day, "days": every_days}
    return f"{each}, {often}"


def feeding_line(plan: FeedingPlan) -> str:
    """The whole plan in a line: "mealworms: 12 g at each meal, 3 meals a day"."""
    return f"{said(plan.food)}: {meals_line(plan)}"


def need_line(plan: FeedingPlan) -> str:
    """How the need was worked out: the formula with its numbers, so that it can be checked by hand."""
    return _("Need %(need)s a day: %(constant)s × kg to the power 0.75 = %(rest)s at rest, times %(factor)s") % {
        "need": kcal(plan.need_kcal),
        "constant": number(plan.kcal_constant, tongue()),
        "rest": kcal(plan.resting_kcal),
        "factor": number(plan.factor, tongue()),
    }


def amount_line(phase: Phase, times_per_day: int | None) -> str:
    """What is given in one phase: a volume for each time, or a rate with its drops."""
    day = _("%(ml)s a day") % {"ml": millilitres(phase.ml_per_day)}
    if phase.ml_each is not None and times_per_day:
        often = ngettext("once a day", "%(n)d times a day", times_per_day) % {"n": times_per_day}
        return _("%(ml)s each time, %(often)s") % {"ml": millilitres(phase.ml_each), "often": often} + f" ({day})"
    rate = _("%(ml)s per hour") % {"ml": millilitres(phase.ml_per_hour)}
    if phase.drops_per_minute is None:
        return f"{rate} ({day})"
    words = ngettext("%(n)d drop per minute", "%(n)d drops per minute", phase.drops_per_minute)
    return f"{rate}, {words % {'n': phase.drops_per_minute}} ({day})"


def fluid_steps(
    plan: FluidPlan, zone: str, moment: str = CLINICAL_MOMENT, since: datetime | None = None
) -> list[tuple[str, str]]:
    """Each phase: when, and what is given. The deficit is in the first ones only.

    What was over by `since` is left out, so that nobody who reads on gives a deficit twice.
    """
    steps = []
    for phase, begins, ends in plan.in_phases():
        if since and ends and ends <= since:
            continue
        told = {"begins": _at(begins, zone, moment), "ends": _at(ends, zone, moment) if ends else ""}
        when = _("%(begins)s until %(ends)s") if ends else _("from %(begins)s on")
        steps.append((when % told, amount_line(phase, plan.times_per_day)))
    return steps


def _at(moment: datetime, zone: str, form: str) -> str:
    return dated(moment.astimezone(ZoneInfo(zone)), form)


def fluid_line(plan: FluidPlan) -> str:
    """What and how: "Ringer's solution, under the skin"."""
    return f"{said(plan.fluid)}, {plan.get_route_display()}"


def sums_line(plan: FluidPlan) -> str:
    """How the plan was worked out, so that it can be checked by hand."""
    told = {
        "kg": _("%(ml)s per kg a day") % {"ml": millilitres(plan.ml_per_kg_day)},
        "deficit": millilitres(plan.deficit_ml) if plan.deficit_ml else _("none"),
        "percent": quantity(plan.dehydration_percent, Unit.PERCENT, tongue()),
        "losses": millilitres(plan.losses_ml_day) if plan.losses_ml_day else _("none"),
    }
    return _("Maintenance %(kg)s; deficit %(deficit)s (%(percent)s of the weight), given once; losses a day: %(losses)s") % told
