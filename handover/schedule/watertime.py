"""Graded water time: how many minutes an animal with a closed wound may spend in water on each day, and
why.

A pure state machine. Whole local days; minutes are minutes a day. Only a clean day counts towards the next
step, a missing report never does, and a severe sign stops the water until the hospital itself clears it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise
from typing import Any

MINUTES_A_DAY = 1440


class Sign(StrEnum):
    """What a carer can report of the animal or its wound. Which of them are severe: common practice, no
    source.
    """

    WOUND_OPEN = "wound_open"
    BLEEDING = "bleeding"
    IMPLANT_SHOWING = "implant_showing"  # bone, pin, plate or wire to be seen, or a shell plate loose
    BANDAGE_SOAKED = "bandage_soaked"
    BANDAGE_LOST = "bandage_lost"
    LISTING = "listing"  # floats to one side, or cannot sink or come up
    SOAKED_PLUMAGE = "soaked_plumage"  # wet to the skin, or sinking
    WEAK = "weak"
    FITTING = "fitting"
    BREATHING_HARD = "breathing_hard"  # open mouth, gasping, bubbles or froth at the nose
    BANDAGE_SLIPPED = "bandage_slipped"
    WOUND_RED = "wound_red"
    WOUND_SOFT = "wound_soft"  # soft or white
    WOUND_SMELLS = "wound_smells"
    WET_PATCH = "wet_patch"  # in the plumage or fur
    TIRES_SOON = "tires_soon"

    @property
    def is_severe(self) -> bool:
        """A severe sign stops the water at once and asks for a call now; any other one is mild."""
        return self in SEVERE


SEVERE = frozenset(
    {
        Sign.WOUND_OPEN,
        Sign.BLEEDING,
        Sign.IMPLANT_SHOWING,
        Sign.BANDAGE_SOAKED,
        Sign.BANDAGE_LOST,
        Sign.LISTING,
        Sign.SOAKED_PLUMAGE,
        Sign.WEAK,
        Sign.FITTING,
        Sign.BREATHING_HARD,
    }
)


class Reason(StrEnum):
    """What settled the minutes of a day. The words for it live at the edge."""

    NOT_CLOSED = "not_closed"  # the day lies before the closure
    DRY_DAYS = "dry_days"  # the wound was closed on `since`; water from `until`
    DRY_AGAIN = "dry_again"  # the dry days began again on `since`; water from `until`
    STOPPED = "stopped"  # severe `signs` on `since`, not cleared yet
    CLEARED = "cleared"  # the hospital cleared the stop on `since`
    SET_BY_VET = "set_by_vet"  # a vet set this step on `since`
    FIRST_WATER = "first_water"  # the dry days are over
    STEPPED_UP = "stepped_up"  # enough clean days, the last of them on `since`
    STEPPED_DOWN = "stepped_down"  # mild `signs` on `since` (on the first step there is no lower one)
    KEPT = "kept"  # `since` was clean; `clean_days` of `clean_days_needed` so far
    NOT_LOGGED = "not_logged"  # nothing was reported for `since`: the count of clean days begins again
    TOO_SHORT = "too_short"  # too little of the allowance was used on `since`: likewise
    LAST_STEP = "last_step"  # enough clean days, but the opening event is not done
    FULL_TIME = "full_time"  # the opening event was done on `since`, or the ladder was climbed again after it


@dataclass(frozen=True, slots=True)
class WaterProtocol:
    """A ladder of minutes a day, and what moves an animal up and down it. `ladder[0]` is step 1."""

    id: str
    group: str
    applies_to: str
    dry_days: int
    ladder: tuple[int, ...]
    clean_days: int
    used_share_percent: int
    mild_steps_down: int
    opening_event: str
    restarts_on: frozenset[str] = frozenset()
    instruction: str = ""
    source: str = ""
    how_known: str = ""

    def __post_init__(self) -> None:
        if self.dry_days < 0:
            raise ValueError(f"dry_days cannot be below 0, not {self.dry_days}.")
        if not self.ladder or self.ladder[0] < 1 or self.ladder[-1] > MINUTES_A_DAY:
            raise ValueError(
                f"ladder needs steps of 1 to {MINUTES_A_DAY} minutes a day, not {list(self.ladder)}."
            )
        if any(lower >= higher for lower, higher in pairwise(self.ladder)):
            raise ValueError(f"ladder must rise from step to step, not {list(self.ladder)}.")
        if self.clean_days < 1:
            raise ValueError(f"clean_days must be at least 1, not {self.clean_days}.")
        if not 1 <= self.used_share_percent <= 100:
            raise ValueError(f"used_share_percent must lie between 1 and 100, not {self.used_share_percent}.")
        if self.mild_steps_down < 1:
            raise ValueError(f"mild_steps_down must be at least 1, not {self.mild_steps_down}.")

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> WaterProtocol:
        """A protocol from its JSON form, in which ladder and restarts_on are lists."""
        fields = {
            **content,
            "ladder": tuple(content["ladder"]),
            "restarts_on": frozenset(content.get("restarts_on", ())),
        }
        return cls(**fields)

    @property
    def last_step(self) -> int:
        return len(self.ladder)

    @property
    def full_time_step(self) -> int:
        """The number that stands for full-time water: one above the last step of the ladder."""
        return len(self.ladder) + 1

    def minutes_at(self, step: int) -> int | None:
        """The minutes a day of a step; 0 when dry, None in full-time water."""
        if step > self.last_step:
            return None
        return self.ladder[step - 1] if step else 0

    def enough_minutes(self, step: int) -> int:
        """The least minutes that count as having used the allowance of a step."""
        return -(-self.used_share_percent * (self.minutes_at(step) or 0) // 100)


@dataclass(frozen=True, slots=True)
class WaterLog:
    """One report about a day. Several for one day count together: minutes are added, signs united.

    `minutes` None means that the carer did not say. `was_cleared` is true when a clearance of the same day
    was given by somebody who had read this report; otherwise a severe sign in it outlasts that clearance.
    """

    on: date
    minutes: int | None = None
    signs: frozenset[Sign] = frozenset()
    was_cleared: bool = False

    def __post_init__(self) -> None:
        if self.minutes is not None and not 0 <= self.minutes <= MINUTES_A_DAY:
            raise ValueError(f"A day has 0 to {MINUTES_A_DAY} minutes of water, not {self.minutes}.")


@dataclass(frozen=True, slots=True)
class StepSet:
    """A vet puts the animal on a step from this day on, also within the dry days. Step 0 is dry.

    It does not end a stop: only a clearance does. A step above the last means full-time water once that is
    open, and the last step until then.
    """

    on: date
    step: int

    def __post_init__(self) -> None:
        if self.step < 0:
            raise ValueError(f"A step is 0 (dry) or more, not {self.step}.")


@dataclass(frozen=True, slots=True)
class Clearance:
    """The hospital ends a stop: water again from this day on, starting at `step`.

    It answers for severe signs of earlier days, and for those reports of the same day that are marked as
    read by then. With no stop to end it changes nothing.
    """

    on: date
    step: int = 1

    def __post_init__(self) -> None:
        if self.step < 1:
            raise ValueError(f"Water starts again at step 1 or above, not {self.step}.")


@dataclass(frozen=True, slots=True)
class Allowance:
    """The water of one day. `minutes` None means full-time water; `step` is 0 while no water is allowed.

    `enough_minutes` is the least that counts towards the next step. What `since`, `until`, `signs` and the
    clean days mean is said beside each reason.
    """

    on: date
    minutes: int | None
    step: int
    why: Reason
    phone_now: bool = False
    enough_minutes: int = 0
    clean_days: int = 0
    clean_days_needed: int = 0
    since: date | None = None
    until: date | None = None
    signs: frozenset[Sign] = frozenset()


@dataclass(frozen=True, slots=True)
class _Day:
    """All reports of one day together."""

    minutes: int | None = None
    signs: frozenset[Sign] = frozenset()
    has_unread_severe: bool = False

    @property
    def severe(self) -> frozenset[Sign]:
        return self.signs & SEVERE


@dataclass(frozen=True, slots=True)
class _Case:
    """Everything that happened, by day. Of two decisions on one day the more cautious one counts."""

    protocol: WaterProtocol
    closed_on: date
    opened_on: date | None
    reports: Mapping[date, _Day]
    set_steps: Mapping[date, int]
    cleared_steps: Mapping[date, int]
    restarted_on: frozenset[date]


@dataclass(frozen=True, slots=True)
class _State:
    """Where the animal stands on the morning of a day."""

    dry_since: date
    wet_from: date
    since: date
    step: int = 1
    clean_days: int = 0
    why: Reason = Reason.FIRST_WATER
    signs: frozenset[Sign] = frozenset()
    stopped_on: date | None = None
    stop_signs: frozenset[Sign] = frozenset()
    is_open: bool = False

    def moved(self, why: Reason, on: date, step: int, clean_days: int = 0) -> _State:
        return replace(self, why=why, since=on, step=step, clean_days=clean_days, signs=frozenset())


def allowances(
    protocol: WaterProtocol,
    *,
    closed_on: date,
    opened_on: date | None = None,
    logs: Iterable[WaterLog] = (),
    step_sets: Iterable[StepSet] = (),
    clearances: Iterable[Clearance] = (),
    restarted_on: Iterable[date] = (),
    first: date,
    last: date,
) -> tuple[Allowance, ...]:
    """The allowance of every day from `first` to `last`, from what is known.

    A day without a report never raises it. `opened_on` is the day of the opening event and `restarted_on`
    the days of those events on which the protocol begins the dry days again. The order of reports and
    decisions does not matter.
    """
    case = _case(protocol, closed_on, opened_on, logs, step_sets, clearances, restarted_on)
    return _between(case, first, last, clean_from=None)


def forecast(
    protocol: WaterProtocol,
    *,
    closed_on: date,
    opened_on: date | None = None,
    logs: Iterable[WaterLog] = (),
    step_sets: Iterable[StepSet] = (),
    clearances: Iterable[Clearance] = (),
    restarted_on: Iterable[date] = (),
    today: date,
    first: date,
    last: date,
) -> tuple[Allowance, ...]:
    """As `allowances`, but every day from `today` on that has no report yet is taken to be clean.

    `opened_on` may lie ahead: the day on which the plan expects the opening event.
    """
    case = _case(protocol, closed_on, opened_on, logs, step_sets, clearances, restarted_on)
    return _between(case, first, last, clean_from=today)


def _case(
    protocol: WaterProtocol,
    closed_on: date,
    opened_on: date | None,
    logs: Iterable[WaterLog],
    step_sets: Iterable[StepSet],
    clearances: Iterable[Clearance],
    restarted_on: Iterable[date],
) -> _Case:
    reports: dict[date, _Day] = {}
    for log in logs:
        reports[log.on] = _with_report(reports.get(log.on, _Day()), log)
    set_steps = _lowest_by_day((chosen.on, chosen.step) for chosen in step_sets)
    cleared_steps = _lowest_by_day((given.on, given.step) for given in clearances)
    return _Case(protocol, closed_on, opened_on, reports, set_steps, cleared_steps, frozenset(restarted_on))


def _with_report(day: _Day, log: WaterLog) -> _Day:
    minutes = day.minutes if log.minutes is None else (day.minutes or 0) + log.minutes
    is_unread = bool(log.signs & SEVERE) and not log.was_cleared
    return _Day(minutes, day.signs | log.signs, day.has_unread_severe or is_unread)


def _lowest_by_day(steps: Iterable[tuple[date, int]]) -> dict[date, int]:
    lowest: dict[date, int] = {}
    for on, step in steps:
        lowest[on] = min(step, lowest.get(on, step))
    return lowest


def _between(case: _Case, first: date, last: date, clean_from: date | None) -> tuple[Allowance, ...]:
    if last < first:
        raise ValueError(f"The last day ({last}) cannot lie before the first ({first}).")
    day_after = last + timedelta(1)
    before = min(day_after, case.closed_on)
    not_closed = (Allowance(day, 0, 0, Reason.NOT_CLOSED) for day in _each_day(first, before))
    return (*not_closed, *(day for day in _walk(case, day_after, clean_from) if day.on >= first))


def _each_day(first: date, end: date) -> Iterator[date]:
    """Every day from `first` up to, not including, `end`."""
    return (first + timedelta(days) for days in range((end - first).days))


def _walk(case: _Case, end: date, clean_from: date | None) -> Iterator[Allowance]:
    """Every day's allowance from the closure up to, not including, `end`."""
    first_water_on = case.closed_on + timedelta(case.protocol.dry_days)
    state = _State(dry_since=case.closed_on, wet_from=first_water_on, since=first_water_on)
    for day in _each_day(case.closed_on, end):
        state = _decided(case, state, day)
        promised = _promised(case, state, day)
        report = case.reports.get(day)
        if report is None and clean_from is not None and day >= clean_from:
            report = _Day(promised.minutes)
        state = _learned(case, state, report, day)
        yield _stopped_today(promised, report, state) if report and report.severe else promised


