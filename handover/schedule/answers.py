"""What a carer is told at once after a report: fine, keep to this step, or phone now; and the reasons, as
values.

Which finding asks for which call: common practice, no source (see the red-flag pages of the protocols).
When in doubt the more cautious answer wins. The words live at the edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from handover.schedule.watertime import Allowance, Reason, Sign


class Answer(StrEnum):
    FINE = "fine"
    STAY = "stay"  # keep to this step; do not go on to more
    PHONE_NOW = "phone_now"


class Call(StrEnum):
    """How soon a change of weight asks for a call."""

    NONE = "none"
    TODAY = "today"
    NOW = "now"


class Because(StrEnum):
    """One reason for an answer; `figure` and `limit` of the `Cause` are in the unit named here."""

    SEVERE_SIGN = "severe_sign"
    CARER_HURT = "carer_hurt"  # bitten, scratched, stung or splashed
    ESCAPED = "escaped"
    DIED = "died"
    WATER_WHEN_DRY = "water_when_dry"  # minutes in water on a day that allows none
    WEIGHT_FELL_MUCH = "weight_fell_much"  # percent lost
    UNFED_LONG = "unfed_long"  # hours without food
    MILD_SIGN = "mild_sign"
    OVER_ALLOWANCE = "over_allowance"  # minutes used, minutes allowed
    WATER_STOPPED = "water_stopped"  # an earlier stop is not cleared yet
    TOO_SHORT = "too_short"  # minutes used, minutes that would have counted towards the next step
    WEIGHT_FELL = "weight_fell"  # percent lost
    UNFED = "unfed"  # hours without food
    WEIGHT_DOUBTFUL = "weight_doubtful"  # grams reported, grams of the last weighing: a slip of scale or unit?
    QUIETER = "quieter"  # than usual
    BLOOD_IN_DROPPINGS = "blood_in_droppings"
    DOSE_NOT_TAKEN = "dose_not_taken"  # number of doses


PHONE_NOW = frozenset(
    {
        Because.SEVERE_SIGN,
        Because.CARER_HURT,
        Because.ESCAPED,
        Because.DIED,
        Because.WATER_WHEN_DRY,
        Because.WEIGHT_FELL_MUCH,
        Because.UNFED_LONG,
    }
)
PHONE_TODAY = frozenset(
    {
        Because.MILD_SIGN,
        Because.WATER_STOPPED,
        Because.WEIGHT_FELL,
        Because.UNFED,
        Because.WEIGHT_DOUBTFUL,
        Because.QUIETER,
        Because.BLOOD_IN_DROPPINGS,
        Because.DOSE_NOT_TAKEN,
    }
)


@dataclass(frozen=True, slots=True)
class UnfedLimit:
    """After how many hours without food a group's carer calls: the same day, and now (None: never)."""

    group: str
    today_hours: int
    now_hours: int | None = None
    how_known: str = "common practice, no source"


UNFED_LIMITS = (
    UnfedLimit("animal", 24),
    UnfedLimit("reptile", 48),
    UnfedLimit("amphibian", 72),
)


@dataclass(frozen=True, slots=True)
class Report:
    """What was reported for a day, all entries together, and what it means beside earlier ones.

    `water_minutes` None: nothing said. `weight_loss_percent` is the fall behind `weight_call`.
    `unfed_hours` counts from the last food taken, and is None when the animal ate or was not due to be fed.
    `doubtful_weight_g` is a weight too far from the last one, `last_weight_g`, to be believed unasked.
    """

    signs: frozenset[Sign] = frozenset()
    water_minutes: int | None = None
    weight_call: Call = Call.NONE
    weight_loss_percent: Decimal | None = None
    unfed_hours: int | None = None
    has_blood_in_droppings: bool = False
    is_quieter: bool = False
    doubtful_weight_g: Decimal | None = None
    last_weight_g: Decimal | None = None
    doses_not_taken: int = 0
    is_carer_hurt: bool = False
    has_escaped: bool = False
    has_died: bool = False


