"""What a page offers to settle a conflict: each decision is tried out first, and offered only if it does settle it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from handover.labels.conflicts import CureLine, Way, cure_lines, missing_in_words
from handover.plans.asking import address_of_one
from handover.plans.queries import LivePlan, ground_of, other_windows
from handover.plans.wording import counting
from handover.schedule.alternatives import Broken, broken
from handover.schedule.case import Case, Hold, Instance, Pin
from handover.schedule.explain import conflict
from handover.schedule.plan import Planned, plan

MOST_CURES = 8  # more than a person wants to choose from
MOST_DAYS_TRIED = 14


@dataclass(frozen=True, slots=True)
class Offer:
    """A cure for the page. `number`: of the decision to take back; `seen_latest`: of the newest one of its kind.

    `suppose`: the address part that tries it out; `window`: the id of another window of its rule.
    """

    line: CureLine
    number: int | None = None
    seen_latest: int = 0
    suppose: str = ""
    window: str = ""


def cures_of(live: LivePlan) -> dict[str, Any]:
    """The changes that settle a conflict, the cheapest first: the fewest promised dates move, by the fewest days.

    `missing` says by how many days the sides miss each other. `settles_all` is false where another conflict stands
    beside this one.
    """
    if live.instance is None or live.conflict is None:
        return {"cures": [], "missing": "", "settles_all": True}
    lines, settles_all = cure_lines(live.instance, live.conflict)
    tried = sorted((_tried(live, line) for line in lines[:MOST_CURES]), key=lambda line: line.broken)
    return {"cures": _offers(live, tried), "missing": missing_in_words(lines), "settles_all": settles_all}


def _offers(live: LivePlan, lines: list[CureLine]) -> list[Offer]:
    rows = {Way.UNPIN: counting(live.patient.pins), Way.UNHOLD: counting(live.patient.holds)}
    numbers = {way: dict(found.values_list("event_id", "pk")) for way, found in rows.items()}
    latest = {
        Way.PIN: live.patient.pins.order_by("-pk").values_list("pk", flat=True).first() or 0,
        Way.HOLD: live.patient.holds.order_by("-pk").values_list("pk", flat=True).first() or 0,
    }
    windows = {(rule.event, rule.anchor): rule.id for rule in other_windows(live)}
    rules = {rule.id: (rule.event, rule.anchor) for rule in live.book.rules}
    return [
        Offer(
            line,
            numbers.get(line.way, {}).get(line.event_id),
            latest.get(line.way, 0),
            _suppose(live, line),
            windows.get(rules.get(line.rule_id, ("", "")), ""),
        )
        for line in lines
    ]


def _suppose(live: LivePlan, line: CureLine) -> str:
    """The address part that supposes this cure; nothing where it cannot be supposed."""
    if line.way is Way.PIN and line.on:
        return address_of_one("day", event_id=line.event_id, on=line.on.isoformat())
    if line.way is Way.HOLD and line.on:
        return address_of_one("wait", event_id=line.event_id, not_before=line.on.isoformat())
    rule = next((rule for rule in live.book.rules if rule.id == line.rule_id), None)
    if rule is None or rule.then_after is not None:
        return ""
    if line.min_days is not None and line.min_days >= 0:
        return address_of_one("rule", rule_id=rule.id, min_days=str(line.min_days))
    if line.max_days is not None:
        return address_of_one("rule", rule_id=rule.id, max_days=str(line.max_days))
    return ""


def _tried(live: LivePlan, line: CureLine) -> CureLine:
    """The line with the first day on which its decision works; mere advice if none does.

    Where nothing else collides, the promised dates that it moves are counted in the plan that it leads to.
    """
    if line.on is None or line.way not in (Way.PIN, Way.HOLD):
        return line
    tries = MOST_DAYS_TRIED if line.way is Way.HOLD else 1
    for day in (line.on + timedelta(n) for n in range(tries)):
        decided = replace(line, on=day)
        instance = _decided(live, decided)
        members = conflict(instance.problem)
        if members is None:
            return replace(decided, broken=_broken(instance))
        if live.conflict and not set(members) & set(live.conflict.members):
            return decided
    return CureLine(line.words, days=line.days, broken=line.broken)


def _broken(instance: Instance) -> Broken:
    answer = plan(instance.problem)
    assert isinstance(answer, Planned)
    return broken(instance.problem, answer.days)


def _decided(live: LivePlan, line: CureLine) -> Instance:
    return replace(ground_of(live), case=_with_decision(live, line)).instance()


def _with_decision(live: LivePlan, line: CureLine) -> Case:
    assert live.instance is not None
    assert line.on is not None
    case = live.case
    if line.way is Way.PIN:
        others = tuple(pin for pin in case.pins if pin.event_id != line.event_id)
        return replace(case, pins=(*others, Pin(line.event_id, line.on)))
    held = tuple(hold for hold in case.holds if hold.event_id != line.event_id)
    return replace(case, holds=(*held, Hold(line.event_id, live.instance.problem.today, line.on)))