def _decided(case: _Case, state: _State, day: date) -> _State:
    """The state after what people decided for a day: new dry days, a clearance, the opening, a step."""
    restarts = day in case.restarted_on
    if restarts:
        state = _dry_again(case, state, day)
    if day in case.cleared_steps and state.stopped_on is not None:
        state = _cleared(case, state, day)
    if day == case.opened_on and not restarts:
        state = replace(state.moved(Reason.FULL_TIME, day, case.protocol.full_time_step), is_open=True)
    if day in case.set_steps:
        step = _within(case, state, case.set_steps[day])
        state = replace(state.moved(Reason.SET_BY_VET, day, step), wet_from=min(state.wet_from, day))
    return state


def _dry_again(case: _Case, state: _State, day: date) -> _State:
    """Dry days from this day on. What an opening event allowed held for the earlier wound or bandage."""
    wet_from = day + timedelta(case.protocol.dry_days)
    begun = state.moved(Reason.FIRST_WATER, wet_from, 1)
    return replace(begun, dry_since=day, wet_from=wet_from, is_open=False)


def _within(case: _Case, state: _State, step: int) -> int:
    """A named step, never above the last before full-time water is open."""
    return min(step, case.protocol.full_time_step if state.is_open else case.protocol.last_step)


def _cleared(case: _Case, state: _State, day: date) -> _State:
    step = _within(case, state, case.cleared_steps[day])
    return replace(state.moved(Reason.CLEARED, day, step), stopped_on=None, stop_signs=frozenset())


