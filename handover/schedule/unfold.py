"""Which events the facts and rules of a case give, and on which day to expect each.

First the events (`Tree`), without any day; then the expected days (`Timing`), each after those that it
counts from.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

from handover.schedule.case import Case, Fact, Hold, Setup
from handover.schedule.library import BadRule, Rule, SeasonGate, rule_in_force, rules_for
from handover.schedule.problem import CARER, CLINIC, HOME, Closed

A_YEAR = timedelta(366)


@dataclass(slots=True)
class Node:
    """An event in the making. `arrows`: from which events it counts, and by which rules.

    `pinned` is the day of a fact that is only expected; `link` the number of a link in a chain.
    """

    id: str
    event: str
    subject: str = ""
    done: date | None = None
    pinned: date | None = None
    tags: frozenset[str] = frozenset()
    label: str = ""
    arrows: dict[str, Rule] = field(default_factory=dict)
    link: int | None = None

    @property
    def place(self) -> str:
        """At the clinic if any of its rules says so. A bare fact takes no visit."""
        return CLINIC if any(rule.place == CLINIC for rule in self.arrows.values()) else HOME

    @property
    def is_rooted(self) -> bool:
        """Whether a fact or a rule still speaks for it."""
        return bool(self.done or self.pinned or self.arrows)


class Tree:
    """The events of a case: those that happened, and those that the rules make of them, in order of their
    making.

    `chains` and `routines` are the rules that repeat, and those for home, by (event, id of the anchor).
    """

    def __init__(self, case: Case, rules: Iterable[Rule], today: date) -> None:
        self.case, self.today = case, today
        self.rules = rules_for(case.lineage, rules, case.chosen)
        self.case_wide = {rule.event for rule in self.rules if rule.per_case}
        self.repeated = {rule.event for rule in self.rules if rule.is_planned and rule.repeat_until}
        self.by_anchor = _by_anchor(self.rules)
        self.nodes: dict[str, Node] = {}
        self.chains: dict[tuple[str, str], Rule] = {}
        self.routines: dict[tuple[str, str], Rule] = {}
        self._plant()
        self._grow()
        self._prune()
        self.order = self._in_order()
        self._reopen()

    def node_id(self, event: str, subject: str) -> str:
        return event if event in self.case_wide or not subject else f"{event}:{subject}"

    def end_of(self, rule: Rule, anchor: Node) -> Node | None:
        """The event that ends this repetition: the same subject's, or the case's."""
        names = [name for event in rule.ends for name in (self.node_id(event, anchor.subject), event)]
        return next((self.nodes[name] for name in names if name in self.nodes), None)

    def links_done(self, rule: Rule, anchor: Node) -> list[Fact]:
        """What was done of this chain after the day of its anchor, the oldest first."""
        if anchor.done is None:
            return []
        return [
            fact
            for fact in self._facts()
            if fact.event == rule.event
            and anchor.done < fact.on <= self.today
            and (rule.per_case or fact.subject == anchor.subject)
        ]

    def _facts(self) -> list[Fact]:
        return sorted(self.case.facts, key=lambda fact: (fact.on, fact.event, fact.subject))

    def _plant(self) -> None:
        for fact in self._facts():
            if fact.event not in self.repeated:
                node = self._node(fact.event, fact.subject)
                node.done, node.pinned = (fact.on, None) if fact.on <= self.today else (None, fact.on)
                node.tags, node.label = node.tags | fact.tags, fact.label or node.label

    def _node(self, event: str, subject: str) -> Node:
        name = self.node_id(event, subject)
        about = "" if event in self.case_wide else subject
        return self.nodes.setdefault(name, Node(name, event, about, tags=self.case.tags))

    def _grow(self) -> None:
        waiting = list(self.nodes)
        while waiting:
            anchor = self.nodes[waiting.pop(0)]
            for event, rules in self.by_anchor.get(anchor.event, {}).items():
                rule = rule_in_force(rules, anchor.tags, self.case.lineage, self.case.chosen)
                changed = self._apply(rule, event, anchor)
                if changed and changed not in waiting:
                    waiting.append(changed)

    def _apply(self, rule: Rule | None, event: str, anchor: Node) -> str | None:
        """Note what the rule in force says about the event; the id of the event, if that changed it."""
        for table in (self.chains, self.routines):
            table.pop((event, anchor.id), None)
        if rule is not None and rule.is_routine:
            self.routines[event, anchor.id] = rule
        elif rule is not None and rule.is_planned and rule.repeat_until:
            self.chains[event, anchor.id] = rule
        elif rule is not None and rule.is_planned:
            return self._point(rule, anchor, self._node(event, anchor.subject))
        elif target := self.nodes.get(self.node_id(event, anchor.subject)):
            target.arrows.pop(anchor.id, None)  # a tag that came later took the rule away
        return None

    def _point(self, rule: Rule, anchor: Node, target: Node) -> str | None:
        before = (target.arrows.get(anchor.id), target.tags)
        target.arrows[anchor.id] = rule
        target.tags |= anchor.tags
        target.label = target.label or ("" if rule.per_case else anchor.label)
        return target.id if before != (rule, target.tags) else None

    def _prune(self) -> None:
        while lost := {node.id for node in self.nodes.values() if not node.is_rooted}:
            self.nodes = {name: node for name, node in self.nodes.items() if name not in lost}
            for node in self.nodes.values():
                node.arrows = {start: rule for start, rule in node.arrows.items() if start not in lost}
        for table in (self.chains, self.routines):
            for event, start in [key for key in table if key[1] not in self.nodes]:
                del table[event, start]

    def _in_order(self) -> list[Node]:
        """Every event after those that it counts from. Raises BadRule if the rules run in a circle."""
        placed: dict[str, Node] = {}
        rest = list(self.nodes.values())
        while rest:
            ready = [node for node in rest if all(start in placed for start in node.arrows)]
            if not ready:
                circle = sorted({rule.id for node in rest for rule in node.arrows.values()})
                raise BadRule("The rules", f"run in a circle: {', '.join(circle)}")
            placed |= {node.id: node for node in ready}
            rest = [node for node in rest if node.id not in placed]
        return list(placed.values())

    def _reopen(self) -> None:
        """What concerns the whole case is done only if nothing that it waits for began after it.

        So a new wound brings the water, the tests and the assessment back.
        """
        began: dict[str, date] = {}
        for node in self.order:
            starts = [began[start] for start in node.arrows if start in began]
            if node.done and node.event in self.case_wide and starts and node.done < max(starts):
                node.done = None
            if node.done and not node.arrows:
                starts = [node.done]
            if starts:
                began[node.id] = max(starts)


class Timing:
    """The day on which to expect each event: the usual intervals, moved on by today, holds and seasons.

    `governs`: from which of several anchors an event is counted, namely the one that gives the latest day.
    The other intervals are over by then, and only their least days still count.
    """

    def __init__(self, case: Case, tree: Tree, gates: Iterable[SeasonGate], setup: Setup) -> None:
        self.setup, self.today = setup, setup.today
        self.gates = {gate.event: gate.in_the_south() if case.is_southern else gate for gate in gates}
        self.pins = {pin.event_id: pin.on for pin in case.pins}
        latest_last = sorted(case.holds, key=lambda hold: (hold.from_on, hold.not_before))
        self.holds = {hold.event_id: hold for hold in latest_last}
        self.expected: dict[str, date] = {}
        self.soonest: dict[str, date] = {}  # the first open day that the least intervals leave
        self.governs: dict[str, str] = {}
        self.seasons: dict[str, tuple[date, date]] = {}
        for node in tree.order:
            self._expect(node)

    def _expect(self, node: Node) -> None:
        usual = {start: self.expected[start] + usual_of(rule) for start, rule in node.arrows.items()}
        least = [self.soonest[start] + timedelta(rule.min_days or 0) for start, rule in node.arrows.items()]
        last_day = None
        if usual:
            start = self.governs[node.id] = max(usual, key=lambda each: usual[each])
            last_day = after(self.expected[start], node.arrows[start].max_days)
        self.expect(node, max(usual.values(), default=self.today), max(least, default=self.today), last_day)

    def expect(self, node: Node, usual: date, least: date, last_day: date | None) -> None:
        """Note the usual day, or the first open one that `least`, today, a hold and a season allow.

        Closed days put nothing off beyond its last day: they forbid it then, and the conflict is to show as theirs.
        """
        fixed = node.done or self.pin_of(node.id) or node.pinned
        soonest = fixed or self._first_open(node, least)
        if last_day and not fixed and not self.is_missed(node, least, last_day):
            soonest = min(soonest, max(last_day, self._demanded(node, least)))
        day = fixed or max(usual, soonest)
        if not node.done and (gate := self.gates.get(node.event)):
            season = self.seasons[node.id] = gate.next_season(day)
            if season[0] > day and not fixed:
                day = soonest = self.next_open(season[0], node.place)
        self.expected[node.id], self.soonest[node.id] = day, soonest

    def _first_open(self, node: Node, least: date) -> date:
        return self.next_open(self._demanded(node, least), node.place)

    def _demanded(self, node: Node, least: date) -> date:
        hold = self.hold_of(node.id)
        return max([least, self.today, *([hold.not_before] if hold else [])])

    def pin_of(self, event_id: str) -> date | None:
        """The agreed day, unless it has gone by: then the event is late, and free again."""
        day = self.pins.get(event_id)
        return day if day and day >= self.today else None

    def hold_of(self, event_id: str) -> Hold | None:
        """The hold, unless its day has come."""
        hold = self.holds.get(event_id)
        return hold if hold and hold.not_before > self.today else None

    def excuse(self, node: Node) -> tuple[date, str] | None:
        """The first open day that a hold and a season leave, and the name of the later of the two."""
        hold, season = self.hold_of(node.id), self.seasons.get(node.id)
        reasons = [(hold.not_before, f"hold:{node.id}")] if hold else []
        if season and season[0] > self.today:
            reasons.append((season[0], self.season_id(node)))
        if not reasons:
            return None
        day, name = max(reasons)
        return self.next_open(day, node.place), name

    def season_id(self, node: Node) -> str:
        gate = self.gates[node.event]
        return f"season:{gate.id}:{node.subject}" if node.subject else f"season:{gate.id}"

    def is_missed(self, node: Node, first: date, last: date) -> bool:
        """Whether the window has gone by, or its last open day has.

        With the clinic shut from today to the last day it is too late, but only if it could have been done
        before.
        """
        if last < self.today:
            return True
        pin = self.pin_of(node.id)
        if pin and pin <= last:
            return False
        if any(self.is_open(day, node.place) for day in days(self.today, last)):
            return False
        return any(self.is_open(day, node.place) for day in days(first, self.today - timedelta(1)))

    def next_open(self, day: date, place: str) -> date:
        """This day or the next one that is open; the day itself if a whole year is shut."""
        return next((each for each in days(day, day + A_YEAR) if self.is_open(each, place)), day)

    def is_open(self, day: date, place: str) -> bool:
        calendars = (self.setup.closed.get(place), self.setup.closed.get(CARER))
        return not any(closed and _is_shut(closed, day) for closed in calendars)


def usual_of(rule: Rule) -> timedelta:
    days = rule.usual_days if rule.usual_days is not None else rule.min_days
    return timedelta(days or 0)


def after(day: date, wait_days: int | None) -> date | None:
    return None if wait_days is None else day + timedelta(wait_days)


def days(first: date, last: date) -> Iterator[date]:
    return (first + timedelta(n) for n in range((last - first).days + 1))


def _by_anchor(rules: Iterable[Rule]) -> dict[str, dict[str, list[Rule]]]:
    found: dict[str, dict[str, list[Rule]]] = defaultdict(lambda: defaultdict(list))
    for rule in rules:
        found[rule.anchor][rule.event].append(rule)
    return found


def _is_shut(closed: Closed, day: date) -> bool:
    if day.weekday() in closed.weekdays or day in closed.dates:
        return True
    return any(first <= day <= last for first, last in closed.spans)
