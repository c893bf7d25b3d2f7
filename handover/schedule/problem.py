"""The planning problem as plain values: what must happen, how far apart, and on which days it cannot.

Days are whole local dates, lags are whole days. Every value is checked when the problem is made, so that whoever
holds a `Problem` holds one that can be planned or shown to be in conflict.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

CLINIC, HOME, CARER = "clinic", "home", "carer"
PLACES = (CLINIC, HOME)
CALENDARS = (CLINIC, HOME, CARER)
LONGEST_DAYS = 3650  # ten years: longer lags and horizons are slips of the keyboard
LARGEST_COST = 1_000_000
TODAY, HORIZON, PIN, CLOSED = "today", "horizon", "pin:", "closed:"  # the names a conflict may hold beside lags


class BadProblem(ValueError):
    """The problem as given cannot be read; the message is one sentence that names the field."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field} {message}.")
        self.field, self.reason = field, message


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens on one day: `done` is a fact, `pinned` a person's decision.

    A fact outweighs a decision: the pin of an event that is done is kept on record and has no effect.
    """

    id: str
    place: str
    done: date | None = None
    pinned: date | None = None

    @property
    def fixed(self) -> date | None:
        return self.done or self.pinned


@dataclass(frozen=True, slots=True)
class Lag:
    """Demands min ≤ day(end) − day(start) ≤ max, in days; each day off `usual` costs `weight`. None: no such limit."""

    id: str
    start: str
    end: str
    min: int | None = None
    usual: int | None = None
    max: int | None = None
    weight: int = 1


@dataclass(frozen=True, slots=True)
class Closed:
    """Days on which a place is shut or a person away. Weekday 0 is Monday; spans include both ends."""

    weekdays: frozenset[int] = frozenset()
    dates: frozenset[date] = frozenset()
    spans: tuple[tuple[date, date], ...] = ()


@dataclass(frozen=True, slots=True)
class Costs:
    """What a day at the clinic costs, and what it costs to move an event away from its day in the previous plan."""

    visit: int = 30
    move: int = 5


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything that decides a plan. Raises BadProblem, naming the field, if the parts do not fit together.

    `previous` may name events that this problem no longer has: an older plan often does, and they are ignored.
    """

    today: date
    horizon_days: int
    events: tuple[Event, ...]
    lags: tuple[Lag, ...] = ()
    closed: Mapping[str, Closed] = field(default_factory=dict)
    previous: Mapping[str, date] = field(default_factory=dict)
    costs: Costs = Costs()

    def __post_init__(self) -> None:
        _check_frame(self)
        _check_events(self)
        _check_lags(self)
        _check_closed(self.closed)
        _check_costs(self.costs)

    @property
    def last_day(self) -> date:
        return self.today + timedelta(self.horizon_days)

    @classmethod
    def from_json(cls, given: Any) -> Problem:
        """Read the published JSON shape. Raises BadProblem for anything that the shape does not know."""
        top = _mapping(given, "problem", _PROBLEM_KEYS, ("today", "horizon_days", "events"))
        return cls(
            today=_date(top["today"], "today"),
            horizon_days=top["horizon_days"],
            events=tuple(_each(top["events"], "events", _event)),
            lags=tuple(_each(top.get("lags", []), "lags", _lag)),
            closed=_closed_by_calendar(top.get("closed", {})),
            previous={name: _date(day, f"previous.{name}") for name, day in _mapping(top.get("previous", {}), "previous").items()},
            costs=Costs(**_mapping(top.get("costs", {}), "costs", ("visit", "move"))),
        )

    def to_json(self) -> dict[str, Any]:
        """The published JSON shape; reading it back gives an equal problem."""
        return {
            "today": self.today.isoformat(),
            "horizon_days": self.horizon_days,
            "events": [_event_json(event) for event in self.events],
            "lags": [
                {"id": lag.id, "from": lag.start, "to": lag.end, "min": lag.min, "usual": lag.usual,
                 "max": lag.max, "weight": lag.weight}
                for lag in self.lags
            ],
            "closed": {name: _closed_json(closed) for name, closed in self.closed.items()},
            "previous": {name: day.isoformat() for name, day in self.previous.items()},
            "costs": {"visit": self.costs.visit, "move": self.costs.move},
        }  # fmt: skip


