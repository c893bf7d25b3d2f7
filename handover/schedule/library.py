"""Protocols as data: rules, seasons, and which of them hold for an animal of a given kind.

Rows come as mappings (a TOML table, a JSON column) and become checked values here; nothing is read from
files. Days are whole days; a rule that its source gives in hours or half days is rounded in the row, which
says so.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import MISSING, asdict, dataclass, fields, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, TypeVar

from handover.schedule.problem import LARGEST_COST, LONGEST_DAYS, PLACES

_ID = re.compile(r"[A-Za-z0-9._-]{1,120}")
LONGEST_INSTRUCTION = 160
_DAYS = ("min_days", "usual_days", "max_days")
_LATER_DAYS = ("then_min_days", "then_usual_days", "then_max_days")
NOT_CONTENT = frozenset({"csv_row", "published_days", "changed"})  # for the reviewer, not for the planner

Interval = tuple[int | None, int | None, int | None]  # least, usual, longest days
Row = TypeVar("Row", "Rule", "SeasonGate")


class BadRule(ValueError):
    """A row of the library cannot be used; the message is one sentence that names the row and the field."""

    def __init__(self, row: str, message: str) -> None:
        super().__init__(f"{row} {message}.")
        self.row = row


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """`event` becomes due min, usual, max days after `anchor`, in animals of `group`.

    `applies_to` is a tag of the anchoring fact ("" = any). A tagged rule outweighs an untagged one; a rule
    without any days takes the event away for its tag. `repeat_until` makes a chain until another event, or
    until the first of several, separated by commas, that the case has. After `then_after` links of a chain
    the interval becomes `then_usual_days`, at least `then_min_days` (None: as before), at most
    `then_max_days`. An alternative counts only where a vet chose it, or where no other rule speaks about
    that event for that anchor.
    """

    id: str
    group: str
    event: str
    anchor: str
    applies_to: str = ""
    min_days: int | None = None
    usual_days: int | None = None
    max_days: int | None = None
    repeat_until: str | None = None
    is_routine: bool = False
    per_case: bool = False
    place: str = "clinic"
    weight: int = 1
    instruction: str = ""
    source: str = ""
    how_known: str = ""
    then_after: int | None = None
    then_min_days: int | None = None
    then_usual_days: int | None = None
    then_max_days: int | None = None
    is_alternative: bool = False

    def __post_init__(self) -> None:
        name = _checked_id(self.id, "rule")
        for field in ("group", "event", "anchor"):
            _check_filled(name, field, getattr(self, field))
        if self.event == self.anchor:
            raise BadRule(name, f"makes {self.event} count from itself")
        if self.place not in PLACES:
            raise BadRule(name, f"needs place clinic or home, not {self.place!r}")
        _check_days(name, self)
        _check_repeat(name, self)
        _check_instruction(name, self.instruction)

    @property
    def is_planned(self) -> bool:
        """Whether the event gets a day in the plan; else it is a routine, or taken away by the rule."""
        return not self.is_routine and (self.min_days, self.usual_days, self.max_days) != (None, None, None)

    @property
    def ends(self) -> tuple[str, ...]:
        """The events that may end the repetition, the preferred one first."""
        return tuple(part.strip() for part in (self.repeat_until or "").split(",") if part.strip())

    def interval(self, link: int) -> Interval:
        """Least, usual and longest days from the link before to this one; the first link of a chain is 1."""
        if self.then_after is None or link <= self.then_after:
            return self.min_days, self.usual_days, self.max_days
        least = self.min_days if self.then_min_days is None else self.then_min_days
        return least, self.then_usual_days, self.then_max_days

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Rule:
        """A rule from a mapping of its fields. Raises BadRule."""
        return _from_mapping(cls, content, "rule")

    def to_json(self) -> dict[str, Any]:
        """Every field; reading it back gives an equal rule."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonGate:
    """`event` is only for the days from `opens` to `closes`, both (month, day) and both in, each year."""

    id: str
    group: str
    event: str
    opens: tuple[int, int]
    closes: tuple[int, int]
    instruction: str = ""
    source: str = ""
    how_known: str = ""

    def __post_init__(self) -> None:
        name = _checked_id(self.id, "season")
        for field in ("group", "event"):
            _check_filled(name, field, getattr(self, field))
        for field in ("opens", "closes"):
            object.__setattr__(self, field, _month_and_day(name, field, getattr(self, field)))
        _check_instruction(name, self.instruction)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> SeasonGate:
        """A gate from a mapping of its fields, in which opens and closes are lists. Raises BadRule."""
        return _from_mapping(cls, content, "season")

    def to_json(self) -> dict[str, Any]:
        return {**asdict(self), "opens": list(self.opens), "closes": list(self.closes)}

    def in_the_south(self) -> SeasonGate:
        """The same season six months on; the 31st becomes the last day of a shorter month."""
        return replace(self, opens=_half_a_year_on(self.opens), closes=_half_a_year_on(self.closes))

    def next_season(self, day: date) -> tuple[date, date]:
        """First and last day of the season that holds `day`, or else of the next one."""
        for year in (day.year - 1, day.year, day.year + 1):
            opens = date(year, *self.opens)
            closes = date(year if self.closes >= self.opens else year + 1, *self.closes)
            if day <= closes:
                return opens, closes
        raise AssertionError("a season comes round every year")


