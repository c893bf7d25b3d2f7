"""What a phone without signal needs to answer a report by the rules of schedule.answers: the figures of one day."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from typing import Any
from zoneinfo import ZoneInfo

from handover.labels.care import BECAUSE, SIGNS
from handover.logs.models import Droppings
from handover.logs.queries import ATE, Day, last_fed_on
from handover.logs.water import SIGN_OF_ACTIVITY, SIGN_OF_BANDAGE, signs_of
from handover.schedule.answers import PHONE_NOW, PHONE_TODAY, Because, unfed_limit
from handover.schedule.watertime import Reason, Sign
from hospital.admissions.actions import UNLIKELY_FACTOR
from hospital.rules.weights import Weighing, alarm_for, calls_below_g, reference_g
from hospital.words import lowered


def answer_hints(day: Day) -> dict[str, Any]:
    """Figures, limits and words as plain JSON. What the day's reports said already is counted in, as the server does."""
    return {
        "allowance": _allowance(day),
        "so_far": {
            "minutes": day.minutes_so_far,
            "signs": sorted({str(sign) for each in day.reports for sign in signs_of(each.signs, each.bandage, each.activity)}),
            "has_blood": any(each.droppings == Droppings.BLOODY for each in day.reports),
            "not_taken": sum(dose["kind"] != "given" for each in day.reports for dose in each.doses),
        },
        "unfed": _unfed(day),
        "weight": _weight(day),
        "signs": {str(sign): {"words": lowered(str(SIGNS[sign])), "is_severe": sign.is_severe} for sign in Sign},
        "sign_of_bandage": {str(state): str(sign) for state, sign in SIGN_OF_BANDAGE.items()},
        "sign_of_activity": {str(state): str(sign) for state, sign in SIGN_OF_ACTIVITY.items()},
        "because": [{"why": str(why), "words": _words(why), "phone": _phone(why)} for why in Because],
    }


def _allowance(day: Day) -> dict[str, Any] | None:
    """What the day's page had promised before anything was reported for the day."""
    if day.water is None:
        return None
    promised = day.water.without(day.on).on(day.on)
    return {"minutes": promised.minutes, "enough": promised.enough_minutes, "is_stopped": promised.why is Reason.STOPPED}


def _unfed(day: Day) -> dict[str, Any]:
    """The hours without food that a refused meal of this day stands for; None when it ate something today."""
    limit = unfed_limit(day.patient.species.group.lineage())
    has_eaten = any(each.eaten in ATE for each in day.reports)
    hours = None if has_eaten else (day.on - last_fed_on(day.patient, day.placement, day.on)).days * 24
    return {"hours": hours, "today_hours": limit.today_hours, "now_hours": limit.now_hours}


def _weight(day: Day) -> dict[str, Any] | None:
    """Tenths of a gram: from which weight down to call today and now, and between which a weight is believed."""
    last = day.patient.latest_weight()
    if last is None:
        return None
    zone, alarm = ZoneInfo(day.patient.hospital.zone), alarm_for(day.patient.species.group.lineage())
    rows = day.patient.weights.values_list("weighed_at", "weight_g")
    earlier = [Weighing(at.astimezone(zone).date(), grams) for at, grams in rows if at.astimezone(zone).date() <= day.on]
    if not earlier:
        return None
    now_of, today_of = reference_g(earlier, day.on, alarm.now_days), reference_g(earlier, day.on, alarm.today_days)
    today_below, now_below = calls_below_g(earlier, day.on, alarm)
    return {
        "last_g": _plain(last.weight_g),
        "low": float(last.weight_g * 10 / UNLIKELY_FACTOR),
        "high": float(last.weight_g * 10 * UNLIKELY_FACTOR),
        "now": {"below": _tenths(now_below), "of": float(now_of * 10)},
        "today": {"below": _tenths(today_below), "of": float(today_of * 10)},
    }


def _tenths(grams: Decimal) -> int:
    """Whole tenths of a gram, the broken one left off."""
    return int((grams * 10).to_integral_value(ROUND_FLOOR))


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"


def _phone(why: Because) -> str:
    return "now" if why in PHONE_NOW else "today" if why in PHONE_TODAY else ""


def _words(why: Because) -> list[str]:
    """The sentence with its places left open; one for a single one and one for several where they differ."""
    open_places = {"figure": "{figure}", "limit": "{limit}", "signs": "{signs}"}
    if why is not Because.DOSE_NOT_TAKEN:
        return [str(BECAUSE[why] % open_places)]
    return [(BECAUSE[why] % {"figure": n}).replace(str(n), "{figure}", 1) for n in (1, 2)]