# --- reading: the shape ---

_PROBLEM_KEYS = ("today", "horizon_days", "events", "lags", "closed", "previous", "costs")
_ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def _mapping(given: Any, name: str, known: Sequence[str] | None = None, needed: Sequence[str] = ()) -> Mapping[str, Any]:
    if not isinstance(given, Mapping):
        raise BadProblem(name, f"must be an object with named parts, not {_shown(given)}")
    prefix = "" if name == "problem" else f"{name}."
    for key in given:
        if known is not None and key not in known:
            raise BadProblem(f"{prefix}{key}", f"is not a field that a plan knows ({', '.join(known)})")
    for key in needed:
        if key not in given:
            raise BadProblem(f"{prefix}{key}", "is missing")
    return given


def _each(given: Any, name: str, read: Callable[[Any, str], Any]) -> Iterable[Any]:
    if not isinstance(given, list | tuple):
        raise BadProblem(name, f"must be a list, not {_shown(given)}")
    return (read(item, f"{name}[{n}]") for n, item in enumerate(given))


def _date(given: Any, name: str) -> date:
    try:
        if isinstance(given, str) and _ISO_DATE.fullmatch(given):
            return date.fromisoformat(given)
    except ValueError:
        pass
    raise BadProblem(name, f"must be a date such as 2027-03-01, not {_shown(given)}")


def _event(given: Any, name: str) -> Event:
    row = _mapping(given, name, ("id", "place", "done", "pinned"), ("id", "place"))
    days = {key: None if row.get(key) is None else _date(row[key], f"{name}.{key}") for key in ("done", "pinned")}
    return Event(row["id"], row["place"], days["done"], days["pinned"])


def _lag(given: Any, name: str) -> Lag:
    known = ("id", "from", "to", "min", "usual", "max", "weight")
    row = _mapping(given, name, known, ("id", "from", "to"))
    return Lag(row["id"], row["from"], row["to"], row.get("min"), row.get("usual"), row.get("max"), row.get("weight", 1))


def _closed_by_calendar(given: Any) -> dict[str, Closed]:
    parts = _mapping(given, "closed", CALENDARS)
    return {calendar: _closed(part, f"closed.{calendar}") for calendar, part in parts.items()}


def _closed(given: Any, name: str) -> Closed:
    part = _mapping(given, name, ("weekdays", "dates", "spans"))
    return Closed(
        frozenset(_each(part.get("weekdays", []), f"{name}.weekdays", _weekday)),
        frozenset(_each(part.get("dates", []), f"{name}.dates", _date)),
        tuple(_each(part.get("spans", []), f"{name}.spans", _span)),
    )


def _weekday(given: Any, name: str) -> int:
    return _whole(given, name, 0, 6, "a weekday from 0 (Monday) to 6 (Sunday)")


def _span(given: Any, name: str) -> tuple[date, date]:
    if not isinstance(given, list | tuple) or len(given) != 2:
        raise BadProblem(name, f"must be a first and a last date, not {_shown(given)}")
    first, last = (_date(day, f"{name}[{n}]") for n, day in enumerate(given))
    return first, last


# --- checking: the sense ---


def _check_frame(problem: Problem) -> None:
    _check_day(problem.today, "today")
    _whole(problem.horizon_days, "horizon_days", 0, LONGEST_DAYS, f"a whole number of days from 0 to {LONGEST_DAYS}")
    if problem.today > date.max - timedelta(problem.horizon_days):
        raise BadProblem("horizon_days", "reaches past the end of the calendar")
    for name, day in problem.previous.items():
        _check_day(day, f"previous.{name}")


def _check_events(problem: Problem) -> None:
    seen: set[str] = set()
    for n, event in enumerate(problem.events):
        name = f"events[{n}]"
        _check_id(event.id, f"{name}.id", seen)
        if event.place not in PLACES:
            raise BadProblem(f"{name}.place", f"must be clinic or home, not {_shown(event.place)}")
        for key, day in (("done", event.done), ("pinned", event.pinned)):
            if day is not None:
                _check_day(day, f"{name}.{key}")
        if event.done and event.done > problem.today:
            raise BadProblem(f"{name}.done", f"({event.done}) is after today ({problem.today})")


