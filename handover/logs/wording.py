"""Reports and answers in words, for carers and for the hospital."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from handover.labels.care import ANSWERS, SIGNS, cause_in_words, water_minutes, water_reason
from handover.labels.why import CLINICAL_DAY
from handover.logs.models import MISHAPS, BandageState, Droppings, Eaten, LogEntry
from handover.logs.queries import Day
from handover.logs.water import Water, signs_of
from handover.schedule.answers import PHONE_TODAY, Answer, Because, Cause
from handover.schedule.watertime import Allowance, Sign
from hospital.rules.wording import body_weight

IN_DANGER = {Because.SEVERE_SIGN, Because.WATER_WHEN_DRY}
STYLES = {Answer.PHONE_NOW: "phone", Answer.STAY: "keep", Answer.FINE: "fine"}
ICONS = {Answer.PHONE_NOW: "icons/_phone.html", Answer.STAY: "icons/_hand.html", Answer.FINE: "icons/_check.html"}


@dataclass(frozen=True, slots=True)
class AnswerCard:
    """What a carer is told at once: the word, why, and how soon to ring."""

    entry: LogEntry
    style: str
    icon: str
    headline: str
    reasons: tuple[str, ...]
    phone: str  # "now", "today" or ""
    is_in_danger: bool  # the animal itself: what to do until the hospital answers
    is_gone: bool  # escaped or died: nothing to look at tomorrow


def answer_card(entry: LogEntry) -> AnswerCard:
    answer, causes = Answer(entry.answer), causes_of(entry)
    is_today = answer is Answer.STAY and bool({each.why for each in causes} & PHONE_TODAY)
    return AnswerCard(
        entry=entry,
        style=STYLES[answer],
        icon="icons/_phone.html" if is_today else ICONS[answer],
        headline=_("Phone the hospital today") if is_today else str(ANSWERS[answer]),
        reasons=tuple(cause_in_words(each) for each in causes),
        phone="now" if answer is Answer.PHONE_NOW else "today" if is_today else "",
        is_in_danger=bool({each.why for each in causes} & IN_DANGER),
        is_gone=bool({"escaped", "died"} & set(entry.happened)),
    )


def causes_of(entry: LogEntry) -> list[Cause]:
    """The stored reasons of the answer as values."""
    return [_cause(row) for row in entry.reasons if "why" in row]


def _cause(row: Mapping[str, Any]) -> Cause:
    numbers = {name: Decimal(row[name]) for name in ("figure", "limit") if name in row}
    return Cause(Because(row["why"]), signs=frozenset(Sign(sign) for sign in row.get("signs", ())), **numbers)


def flags_in_words(entry: LogEntry) -> list[str]:
    """What the hospital should know about how a report came, and what could not be written down from it."""
    return [_flag(row) for row in entry.reasons if "flag" in row]


def _flag(row: Mapping[str, Any]) -> str:
    if row["flag"] == "clock":
        words = _("The device's clock is %(minutes)d minutes off.")
        return words % {"minutes": abs(row["minutes"])}
    if row["flag"] == "late":
        return _("It came after the animal had left this carer, who had it when this was written.")
    what = {"weight": _("Weight not written down"), "dose": _("Dose not written down")}[row["flag"]]
    return f"{what}: {row['words']}"


def report_in_words(entry: LogEntry) -> list[tuple[str, str]]:
    """A report as label and words, only what was said."""
    lines = [
        (_("Water"), _minutes(entry.water_minutes)),
        (_("Food"), " · ".join(str(part) for part in (entry.get_eaten_display(), entry.food) if part)),
        (_("Droppings"), entry.get_droppings_display()),
        (_("Bandage"), entry.get_bandage_display() if entry.bandage != BandageState.NONE else ""),
        (_("Behaviour"), entry.get_activity_display()),
        (_("Weight"), body_weight(entry.weight_g) if entry.weight_g is not None else ""),
        (_("Seen"), ", ".join(str(SIGNS[sign]) for sign in Sign if sign in entry.signs)),
        (_("Happened"), ", ".join(str(words) for name, words in MISHAPS.items() if name in entry.happened)),
        (_("Medicine"), _doses(entry)),
        (_("Worries"), entry.worries),
    ]
    return [(str(label), str(words)) for label, words in lines if words]


def _minutes(minutes: int | None) -> str:
    return "" if minutes is None else ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes}


def _doses(entry: LogEntry) -> str:
    given = sum(dose["kind"] == "given" for dose in entry.doses)
    left = len(entry.doses) - given
    words = [ngettext("%(n)d given", "%(n)d given", given) % {"n": given}] if given else []
    return ", ".join(words + ([ngettext("%(n)d not taken", "%(n)d not taken", left) % {"n": left}] if left else []))


def findings_in_words(entry: LogEntry) -> str:
    """What was not as usual, in a line."""
    odd = [str(SIGNS[sign]) for sign in Sign if sign in signs_of(entry.signs, entry.bandage, entry.activity)]
    odd += [str(words) for name, words in MISHAPS.items() if name in entry.happened]
    odd += [str(Eaten.NONE.label)] if entry.eaten == Eaten.NONE else []
    odd += [str(Droppings.BLOODY.label)] if entry.droppings == Droppings.BLOODY else []
    return ", ".join(odd)


# --- the ladder ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Rung:
    """One day of the ladder. `bar` is its height in the picture, 0 for a dry day."""

    allowance: Allowance
    words: str
    why: str
    reported: str
    is_past: bool
    is_today: bool
    x: int
    y: int
    bar: int


@dataclass(frozen=True, slots=True)
class Ladder:
    rungs: tuple[Rung, ...]
    width: int
    height: int
    top_words: str

    @property
    def today(self) -> Rung | None:
        return next((rung for rung in self.rungs if rung.is_today), None)


STEP, TOP, BASE = 30, 26, 176


def ladder_picture(water: Water, today, first, last) -> Ladder:
    """Past days by what was reported, coming ones as if each were clean; bars by step, because minutes grow too fast."""
    days = water.forecast(today, max(first, water.closed_on), last)
    steps = water.protocol.full_time_step
    said = {log.on: log.minutes for log in water.logs if log.minutes is not None}
    rungs = tuple(_rung(n, day, today, said.get(day.on), steps) for n, day in enumerate(days))
    return Ladder(rungs, max(320, STEP * len(rungs) + 20), BASE + 40, water_words(days[-1]) if days else "")


def _rung(number: int, day: Allowance, today, said: int | None, steps: int) -> Rung:
    bar = round((BASE - TOP) * day.step / steps) if day.step else 0
    return Rung(
        allowance=day,
        words=water_words(day),
        why=water_reason(day, CLINICAL_DAY),
        reported=_minutes(said),
        is_past=day.on < today,
        is_today=day.on == today,
        x=10 + STEP * number,
        y=BASE - bar,
        bar=bar,
    )


def water_words(allowance: Allowance) -> str:
    return water_minutes(allowance)


def tomorrow_in_words(day: Day) -> tuple[str, str] | None:
    """Tomorrow's water as it stands now, and why; None without a water protocol."""
    if day.water is None:
        return None
    tomorrow = day.water.on(day.on + timedelta(1))
    return water_words(tomorrow), water_reason(tomorrow)
