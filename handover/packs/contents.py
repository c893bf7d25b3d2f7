"""What a handover pack says: one frozen value with everything that is printed, and nothing that a carer may not know.

No finder, no place where the animal was found, no address of a carer. It is kept as JSON with the pack, so that an old
pack can be read again as it was, and two of them compared.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from handover.logs.flags import pictured


@dataclass(frozen=True, slots=True)
class Site:
    """The hospital: whom to phone, when, and where to bring the animal."""

    name: str
    phone: str
    night_phone: str
    clinic_hours: str
    address: str


@dataclass(frozen=True, slots=True)
class Animal:
    """Which animal it is. `photo` is the key of a photograph, or empty; `weight` is in words."""

    case_number: str
    name: str
    species: str
    latin: str
    sex: str
    life_stage: str
    marks: tuple[str, ...]
    weight: str
    weighed_on: date | None
    photo: str

    @property
    def called(self) -> str:
        """The name that the animal is spoken of by: its own, else its species."""
        return self.name or self.species


@dataclass(frozen=True, slots=True)
class Treatment:
    """Something that the hospital did: "Shell repair · right bridge"."""

    what: str
    on: date


@dataclass(frozen=True, slots=True)
class Appointment:
    """One event of the plan that is still to come. `note` is the rule's own instruction."""

    event_id: str
    what: str
    about: str
    on: date
    at_clinic: bool
    minutes: int
    bring: str
    note: str


@dataclass(frozen=True, slots=True)
class Task:
    """A thing to do at home every so many days, counted from `since`; `until` is its last day, None while open."""

    what: str
    note: str
    every_days: int
    since: date
    until: date | None

    def is_due(self, on: date) -> bool:
        is_over = self.until is not None and on > self.until
        return not is_over and on > self.since and (on - self.since).days % self.every_days == 0


@dataclass(frozen=True, slots=True)
class WaterDay:
    """The water of one day. `minutes` None means full-time water; `step` is 0 while the animal stays dry."""

    on: date
    minutes: int | None
    step: int
    words: str
    why: str


@dataclass(frozen=True, slots=True)
class Water:
    """Graded water time: the days of this pack, the steps in minutes a day, and whether it is stopped now."""

    days: tuple[WaterDay, ...]
    ladder: tuple[int, ...]
    note: str
    is_stopped: bool


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a medication line; its pieces come from hospital.rules.wording and nowhere else."""

    part: str
    text: str
    is_bold: bool


@dataclass(frozen=True, slots=True)
class Dose:
    """One dose still to give: its number in the course, day, and clock time where the hospital is."""

    number: int
    on: date
    at: str


@dataclass(frozen=True, slots=True)
class Medicine:
    """A course that runs. Volumes are decimal numbers as text; `graduation_ml` is empty for an unknown syringe."""

    order_id: int
    drug: str
    line: str
    pieces: tuple[Piece, ...]
    dose: str
    volume: str
    volume_ml: str
    syringe_ml: str
    graduation_ml: str
    is_injection: bool
    times: tuple[str, ...]
    doses: tuple[Dose, ...]
    count: int
    note: str


@dataclass(frozen=True, slots=True)
class Feeding:
    """What the animal is fed, as a vet signed it: the food, and how much how often, in words. `plan_id`: of the signed plan."""

    food: str
    meals: str
    note: str
    plan_id: int = 0


@dataclass(frozen=True, slots=True)
class FluidStep:
    """One stretch of a fluid plan, in words: when, and what is given."""

    when: str
    what: str


@dataclass(frozen=True, slots=True)
class Fluids:
    """Fluids that a vet left to the carer: what and how, and how much from when on. `is_injection`: under the skin."""

    what: str
    steps: tuple[FluidStep, ...]
    note: str
    is_injection: bool
    plan_id: int = 0


@dataclass(frozen=True, slots=True)
class Tip:
    """One sentence of advice, with the name of its picture."""

    text: str
    icon: str


@dataclass(frozen=True, slots=True)
class Topic:
    """All advice about one topic, the nearest group of animals first."""

    slug: str
    label: str
    tips: tuple[Tip, ...]


@dataclass(frozen=True, slots=True)
class Away:
    """Days, both included, on which the carer is away."""

    starts_on: date
    ends_on: date


@dataclass(frozen=True, slots=True)
class Difference:
    """What this pack says otherwise than the one before: days or other words, and why."""

    what: str
    kind: str  # of KINDS in differences.py
    was: str
    now: str
    why: str


@dataclass(frozen=True, slots=True)
class Contents:
    """A whole pack. `changes` compares it with the carer's pack before; they do not make it another pack."""

    made_on: date
    valid_until: date
    next_visit_on: date | None
    plan_version: int
    site: Site
    animal: Animal
    carer: str
    treatments: tuple[Treatment, ...]
    appointments: tuple[Appointment, ...]
    done: tuple[str, ...]  # ids of events of the plan that have happened
    tasks: tuple[Task, ...]
    water: Water | None
    medicines: tuple[Medicine, ...]
    advice: tuple[Topic, ...]
    cautions: tuple[str, ...]
    closed_weekdays: tuple[int, ...]  # 0 is Monday
    closed_days: tuple[date, ...]
    away: tuple[Away, ...]
    has_pack_before: bool = False
    changes: tuple[Difference, ...] = ()
    has_bandage: bool = True  # whether the log sheets ask how a bandage looks
    feeding: Feeding | None = None
    fluids: Fluids | None = None
    flags: tuple[str, ...] = ()  # signs and mishaps that ask for a call at once, by name
    worn: tuple[str, ...] = ()  # bandages with their layers and what is in it, in lines
    language: str = "en-gb"  # of all words in it
    lines_in_english: int = 0  # marked lines in a pack of another language

    @property
    def flag_pictures(self) -> list[tuple[str, str]]:
        return pictured(self.flags)

    def says_the_same(self, other: Contents) -> bool:
        """Whether both tell a carer the same, whatever came before them."""
        return _alone(self) == _alone(other)

    def to_json(self) -> dict[str, Any]:
        """Plain values: days in ISO form, lists. Reading it back gives an equal value."""
        return _plain(self)

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Contents:
        return _read(cls, kept)


def _alone(contents: Contents) -> Contents:
    return replace(contents, changes=(), has_pack_before=False)


# --- JSON ---------------------------------------------------------------------------------------------------------


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return value.isoformat() if isinstance(value, date) else value


def _read(kind: Any, kept: Any) -> Any:
    """A value of `kind` from its plain form."""
    if get_origin(kind) in (Union, UnionType):
        inner = next(each for each in get_args(kind) if each is not NoneType)
        return None if kept is None else _read(inner, kept)
    if get_origin(kind) is tuple:
        return tuple(_read(get_args(kind)[0], each) for each in kept)
    if is_dataclass(kind):
        return kind(**{name: _read(hint, kept[name]) for name, hint in _hints(kind).items() if name in kept})
    return date.fromisoformat(kept) if kind is date else kept


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)
