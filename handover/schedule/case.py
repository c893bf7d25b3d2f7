"""What is known of one animal when its plan is made, and what the making tells beside the problem itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from handover.schedule.library import Rule
from handover.schedule.problem import Closed, Costs, Problem

PIN = "pin"  # in a Late: not a rule, but an agreed day went by


@dataclass(frozen=True, slots=True)
class Fact:
    """Something that happened to `subject` ("closure-12", "" = the animal). A day to come is an
    expectation.

    A later fact of the same event and subject replaces the earlier one, except in a chain: there each is a
    link.
    """

    event: str
    on: date
    subject: str = ""
    tags: frozenset[str] = frozenset()
    label: str = ""


@dataclass(frozen=True, slots=True)
class Pin:
    """A person's decision that an event is on this very day."""

    event_id: str
    on: date


@dataclass(frozen=True, slots=True)
class Hold:
    """A vet's "not yet", said on `from_on`. The latest one about an event counts."""

    event_id: str
    from_on: date
    not_before: date
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """One animal. `lineage`: its group, then that group's parents. `tags` hold for every one of its facts.

    `chosen` are the ids of alternative rules that a vet took for this animal.
    """

    lineage: tuple[str, ...]
    facts: tuple[Fact, ...] = ()
    pins: tuple[Pin, ...] = ()
    holds: tuple[Hold, ...] = ()
    previous: Mapping[str, date] = field(default_factory=dict)
    is_southern: bool = False
    tags: frozenset[str] = frozenset()
    chosen: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Setup:
    """What does not depend on the animal. The horizon grows where the case's own days reach beyond it.

    On the days of `company` its carer comes anyway, with another animal.
    """

    today: date
    horizon_days: int = 240
    closed: Mapping[str, Closed] = field(default_factory=dict)
    costs: Costs = field(default_factory=Costs)
    company: frozenset[date] = frozenset()


@dataclass(frozen=True, slots=True)
class Meaning:
    """What an event of the problem is about. `rule` is None for a bare fact, a hold and a season."""

    event: str
    subject: str = ""
    link: int | None = None
    label: str = ""
    rule: Rule | None = None


@dataclass(frozen=True, slots=True)
class Late:
    """The last day for an event has gone by: a rule's, or an agreed one (then rule_id is "pin"). It is due now."""

    event_id: str
    rule_id: str
    was_due_on: date
    last_day: date


@dataclass(frozen=True, slots=True)
class Overruled:
    """A longest interval that no longer binds: a hold or a season (`by`, its event) asks for a later day."""

    event_id: str
    rule_id: str
    by: str
    last_day: date


@dataclass(frozen=True, slots=True)
class Instance:
    """The problem, and what its parts mean. `unused`: pins and holds that change nothing."""

    problem: Problem
    late: tuple[Late, ...]
    overruled: tuple[Overruled, ...]
    meaning: Mapping[str, Meaning]
    rule_of_lag: Mapping[str, Rule]
    unused: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Routine:
    """A thing to do at home every `rule.usual_days` days. `until` is its last day, None while that is open."""

    rule: Rule
    subject: str
    label: str
    since: date
    until: date | None