# --- which rows hold for an animal ---


def lineage_of(group: str, parents: Mapping[str, str | None]) -> tuple[str, ...]:
    """The group, then its parents, the widest last. Raises BadRule if the parents run in a circle."""
    line = [group]
    while parent := parents.get(line[-1]):
        if parent in line:
            raise BadRule(f"group {group}", f"has itself among its parents ({', '.join(line)})")
        line.append(parent)
    return tuple(line)


def rules_for(
    lineage: tuple[str, ...], rules: Iterable[Rule], chosen: Collection[str] = ()
) -> tuple[Rule, ...]:
    """The rules of an animal whose groups are `lineage`, its own first: the nearest group wins.

    It wins per event, anchor and tag. `chosen` are the ids of alternatives that a vet took for this animal:
    they stand in place of the default. Alternatives that nobody chose stay beside it, marked as what they
    are.
    """
    best: dict[tuple[str, ...], Rule] = {}
    for rule in rules:
        if rule.group not in lineage:
            continue
        is_open_choice = rule.is_alternative and rule.id not in chosen
        key = (rule.event, rule.anchor, rule.applies_to, rule.id if is_open_choice else "")
        if key not in best or _rank(rule, lineage, chosen) > _rank(best[key], lineage, chosen):
            best[key] = rule
    return tuple(best.values())


def gates_for(lineage: tuple[str, ...], gates: Iterable[SeasonGate]) -> tuple[SeasonGate, ...]:
    """The seasons of an animal: the nearest group wins per event."""
    best: dict[str, SeasonGate] = {}
    for gate in gates:
        if gate.group in lineage:
            kept = best.get(gate.event)
            if kept is None or lineage.index(gate.group) < lineage.index(kept.group):
                best[gate.event] = gate
    return tuple(best.values())


def rule_in_force(
    rules: Iterable[Rule], tags: Collection[str], lineage: tuple[str, ...], chosen: Collection[str] = ()
) -> Rule | None:
    """Of rules about one event and one anchor, the one that holds for an anchor with these tags: never two.

    A vet's choice goes first, then defaults before alternatives, tagged before untagged, near groups before
    wide.
    """
    fitting = [rule for rule in rules if not rule.applies_to or rule.applies_to in tags]
    return max(
        fitting,
        key=lambda rule: (
            rule.id in chosen, not rule.is_alternative, rule.applies_to != "", -lineage.index(rule.group)
        ),
        default=None,
    )  # fmt: skip


def _rank(rule: Rule, lineage: tuple[str, ...], chosen: Collection[str]) -> tuple[bool, int]:
    return rule.id in chosen, -lineage.index(rule.group)


# --- reading rows ---


def rules_from_toml(content: Mapping[str, Any]) -> tuple[Rule, ...]:
    """The rules under `rule` of a parsed file.

    Raises BadRule for a slip, an id used twice, or two defaults about one event, anchor and tag in one group.
    """
    rules = _rows(content, "rule", Rule.from_json)
    seen: dict[tuple[str, ...], str] = {}
    for rule in rules:
        key = (rule.group, rule.event, rule.anchor, rule.applies_to)
        if not rule.is_alternative and seen.setdefault(key, rule.id) != rule.id:
            raise BadRule(f"rule {rule.id}", f"competes with {seen[key]}: mark one of them as an alternative")
    return rules


