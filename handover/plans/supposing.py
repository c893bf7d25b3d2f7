"""A plan tried out: what an address supposes, put beside today's plan. Writes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.http import QueryDict

from handover.labels.alternatives import cost_in_words, points_in_words, price_rows
from handover.labels.changes import SUPPOSED
from handover.labels.conflicts import CureLine, Way, conflict_lines, cure_lines, missing_in_words
from handover.labels.events import event_label
from handover.labels.rules import row_title, rule_figures
from handover.labels.whatif import supposed
from handover.plans.asking import Asked, Row
from handover.plans.forms import Choices
from handover.plans.models import Plan
from handover.plans.queries import LivePlan, changes_since, ground_of, names_of
from handover.plans.slider import Slider, Thing, slider
from handover.plans.wording import change_lines, notes_of, rows_of
from handover.protocols.queries import Book
from handover.schedule.alternatives import Price, price_of
from handover.schedule.changes import ASIDE, Change, compare
from handover.schedule.library import BadRule
from handover.schedule.plan import plan
from handover.schedule.problem import PIN, BadProblem
from handover.schedule.whatif import BadSupposition, Ground, OnDay, open_event_ids, suppose

MOST_CURES = 6


@dataclass(frozen=True, slots=True)
class Trial:
    """Today's plan, and the one that would be made if everything asked were so.

    `then` is None while something asked makes no sense; it is today's plan while nothing is asked.
    """

    live: LivePlan
    asked: Asked
    then: LivePlan | None

    @property
    def is_empty(self) -> bool:
        return not self.asked.rows


def trial(live: LivePlan, query: QueryDict) -> Trial:
    """Read the address and try it out. What makes no sense becomes a mistake at its field."""
    rules = _rules(live)
    first = Asked(query, events=[], rules=rules)
    asked = Asked(query, events=_events(live, first), rules=rules)
    return Trial(live, asked, _supposed(live, asked))


def _supposed(live: LivePlan, asked: Asked) -> LivePlan | None:
    if not asked.rows:
        return live
    try:
        ground = _ground(live, asked)
        if asked.has_mistakes:
            return None
        instance = ground.instance()
    except (BadRule, BadProblem) as trouble:
        return replace(live, instance=None, answer=None, trouble=str(trouble))
    book = Book(ground.rules, ground.gates, live.book.adoptions)
    return replace(live, case=ground.case, book=book, instance=instance, answer=plan(instance.problem))


def _ground(live: LivePlan, asked: Asked) -> Ground:
    """The ground with all of it that makes sense, so that every mistake is told at once."""
    wanted = list(asked.suppositions)
    while True:
        try:
            return suppose(ground_of(live), wanted)
        except BadSupposition as bad:
            asked.refuse(bad)
            wanted = [each for each in wanted if each is not bad.supposition]


def _events(live: LivePlan, asked: Asked) -> Choices:
    """What can be moved: everything to come, by today's plan and with the rules and calendars that are supposed."""
    assert live.instance is not None
    labels = _labels(live)
    others = [each for each in asked.suppositions if not hasattr(each, "event_id")]
    try:
        instance = suppose(ground_of(live), others).instance()
        labels |= {name: event_label(instance.meaning[name]) for name in open_event_ids(instance)}
    except (BadSupposition, BadRule, BadProblem):
        pass  # told at its own field, or as trouble of the whole
    return sorted(labels.items(), key=lambda pair: pair[1])


def _labels(live: LivePlan) -> dict[str, str]:
    assert live.instance is not None
    return {name: event_label(live.instance.meaning[name]) for name in open_event_ids(live.instance)}


def _rules(live: LivePlan) -> Choices:
    """The rules that plan something for this animal, each with its figures."""
    assert live.instance is not None
    used = {rule.id: rule for rule in live.instance.rule_of_lag.values()}
    return sorted(((rule.id, f"{row_title(rule)}: {rule_figures(rule)}") for rule in used.values()), key=lambda pair: pair[1])


# --- side by side -------------------------------------------------------------------------------------------------


def side_by_side(found: Trial, published: Plan | None) -> dict[str, Any]:
    """Old and new for the page: costs, what changes and why, what stays, or what collides."""
    then, live = found.then, found.live
    context: dict[str, Any] = {"then": then, "picture": picture(found), "lines": [], "prices": [], "changes": [], "kept": []}
    if then is None or then.instance is None:
        return context
    if then.conflict:
        lines, settles_all = cure_lines(then.instance, then.conflict)
        return context | {
            "lines": conflict_lines(then.instance, then.conflict),
            "missing": missing_in_words(lines),
            "cures": [(line.words, _along(found.asked, line)) for line in lines[:MOST_CURES]],
            "settles_all": settles_all,
        }
    old, new = _price(live), _price(then)
    assert new is not None
    changes = _changes(found, published)
    moved = {change.event_id for change in changes}
    return context | {
        "prices": price_rows(old, new),
        "cost": cost_in_words(old, new, new.total - old.total) if old else "",
        "points": points_in_words(then.instance.problem.costs),
        "changes": change_lines(changes, names_of(live, published) | _all_labels(then), SUPPOSED),
        "kept": [row for row in rows_of(then) if row.event_id not in moved],
        "notes": [note for note in notes_of(then) if note not in notes_of(live)],
    }


