"""Words for what carers see: signs, water time, answers to a report."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, ngettext_lazy

from handover.schedule.answers import Answer, Because, Call, Cause
from handover.schedule.watertime import Allowance, Reason, Sign
from hospital.words import dated, lowered

CARER_DAY = "l j F Y"  # Tuesday 5 January 2027

SIGNS = {
    Sign.WOUND_OPEN: gettext_lazy("Wound open or gaping"),
    Sign.BLEEDING: gettext_lazy("Bleeding"),
    Sign.IMPLANT_SHOWING: gettext_lazy("Bone or metal showing, or a shell plate loose"),
    Sign.BANDAGE_SOAKED: gettext_lazy("Bandage wet through"),
    Sign.BANDAGE_LOST: gettext_lazy("Bandage off or lost"),
    Sign.LISTING: gettext_lazy("Floats to one side, cannot sink or cannot come up"),
    Sign.SOAKED_PLUMAGE: gettext_lazy("Wet to the skin, or sinking"),
    Sign.WEAK: gettext_lazy("Weak or limp"),
    Sign.FITTING: gettext_lazy("Having a fit"),
    Sign.BREATHING_HARD: gettext_lazy("Breathing hard, or bubbles at the nose"),
    Sign.BANDAGE_SLIPPED: gettext_lazy("Bandage slipped or loose"),
    Sign.WOUND_RED: gettext_lazy("Wound red or swollen"),
    Sign.WOUND_SOFT: gettext_lazy("Wound soft or white"),
    Sign.WOUND_SMELLS: gettext_lazy("Wound smells"),
    Sign.WET_PATCH: gettext_lazy("Wet patch in feathers or fur"),
    Sign.TIRES_SOON: gettext_lazy("Tires soon"),
}

REASONS = {
    Reason.NOT_CLOSED: gettext_lazy("The wound was not closed yet."),
    Reason.DRY_DAYS: gettext_lazy("Dry days after the wound was closed on %(since)s. Water from %(until)s."),
    Reason.DRY_AGAIN: gettext_lazy("Dry days began again on %(since)s. Water from %(until)s."),
    Reason.STOPPED: gettext_lazy("No water since %(since)s (%(signs)s), until the hospital says so."),
    Reason.CLEARED: gettext_lazy("The hospital allowed water again on %(since)s."),
    Reason.SET_BY_VET: gettext_lazy("Set by a vet on %(since)s."),
    Reason.FIRST_WATER: gettext_lazy("The dry days are over: first step."),
    Reason.STEPPED_UP: gettext_lazy("Up one step: enough clean days, the last on %(since)s."),
    Reason.STEPPED_DOWN: gettext_lazy("Less water after %(since)s (%(signs)s)."),
    Reason.KEPT: gettext_lazy("Same step: %(clean)d of %(needed)d clean days so far."),
    Reason.NOT_LOGGED: gettext_lazy("Same step: nothing was logged for %(since)s, so the clean days count anew."),
    Reason.TOO_SHORT: gettext_lazy("Same step: the water time on %(since)s was too short to count."),
    Reason.LAST_STEP: gettext_lazy("Last step until the hospital opens full-time water."),
    Reason.FULL_TIME: gettext_lazy("Full-time water since %(since)s."),
}

ANSWERS = {
    Answer.FINE: gettext_lazy("Fine"),
    Answer.STAY: gettext_lazy("Keep to this step"),
    Answer.PHONE_NOW: gettext_lazy("Phone now"),
}

CALLS = {
    Call.NONE: gettext_lazy("no call needed"),
    Call.TODAY: gettext_lazy("phone today"),
    Call.NOW: gettext_lazy("phone now"),
}

BECAUSE = {
    Because.SEVERE_SIGN: gettext_lazy("You saw: %(signs)s."),
    Because.CARER_HURT: gettext_lazy("Somebody was hurt."),
    Because.ESCAPED: gettext_lazy("It has escaped."),
    Because.DIED: gettext_lazy("It has died."),
    Because.WATER_WHEN_DRY: gettext_lazy("It was in water (%(figure)s minutes) on a day without water."),
    Because.WEIGHT_FELL_MUCH: gettext_lazy("It has lost %(figure)s %% of its weight."),
    Because.UNFED_LONG: gettext_lazy("It has not eaten for %(figure)s hours."),
    Because.MILD_SIGN: gettext_lazy("You saw: %(signs)s."),
    Because.OVER_ALLOWANCE: gettext_lazy("%(figure)s minutes in water; %(limit)s were allowed."),
    Because.WATER_STOPPED: gettext_lazy("Water is stopped until the hospital says so."),
    Because.TOO_SHORT: gettext_lazy("%(figure)s minutes in water; %(limit)s or more count towards the next step."),
    Because.WEIGHT_FELL: gettext_lazy("It has lost %(figure)s %% of its weight."),
    Because.UNFED: gettext_lazy("It has not eaten for %(figure)s hours."),
    Because.WEIGHT_DOUBTFUL: gettext_lazy(
        "%(figure)s g is far from the last weight, %(limit)s g. Look at the scale and the unit, then weigh again."
    ),
    Because.QUIETER: gettext_lazy("It is quieter than usual."),
    Because.BLOOD_IN_DROPPINGS: gettext_lazy("There was blood in the droppings."),
    Because.DOSE_NOT_TAKEN: ngettext_lazy("%(figure)s dose was not taken.", "%(figure)s doses were not taken.", "figure"),
}


def signs_in_words(signs: Iterable[Sign]) -> str:
    """The signs in the order of the list, the severe ones first, separated by commas."""
    return ", ".join(lowered(str(SIGNS[sign])) for sign in Sign if sign in set(signs))


def water_minutes(allowance: Allowance) -> str:
    """ "no water", "20 minutes" or "full-time water"."""
    return minutes_in_words(allowance.minutes)


def minutes_in_words(minutes: int | None) -> str:
    """The same for bare minutes; None is full-time water."""
    if minutes is None:
        return _("full-time water")
    if minutes == 0:
        return _("no water")
    return ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes}


def water_reason(allowance: Allowance, day_format: str = CARER_DAY) -> str:
    """Why the day's water is what it is, in a sentence."""
    return str(REASONS[allowance.why]) % {
        "since": _day(allowance.since, day_format),
        "until": _day(allowance.until, day_format),
        "signs": signs_in_words(allowance.signs),
        "clean": allowance.clean_days,
        "needed": allowance.clean_days_needed,
    }


def cause_in_words(cause: Cause) -> str:
    """One reason for an answer, in a sentence."""
    numbers = {"figure": _whole(cause.figure), "limit": _whole(cause.limit)}
    return str(BECAUSE[cause.why] % {**numbers, "signs": signs_in_words(cause.signs)})


def _whole(number: Decimal | int | None) -> Decimal | int | None:
    """A whole number without its decimals."""
    return int(number) if number is not None and number == int(number) else number


def _day(day: date | None, day_format: str) -> str:
    return dated(day, day_format)