def gates_from_toml(content: Mapping[str, Any]) -> tuple[SeasonGate, ...]:
    """The seasons under `gate` of a parsed file. Raises BadRule."""
    return _rows(content, "gate", SeasonGate.from_json)


def _rows(
    content: Mapping[str, Any], table: str, read: Callable[[Mapping[str, Any]], Row]
) -> tuple[Row, ...]:
    rows: dict[str, Row] = {}
    for row in content.get(table, ()):
        made = read({key: value for key, value in row.items() if key not in NOT_CONTENT})
        if made.id in rows:
            raise BadRule(f"{table} {made.id}", "is there twice")
        rows[made.id] = made
    return tuple(rows.values())


def _from_mapping(kind: Callable[..., Row], content: Mapping[str, Any], word: str) -> Row:
    name = f"{word} {content.get('id', '(without id)')}"
    known = {field.name: field for field in fields(kind)}  # type: ignore[arg-type]
    for key in content:
        if key not in known:
            raise BadRule(name, f"has a field that nobody knows: {key}")
    for key, field in known.items():
        if key not in content and field.default is MISSING:
            raise BadRule(name, f"lacks {key}")
    return kind(**content)


# --- checking ---


def _checked_id(given: Any, word: str) -> str:
    if not isinstance(given, str) or not _ID.fullmatch(given):
        raise BadRule(f"{word} {given!r}", "needs an id of 1 to 120 letters, digits and . - _")
    return f"{word} {given}"


def _check_filled(name: str, field: str, given: Any) -> None:
    if not isinstance(given, str) or not given:
        raise BadRule(name, f"needs a name for {field}")


def _check_instruction(name: str, text: str) -> None:
    if len(text) > LONGEST_INSTRUCTION:
        raise BadRule(name, f"has an instruction of {len(text)} characters: {LONGEST_INSTRUCTION} fit")


def _check_days(name: str, rule: Rule) -> None:
    for field in (*_DAYS, *_LATER_DAYS, "then_after"):
        _check_whole(name, field, getattr(rule, field), LONGEST_DAYS)
    _check_whole(name, "weight", rule.weight, LARGEST_COST)
    _check_rising(name, _DAYS, (rule.min_days, rule.usual_days, rule.max_days))
    if rule.then_after is not None:
        _check_rising(name, _LATER_DAYS, rule.interval(rule.then_after + 1))


def _check_whole(name: str, field: str, given: Any, most: int) -> None:
    is_whole = isinstance(given, int) and not isinstance(given, bool)
    if given is not None and not (is_whole and 0 <= given <= most):
        raise BadRule(name, f"needs a whole number from 0 to {most} for {field}, not {given!r}")


def _check_rising(name: str, words: tuple[str, ...], days: Interval) -> None:
    known = [(day, word) for day, word in zip(days, words, strict=True) if day is not None]
    for (lower, low), (higher, high) in pairwise(known):
        if lower > higher:
            raise BadRule(name, f"has {low} ({lower}) above {high} ({higher})")


def _check_repeat(name: str, rule: Rule) -> None:
    if rule.repeat_until is not None and not rule.ends:
        raise BadRule(name, "needs the event that ends it in repeat_until")
    if rule.repeat_until is not None and not rule.usual_days:
        raise BadRule(name, "repeats, so it needs usual_days of 1 or more")
    if rule.event in rule.ends:
        raise BadRule(name, "would repeat until itself")
    if (rule.then_after is None) != (rule.then_usual_days is None) or (rule.then_after == 0):
        raise BadRule(name, "needs both then_after (1 or more) and then_usual_days, or neither")
    if rule.then_after is not None and (rule.repeat_until is None or not rule.then_usual_days):
        raise BadRule(name, "changes its interval, so it needs repeat_until and then_usual_days of 1 or more")


def _month_and_day(name: str, field: str, given: Any) -> tuple[int, int]:
    try:
        month, day = given
        checked = date(2023, month, day)  # not a leap year: 29 February is not in every season
        return checked.month, checked.day
    except (TypeError, ValueError):
        raise BadRule(name, f"needs a month and day of every year for {field}, not {given!r}") from None


def _half_a_year_on(month_and_day: tuple[int, int]) -> tuple[int, int]:
    month = (month_and_day[0] + 5) % 12 + 1
    last = (date(2023, month % 12 + 1, 1) - timedelta(1)).day
    return month, min(month_and_day[1], last)