def _price(live: LivePlan) -> Price | None:
    if live.planned is None or live.instance is None:
        return None
    return price_of(live.instance.problem, live.planned.days)


def _changes(found: Trial, published: Plan | None) -> Sequence[Change]:
    """Against today's plan; where today's dates collide, against what was promised."""
    live, then = found.live, found.then
    assert then is not None and then.instance is not None and then.planned is not None  # noqa: PT018
    if live.planned is None or live.instance is None:
        return changes_since(published, then)
    return compare(live.instance.problem, live.planned.days, then.instance.problem, then.planned.days)


def _all_labels(live: LivePlan) -> dict[str, str]:
    assert live.instance is not None
    return {name: event_label(meaning) for name, meaning in live.instance.meaning.items()}


def _along(asked: Asked, line: CureLine) -> str | None:
    """The address that supposes a cure as well; None where it cannot be supposed."""
    if line.way is Way.PIN and line.on:
        return asked.along_with("day", event_id=line.event_id, on=line.on.isoformat())
    if line.way is Way.HOLD and line.on:
        return asked.along_with("wait", event_id=line.event_id, not_before=line.on.isoformat())
    taken_back = [row for row in asked.rows if row.kind == {Way.UNPIN: "day", Way.UNHOLD: "wait"}.get(line.way)]
    mine = next((row for row in taken_back if getattr(row.supposition, "event_id", "") == line.event_id), None)
    return asked.without(mine) if mine else None


# --- what is supposed ---------------------------------------------------------------------------------------------


def phrases(found: Trial) -> list[tuple[Row, str, str]]:
    """Each row that makes sense in words, with the address without it."""
    live, then = found.live, found.then or found.live
    names = _all_labels(live) | (_all_labels(then) if then.instance else {})
    rules = {rule.id: rule for rule in live.book.rules}
    good = [(row, row.supposition) for row in found.asked.rows if row.supposition and not row.form.errors]
    return [(row, supposed(each, names, rules), found.asked.without(row)) for row, each in good]


# --- the picture --------------------------------------------------------------------------------------------------


def picture(found: Trial) -> Slider | None:
    """Every event to come on its supposed day, beside the day that it has in today's plan."""
    live = found.live
    assert live.instance is not None
    then = found.then if found.then and found.then.instance else live
    things = _things(live, then) if then.planned else _colliding(found, then)
    assert then.instance is not None
    problem = then.instance.problem
    return slider(things, problem.today, problem.closed) if things else None


def _things(live: LivePlan, then: LivePlan) -> list[Thing]:
    homes, old_windows = (live.planned.days, live.planned.windows) if live.planned else (live.case.previous, {})
    fixed = _fixed(then)
    things = []
    for row in rows_of(then):
        opens, closes = (row.opens, row.closes) if row.opens else old_windows.get(row.event_id, (None, None))
        state = "late" if row.tone == "late" else "pinned" if row.event_id in fixed else "coming"
        things.append(Thing(row.event_id, row.label, row.on, state, homes.get(row.event_id), opens, closes))
    return things


def _fixed(then: LivePlan) -> set[str]:
    assert then.instance is not None
    return {event.id for event in then.instance.problem.events if event.pinned and not event.done}


def _colliding(found: Trial, then: LivePlan) -> list[Thing]:
    """While the supposed dates collide: the days that stand now, and those that are supposed."""
    assert then.instance is not None
    live = found.live
    days: dict[str, date] = dict(live.planned.days if live.planned else live.case.previous)
    windows = live.planned.windows if live.planned else {}
    wanted = {each.event_id: each.on for each in found.asked.suppositions if isinstance(each, OnDay)} if found.then else {}
    members = then.conflict.members if then.conflict else ()
    things = []
    for event in then.instance.problem.events:
        on = wanted.get(event.id) or event.pinned or days.get(event.id)
        if event.done or event.id.startswith(ASIDE) or on is None:
            continue
        state = "collides" if PIN + event.id in members else "pinned" if event.pinned else "coming"
        opens, closes = windows.get(event.id, (None, None))
        things.append(Thing(event.id, event_label(then.instance.meaning[event.id]), on, state, days.get(event.id), opens, closes))
    return sorted(things, key=lambda thing: (thing.home or thing.on, thing.label))