def _promised(case: _Case, state: _State, day: date) -> Allowance:
    """The day's allowance before anything that is reported on the day itself."""
    if state.stopped_on is not None:
        return _stop(day, state.stopped_on, state.stop_signs, phone_now=True)
    if day < state.wet_from:
        why = Reason.DRY_DAYS if state.dry_since == case.closed_on else Reason.DRY_AGAIN
        return Allowance(day, 0, 0, why, since=state.dry_since, until=state.wet_from)
    return Allowance(
        day,
        case.protocol.minutes_at(state.step),
        state.step,
        state.why,
        enough_minutes=case.protocol.enough_minutes(state.step),
        clean_days=state.clean_days,
        clean_days_needed=case.protocol.clean_days,
        since=state.since,
        signs=state.signs,
    )


def _stop(day: date, since: date, signs: frozenset[Sign], *, phone_now: bool) -> Allowance:
    return Allowance(day, 0, 0, Reason.STOPPED, phone_now=phone_now, since=since, signs=signs)


def _stopped_today(promised: Allowance, report: _Day, after: _State) -> Allowance:
    """A day with a severe sign has no water, also when the hospital clears it before the day is out."""
    if promised.why is Reason.STOPPED:
        return replace(promised, signs=promised.signs | report.severe)
    return _stop(promised.on, promised.on, report.severe, phone_now=after.stopped_on is not None)