@dataclass(frozen=True, slots=True)
class Cause:
    """A reason with its numbers: what was found, and the limit that it met."""

    why: Because
    figure: Decimal | int | None = None
    limit: Decimal | int | None = None
    signs: frozenset[Sign] = frozenset()


@dataclass(frozen=True, slots=True)
class Feedback:
    """The answer, the gravest reasons first. `phone_today`: no alarm, but ring while the hospital is open."""

    answer: Answer
    causes: tuple[Cause, ...] = ()
    phone_today: bool = False


def unfed_limit(lineage: Sequence[str], limits: Sequence[UnfedLimit] = UNFED_LIMITS) -> UnfedLimit:
    """The limit of the nearest group of a lineage (nearest first), or the one for every animal."""
    by_group = {limit.group: limit for limit in limits}
    return next((by_group[group] for group in lineage if group in by_group), by_group["animal"])


def feedback(
    report: Report, *, allowance: Allowance | None = None, unfed: UnfedLimit = UNFED_LIMITS[0]
) -> Feedback:
    """The answer to a report.

    `allowance` is what the day's page had promised before this report; None for an animal without water time.
    """
    causes = (
        *_mishaps(report),
        *_signs(report),
        *_water(report, allowance),
        *_weight(report),
        *_food(report, unfed),
        *_rest(report),
    )
    ordered = tuple(sorted(causes, key=lambda cause: list(Because).index(cause.why)))
    found = {cause.why for cause in causes}
    if found & PHONE_NOW:
        return Feedback(Answer.PHONE_NOW, ordered)
    return Feedback(Answer.STAY if found else Answer.FINE, ordered, phone_today=bool(found & PHONE_TODAY))


def _mishaps(report: Report) -> list[Cause]:
    happened = {
        Because.CARER_HURT: report.is_carer_hurt,
        Because.ESCAPED: report.has_escaped,
        Because.DIED: report.has_died,
    }
    return [Cause(why) for why, is_true in happened.items() if is_true]


def _signs(report: Report) -> list[Cause]:
    severe = frozenset(sign for sign in report.signs if sign.is_severe)
    mild = report.signs - severe
    return [
        Cause(why, signs=signs)
        for why, signs in ((Because.SEVERE_SIGN, severe), (Because.MILD_SIGN, mild))
        if signs
    ]


def _water(report: Report, allowance: Allowance | None) -> list[Cause]:
    if allowance is None or allowance.minutes is None:
        return []
    used, allowed = report.water_minutes, allowance.minutes
    if allowed == 0 and used:
        return [Cause(Because.WATER_WHEN_DRY, used, allowed)]
    if allowance.why is Reason.STOPPED:
        return [Cause(Because.WATER_STOPPED)]
    if used is not None and used > allowed:
        return [Cause(Because.OVER_ALLOWANCE, used, allowed)]
    if used is not None and used < allowance.enough_minutes:
        return [Cause(Because.TOO_SHORT, used, allowance.enough_minutes)]
    return []


def _weight(report: Report) -> list[Cause]:
    why = {Call.NOW: Because.WEIGHT_FELL_MUCH, Call.TODAY: Because.WEIGHT_FELL}.get(report.weight_call)
    return [Cause(why, report.weight_loss_percent)] if why else []


def _food(report: Report, unfed: UnfedLimit) -> list[Cause]:
    hours = report.unfed_hours
    if hours is None:
        return []
    if unfed.now_hours is not None and hours >= unfed.now_hours:
        return [Cause(Because.UNFED_LONG, hours, unfed.now_hours)]
    return [Cause(Because.UNFED, hours, unfed.today_hours)] if hours >= unfed.today_hours else []


def _rest(report: Report) -> list[Cause]:
    causes = []
    if report.doubtful_weight_g is not None:
        causes.append(Cause(Because.WEIGHT_DOUBTFUL, report.doubtful_weight_g, report.last_weight_g))
    if report.is_quieter:
        causes.append(Cause(Because.QUIETER))
    if report.has_blood_in_droppings:
        causes.append(Cause(Because.BLOOD_IN_DROPPINGS))
    if report.doses_not_taken:
        causes.append(Cause(Because.DOSE_NOT_TAKEN, report.doses_not_taken))
    return causes