def _check_lags(problem: Problem) -> None:
    known = {event.id for event in problem.events}
    seen: set[str] = set()
    for n, lag in enumerate(problem.lags):
        name = f"lags[{n}]"
        _check_id(lag.id, f"{name}.id", seen)
        if lag.id in (TODAY, HORIZON) or lag.id.startswith((PIN, CLOSED)):
            raise BadProblem(f"{name}.id", f"({lag.id}) is a name that conflicts use for something else")
        _check_ends(lag, name, known)
        _check_lengths(lag, name)


def _check_ends(lag: Lag, name: str, known: set[str]) -> None:
    for key, end in (("from", lag.start), ("to", lag.end)):
        if not isinstance(end, str) or end not in known:
            raise BadProblem(f"{name}.{key}", f"names an event that is not in the list: {_shown(end)}")
    if lag.start == lag.end:
        raise BadProblem(f"{name}.to", f"makes {lag.id} a cycle from an event to itself, which no rule explains")


def _check_lengths(lag: Lag, name: str) -> None:
    for key, days in (("min", lag.min), ("usual", lag.usual), ("max", lag.max)):
        if days is not None:
            limits = f"null or a whole number of days, at most {LONGEST_DAYS} either way"
            _whole(days, f"{name}.{key}", -LONGEST_DAYS, LONGEST_DAYS, limits)
    _check_cost(lag.weight, f"{name}.weight")
    if lag.min is not None and lag.max is not None and lag.min > lag.max:
        raise BadProblem(f"{name}.min", f"({lag.min}) is longer than its max ({lag.max})")


def _check_closed(closed: Mapping[str, Closed]) -> None:
    for calendar, part in closed.items():
        if calendar not in CALENDARS:
            raise BadProblem(f"closed.{calendar}", "is not one of clinic, home or carer")
        for weekday in part.weekdays:
            _weekday(weekday, f"closed.{calendar}.weekdays")
        for day in part.dates:
            _check_day(day, f"closed.{calendar}.dates")
        for n, (first, last) in enumerate(part.spans):
            _check_day(first, f"closed.{calendar}.spans[{n}][0]")
            _check_day(last, f"closed.{calendar}.spans[{n}][1]")
            if first > last:
                raise BadProblem(f"closed.{calendar}.spans[{n}]", f"ends ({last}) before it begins ({first})")


def _check_costs(costs: Costs) -> None:
    _check_cost(costs.visit, "costs.visit")
    _check_cost(costs.move, "costs.move")


def _check_cost(given: Any, name: str) -> None:
    _whole(given, name, 0, LARGEST_COST, f"a whole number from 0 to {LARGEST_COST}")


def _check_id(given: Any, name: str, seen: set[str]) -> None:
    if not isinstance(given, str) or not given:
        raise BadProblem(name, f"must be a name, not {_shown(given)}")
    if given in seen:
        raise BadProblem(name, f"({given}) is used twice")
    seen.add(given)


def _whole(given: Any, name: str, least: int, most: int, wanted: str) -> int:
    # True and False count as 1 and 0 in Python, and nobody who wrote them meant a number of days.
    if isinstance(given, bool) or not isinstance(given, int) or not least <= given <= most:
        raise BadProblem(name, f"must be {wanted}, not {_shown(given)}")
    return given


def _check_day(given: Any, name: str) -> None:
    if type(given) is not date:  # a datetime is a date to isinstance, and compares with none
        raise BadProblem(name, f"must be a date, not {_shown(given)}")


def _shown(given: Any) -> str:
    try:
        text = repr(given)
    except RecursionError:
        return "lists within lists without end"
    return text if len(text) <= 40 else text[:37] + "..."


# --- writing ---


def _event_json(event: Event) -> dict[str, str]:
    row = {"id": event.id, "place": event.place}
    if event.done:
        row["done"] = event.done.isoformat()
    if event.pinned:
        row["pinned"] = event.pinned.isoformat()
    return row


def _closed_json(closed: Closed) -> dict[str, Any]:
    return {
        "weekdays": sorted(closed.weekdays),
        "dates": [day.isoformat() for day in sorted(closed.dates)],
        "spans": [[first.isoformat(), last.isoformat()] for first, last in closed.spans],
    }