def _learned(case: _Case, state: _State, report: _Day | None, day: date) -> _State:
    """The state of the next morning, after this day's reports (None: there is none)."""
    if report is not None and report.severe:
        return _after_severe(case, state, report, day)
    if report is not None and report.signs:
        return _after_mild(case, state, report, day)
    if state.stopped_on is not None or day < state.wet_from or not 1 <= state.step <= case.protocol.last_step:
        return state
    if report is None:
        return state.moved(Reason.NOT_LOGGED, day, state.step)
    if report.minutes is None or report.minutes < case.protocol.enough_minutes(state.step):
        return state.moved(Reason.TOO_SHORT, day, state.step)
    return _after_clean(case, state, day)


def _after_severe(case: _Case, state: _State, report: _Day, day: date) -> _State:
    if day in case.cleared_steps and not report.has_unread_severe:
        return _cleared(case, state, day)
    stopped_on = state.stopped_on or day
    return replace(state, stopped_on=stopped_on, stop_signs=state.stop_signs | report.severe)


def _after_mild(case: _Case, state: _State, report: _Day, day: date) -> _State:
    if state.step == 0:
        return state
    step = max(1, state.step - case.protocol.mild_steps_down)
    if day < state.wet_from:
        return replace(state, step=step)
    return replace(state.moved(Reason.STEPPED_DOWN, day, step), signs=report.signs)


def _after_clean(case: _Case, state: _State, day: date) -> _State:
    clean_days = state.clean_days + 1
    if clean_days < case.protocol.clean_days:
        return state.moved(Reason.KEPT, day, state.step, clean_days)
    if state.step < case.protocol.last_step:
        return state.moved(Reason.STEPPED_UP, day, state.step + 1)
    if state.is_open:
        return state.moved(Reason.FULL_TIME, day, case.protocol.full_time_step)
    return state.moved(Reason.LAST_STEP, day, state.step, clean_days)
