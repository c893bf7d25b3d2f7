"""From facts and rules to a planning problem: what is due for one animal, and between which days.

Facts set off rules. Each rule makes an event ("suture_removal:closure-12"), a chain of them
("recheck:surgery-3:2"), or one for the whole case ("release_assessment"); an event may set off the next
rule before it has happened.

However late anybody is, and whatever a vet put off, the problem made here can be planned, unless opening
days, days away or a person's pins forbid it: a limit that lateness or a vet's decision has broken already
is left out and reported. So a conflict that remains is a real one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta

from handover.schedule.case import (
    PIN,
    Case,
    Fact,
    Hold,
    Instance,
    Late,
    Meaning,
    Overruled,
    Pin,
    Routine,
    Setup,
)
from handover.schedule.company import DRIVE, with_company
from handover.schedule.library import (
    BadRule,
    Interval,
    Rule,
    SeasonGate,
    gates_for,
    gates_from_toml,
    lineage_of,
    rules_for,
    rules_from_toml,
)
from handover.schedule.problem import HOME, LONGEST_DAYS, Event, Lag, Problem
from handover.schedule.unfold import Node, Timing, Tree, after

__all__ = [
    "BadRule", "Case", "Fact", "Hold", "Instance", "Late", "Meaning", "Overruled", "Pin", "Routine", "Rule",
    "SeasonGate", "Setup", "gates_for", "gates_from_toml", "lineage_of", "problem_for", "routines_for",
    "rules_for", "rules_from_toml",
]  # fmt: skip

MOST_LINKS = 7  # a longer chain shows its next ones; more follow as these get done
LATE_JOURNEYS = 10  # a further day of lateness is as bad as so many journeys
ROOM_DAYS = 60  # how far the horizon reaches past the last expected day


def problem_for(case: Case, rules: Iterable[Rule], gates: Iterable[SeasonGate], setup: Setup) -> Instance:
    """What is due for this animal. `rules` and `gates` may hold those of other groups too.

    Raises BadRule for rules that run in a circle, BadProblem for facts that cannot be.
    """
    tree = Tree(case, rules, setup.today)
    return _Writer(case, tree, Timing(case, tree, gates_for(case.lineage, gates), setup), setup).instance()


def routines_for(
    case: Case, rules: Iterable[Rule], today: date, planned: Mapping[str, date] | None = None
) -> tuple[Routine, ...]:
    """What is to be done at home, without an appointment, today or later. `planned`: the days of the
    current plan.

    A routine lasts until the event that ends it; one that names no such event, until its longest interval
    is over.
    """
    tree = Tree(case, rules, today)
    found = [
        _routine(tree, rule, tree.nodes[start], planned or {}) for (_, start), rule in tree.routines.items()
    ]
    return tuple(each for each in found if each and (each.until is None or each.until >= today))


def _routine(tree: Tree, rule: Rule, anchor: Node, planned: Mapping[str, date]) -> Routine | None:
    if anchor.done is None:
        return None
    until = None if rule.max_days is None else anchor.done + timedelta(rule.max_days)
    if rule.repeat_until:
        end = tree.end_of(rule, anchor)
        until = (end.done or planned.get(end.id)) if end else None
    return Routine(rule, anchor.subject, anchor.label, anchor.done, until)


class _Writer:
    """Collects the events and lags, and leaves out each longest interval that has been broken already."""

    def __init__(self, case: Case, tree: Tree, timing: Timing, setup: Setup) -> None:
        self.case, self.tree, self.timing, self.setup = case, tree, timing, setup
        self.events: dict[str, Event] = {}
        self.meaning: dict[str, Meaning] = {}
        self.lags: list[tuple[Rule | None, Lag]] = []
        self.late: list[Late] = []
        self.overruled: list[Overruled] = []

    def instance(self) -> Instance:
        for node in self.tree.order:
            self._write(node)
        for rule, anchor in self._chains():
            self._write_chain(rule, anchor)
        self._report_missed_pins()
        lags = _told_apart(self.lags)
        events = self._events_that_matter([lag for _, lag in lags])
        problem = with_company(self._problem(events, tuple(lag for _, lag in lags)), self.setup.company)
        drives = {event.id: Meaning("drive") for event in problem.events if event.id.startswith(DRIVE)}
        return Instance(
            problem=problem,
            late=tuple(self.late),
            overruled=tuple(self.overruled),
            meaning={event.id: self.meaning[event.id] for event in events} | drives,
            rule_of_lag={lag.id: rule for rule, lag in lags if rule},
            unused=self._unused(),
        )

    def _problem(self, events: list[Event], lags: tuple[Lag, ...]) -> Problem:
        days = [self.timing.expected[event.id] for event in events]
        reach = (max(days, default=self.setup.today) - self.setup.today).days + ROOM_DAYS
        return Problem(
            today=self.setup.today,
            horizon_days=min(max(self.setup.horizon_days, reach), LONGEST_DAYS),
            events=tuple(sorted(events, key=lambda event: (self.timing.expected[event.id], event.id))),
            lags=lags,
            closed=self.setup.closed,
            previous=self.case.previous,
            costs=self.setup.costs,
        )

    def _events_that_matter(self, lags: list[Lag]) -> list[Event]:
        ends = {end for lag in lags for end in (lag.start, lag.end)}
        return [event for event in self.events.values() if event.id in ends or self.meaning[event.id].rule]

    # --- single events ---

    def _write(self, node: Node) -> None:
        governing = self.timing.governs.get(node.id)
        self._add(node, node.arrows[governing] if governing else None)
        if node.done:
            return
        for start, rule in node.arrows.items():
            if start == governing:
                self._count(rule, start, node, (rule.min_days, rule.usual_days, rule.max_days))
            elif rule.min_days is not None:
                self.lags.append((rule, Lag(_lag_id(rule, node), start, node.id, rule.min_days)))
        if governing:
            self._hold_and_season(node, node.arrows[governing])

    def _add(self, node: Node, rule: Rule | None) -> None:
        pinned = None if node.done else self.timing.pin_of(node.id) or node.pinned
        self.events[node.id] = Event(node.id, node.place, node.done, pinned)
        self.meaning[node.id] = Meaning(node.event, node.subject, node.link, node.label, rule)

    def _count(self, rule: Rule, start: str, node: Node, days: Interval) -> None:
        """A lag of least, usual, most days; without the last if it cannot be kept any more."""
        least, usual, most = days
        if usual is not None and self._is_moved_on(node, self.timing.expected[start] + timedelta(usual)):
            usual = None  # a later day pulls instead
        is_late = False
        if most is not None and self._is_broken(rule, start, node, usual, most):
            is_late = bool(self.late) and self.late[-1].event_id == node.id
            usual, most = most if usual is None and is_late else usual, None
        if (least, usual, most) == (0, None, None) and self.events[start].done:
            return  # says no more than that it is not in the past
        weight = rule.weight if usual is not None else 0
        if is_late:  # due now: no journeys that are saved make up for a further day
            weight = max(weight, LATE_JOURNEYS * self.setup.costs.visit)
        self.lags.append((rule, Lag(_lag_id(rule, node), start, node.id, least, usual, most, weight)))

    def _is_broken(self, rule: Rule, start: str, node: Node, usual: int | None, most: int) -> bool:
        """Whether a hold, a season or lateness has broken the longest interval; reports it."""
        begun = self.timing.expected[start]
        last_day = begun + timedelta(most)
        excuse = self.timing.excuse(node)
        if excuse and excuse[0] > last_day:
            self.overruled.append(Overruled(node.id, rule.id, excuse[1], last_day))
            return True
        hold = self.timing.holds.get(node.id)
        was_held = hold is not None and hold.not_before > last_day
        if hold and was_held:  # its day has come, and stands in place of the rule's last day
            last_day = hold.not_before
        if not self.events[start].done:
            return was_held
        if not self.timing.is_missed(node, begun + timedelta(rule.min_days or 0), last_day):
            return was_held
        due = last_day if usual is None or was_held else begun + timedelta(usual)
        self.late.append(Late(node.id, rule.id, due, last_day))
        return True

    def _is_moved_on(self, node: Node, usual: date) -> bool:
        """Whether a hold or a season puts the event off beyond its usual day."""
        excuse = self.timing.excuse(node)
        return excuse is not None and excuse[0] > usual

    def _hold_and_season(self, node: Node, rule: Rule) -> None:
        """What puts the event off also pulls it near: the pull of its rule would put off what comes before."""
        excuse, weight = self.timing.excuse(node), rule.weight
        if hold := self.timing.hold_of(node.id):
            said_on = min(hold.from_on, self.setup.today)
            name = self._aside(f"hold:{node.id}", said_on, Meaning("hold", node.subject, label=hold.reason))
            least = (hold.not_before - said_on).days
            pull = least if excuse and excuse[1] == name else None
            self.lags.append((None, Lag(f"hold@{node.id}", name, node.id, least, pull, weight=weight)))
        if season := self.timing.seasons.get(node.id):
            opens, closes = season
            meaning = Meaning("season", node.subject, label=self.timing.gates[node.event].instruction)
            name = self._aside(self.timing.season_id(node), opens, meaning)
            pull, length = (0 if excuse and excuse[1] == name else None), (closes - opens).days
            self.lags.append((None, Lag(f"season@{node.id}", name, node.id, 0, pull, length, weight)))

    def _aside(self, name: str, day: date, meaning: Meaning) -> str:
        """An event that only marks a day from which something counts."""
        is_past = day <= self.setup.today
        self.events[name] = Event(name, HOME, day if is_past else None, None if is_past else day)
        self.meaning[name], self.timing.expected[name] = meaning, day
        return name

    # --- chains ---

    def _chains(self) -> Iterator[tuple[Rule, Node]]:
        """Each chain and its anchor; of a chain for the whole case only the one with the latest anchor."""
        latest: dict[str, tuple[Rule, Node]] = {}
        for (event, start), rule in self.tree.chains.items():
            found = (rule, self.tree.nodes[start])
            if not rule.per_case:
                yield found
            elif event not in latest or self._lateness(*found) > self._lateness(*latest[event]):
                latest[event] = found
        yield from latest.values()

    def _lateness(self, rule: Rule, anchor: Node) -> tuple[bool, date, int, int]:
        # On one day, as with an operation on the day of admission, the nearer group and the later row count.
        nearness = -self.case.lineage.index(rule.group)
        has_begun = anchor.done is not None
        return has_begun, self.timing.expected[anchor.id], nearness, self.tree.rules.index(rule)

    def _write_chain(self, rule: Rule, anchor: Node) -> None:
        before, done = anchor, self.tree.links_done(rule, anchor)
        for number, fact in enumerate(done, 1):
            before = self._link(rule, anchor, number, fact.on)
            self.timing.expect(before, fact.on, fact.on, None)
            self._add(before, rule)
        end = self.tree.end_of(rule, anchor)
        if end is None:
            self._write_link(rule, before, self._next(rule, before, anchor, len(done) + 1))
        elif not end.done:
            self._write_open(rule, before, anchor, end, len(done))

    def _write_open(self, rule: Rule, before: Node, anchor: Node, end: Node, done: int) -> None:
        for number in range(done + 1, done + MOST_LINKS + 1):
            link = self._next(rule, before, anchor, number)
            if self._is_needless(rule, before, link, end):
                self._close(rule, before, end, number)
                return
            self._write_link(rule, before, link)
            before = link

    def _is_needless(self, rule: Rule, before: Node, link: Node, end: Node) -> bool:
        """Whether the end comes by then, or soon after and within the longest interval from the link before."""
        at, end_at = self.timing.expected[link.id], self.timing.expected[end.id]
        _, usual, most = rule.interval(link.link or 1)
        if link.id in self.case.previous and self.timing.soonest[link.id] <= end_at:
            # Somebody has this day already: a day or two more or less are no reason to take it back.
            return 2 * (at - end_at).days >= max(1, usual or 0)
        if at >= end_at or self.timing.pin_of(link.id):
            return at >= end_at
        is_near = 2 * (end_at - at).days < (usual or 0)
        return is_near and (most is None or end_at <= self.timing.expected[before.id] + timedelta(most))

    def _next(self, rule: Rule, before: Node, anchor: Node, number: int) -> Node:
        link, timing = self._link(rule, anchor, number), self.timing
        least, usual, most = rule.interval(number)
        begun, soonest = timing.expected[before.id], timing.soonest[before.id]
        usual_day, least_day = begun + timedelta(usual or 0), soonest + timedelta(least or 0)
        timing.expect(link, usual_day, least_day, after(begun, most))
        return link

    def _write_link(self, rule: Rule, before: Node, link: Node) -> None:
        self._add(link, rule)
        self._count(rule, before.id, link, rule.interval(link.link or 1))
        self._hold_and_season(link, rule)

    def _close(self, rule: Rule, before: Node, end: Node, number: int) -> None:
        """The end comes after the last link, and within the longest interval from it."""
        most = rule.interval(number)[2]
        if most is not None:
            last_day = self.timing.expected[before.id] + timedelta(most)
            is_late = before.done is not None and last_day < self.setup.today
            if self.timing.expected[end.id] > last_day and not is_late:
                most = None  # a hold or a pin put the next link off, and so the end may wait as well
        self._count(rule, before.id, end, (0, None, most))

    def _link(self, rule: Rule, anchor: Node, number: int, done: date | None = None) -> Node:
        stem = f"{rule.event}:{anchor.subject}" if anchor.subject else rule.event
        return Node(
            f"{stem}:{number}", rule.event, anchor.subject, done,
            label=anchor.label, arrows={anchor.id: rule}, link=number,
        )  # fmt: skip

    # --- what is left over ---

    def _report_missed_pins(self) -> None:
        for event_id, day in self.timing.pins.items():
            event = self.events.get(event_id)
            if day < self.setup.today and event and not event.done:
                self.late.append(Late(event_id, PIN, day, day))

    def _unused(self) -> tuple[str, ...]:
        pins = [name for name in self.timing.pins if name not in self.events]
        holds = [name for name in self.timing.holds if name not in self.events or not self.meaning[name].rule]
        return tuple(sorted({*pins, *holds}))


def _lag_id(rule: Rule, node: Node) -> str:
    return f"{rule.id}@{node.id}"


def _told_apart(lags: list[tuple[Rule | None, Lag]]) -> list[tuple[Rule | None, Lag]]:
    """Lags by one rule from several anchors to one event get the anchor's name as well."""
    count = Counter(lag.id for _, lag in lags)
    return [
        (rule, lag if count[lag.id] == 1 else replace(lag, id=f"{lag.id}/{lag.start}")) for rule, lag in lags
    ]
