"""Reading each row of an old spreadsheet as a case: what is understood, what is wrong, and what stays as it stood.

A row is refused when what a case cannot be without is missing or cannot be read. Anything else that cannot be read is noted and kept
as it stood. Nothing is dropped or invented in silence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from hospital.admissions.models import Identification, LifeStage, Patient, Sex, Weight
from hospital.imports.columns import DAYS, KEEP, LEAVE_OUT, NUMBERS
from hospital.imports.files import Table, identities
from hospital.imports.words import AS_WORDS, REFUSE, pieces
from hospital.outcomes.models import Outcome
from hospital.rules.cells import Comma, DayOrder, comma_of, folded, grams, is_blank, moment_in, order_of, read_day, read_number
from hospital.rules.geo import Axis, checked
from hospital.sheets import unescaped

Kind = Outcome.Kind
ENDS = {"released": Kind.RELEASED, "transferred": Kind.TRANSFERRED, "died": Kind.DIED, "euthanased": Kind.EUTHANASED}
LENGTHS = {
    "name": Patient._meta.get_field("name").max_length,
    "found_place": Patient._meta.get_field("found_place").max_length,
    "end_place": Outcome._meta.get_field("place").max_length,
    "mark": Identification._meta.get_field("value").max_length,
}
LARGEST_G = Decimal(10) ** (Weight._meta.get_field("weight_g").max_digits - 1) - 1


@dataclass(frozen=True, slots=True)
class Reading:
    """How the file is to be read: what its columns mean, and what was said where it can be read in two ways."""

    columns: Sequence[str]
    words: Mapping[str, Mapping[str, str]]
    zone: ZoneInfo
    today: date
    day_order: str = ""
    comma: str = ""
    weight_unit: str = ""
    species: str = ""  # of every row, in a file without such a column


@dataclass(slots=True)
class Problem:
    field: str
    code: str
    sentence: str
    is_refusal: bool = False


@dataclass(slots=True)
class Case:
    """One row as it was understood. `species` is "species:7" or "group:bird"."""

    row: int
    identity: str
    cells: dict[str, str]
    problems: list[Problem] = field(default_factory=list)
    species: str = ""
    admitted_at: datetime | None = None
    patient: dict[str, Any] = field(default_factory=dict)  # fields of Patient
    marks: list[tuple[str, str]] = field(default_factory=list)
    weight_g: Decimal | None = None
    end_weight_g: Decimal | None = None
    kind: str = ""
    ended_on: date | None = None
    end_words: str = ""
    end: dict[str, str] = field(default_factory=dict)  # place and reason
    case_number: str = ""

    @property
    def is_refused(self) -> bool:
        return any(problem.is_refusal for problem in self.problems)

    def note(self, field: str, code: str, sentence: str) -> None:
        self.problems.append(Problem(field, code, sentence))

    def refuse(self, field: str, code: str, sentence: str) -> None:
        self.problems.append(Problem(field, code, sentence, is_refusal=True))


def doubts(table: Table, columns: Sequence[str]) -> dict[str, Any]:
    """What the columns prove about days and commas, and where a person must say."""
    orders = {name: order_of(_column(table, columns, name)) for name in DAYS if name in columns}
    commas = {name: comma_of(_column(table, columns, name)) for name in NUMBERS if name in columns}
    proved_orders = {found.order for found in orders.values() if found.order}
    proved_commas = {found.meaning for found in commas.values() if found.meaning}
    return {
        "orders": orders,
        "day_order": str(next(iter(proved_orders))) if len(proved_orders) == 1 else "",
        "asks_day_order": len(proved_orders) > 1 or (any(found.is_in_doubt for found in orders.values()) and len(proved_orders) != 1),
        "comma": str(next(iter(proved_commas))) if len(proved_commas) == 1 else "",
        "asks_comma": len(proved_commas) > 1 or (any(found.is_in_doubt for found in commas.values()) and len(proved_commas) != 1),
    }


def _column(table: Table, columns: Sequence[str], name: str) -> Iterator[str]:
    place = list(columns).index(name)
    return (row[place] for _number, row in table.rows if place < len(row) and not is_blank(row[place]))


def read_cases(table: Table, reading: Reading) -> Iterator[Case]:
    """Every row of the file, in its order, as a case with its problems."""
    for (number, row), identity in zip(table.rows, identities(table), strict=True):
        yield _RowReader(table.headings, number, row, identity, reading).case()


class _RowReader:
    """One row on its way to being a case."""

    def __init__(self, headings: Sequence[str], number: int, row: Sequence[str], identity: str, reading: Reading):
        self.reading, self.row, self.headings = reading, row, headings
        kept = {h: c for h, c, meant in zip(headings, row, reading.columns, strict=False) if meant != LEAVE_OUT and c.strip()}
        self.made = Case(row=number, identity=identity, cells=kept)
        self.said: dict[str, str] = {}
        for cell, meant in zip(row, reading.columns, strict=False):
            if meant not in (KEEP, LEAVE_OUT) and not is_blank(cell):
                words = unescaped(" ".join(cell.split()))
                self.said[meant] = f"{self.said[meant]}, {words}" if meant in self.said else words

    def case(self) -> Case:
        self._shape()
        self._species()
        self._admission()
        self._end()
        self._place()
        self._cause()
        self._rest()
        return self.made

    def _shape(self) -> None:
        if any(cell.strip() for cell in self.row[len(self.headings) :]):
            words = _("The row has more cells than there are headings. A delimiter may stand inside a word that has no quotes around it.")
            self.made.refuse("row", "too-many-cells", words)
        if any("�" in cell for cell in self.row):
            self.made.refuse("row", "broken-letters", _("Letters of this row cannot be read in the encoding chosen. Choose another."))

    # --- species and words ---

    def _meaning(self, wanted: str, cell: str) -> str:
        return self.reading.words.get(wanted, {}).get(folded(cell), "")

    def _species(self) -> None:
        words = self.said.get("species", "")
        meaning = self._meaning("species", words) if words else self.reading.species
        if not words and not meaning:
            self.made.refuse("species", "no-species", _("The row names no species."))
        elif meaning in ("", REFUSE):
            self.made.refuse("species", "species-not-chosen", _("No species is chosen for “%(words)s”.") % {"words": words})
        else:
            self.made.species = meaning

    def _chosen(self, wanted: str, unknown: str) -> str:
        words = self.said.get(wanted, "")
        meaning = self._meaning(wanted, words) if words else ""
        if words and meaning in ("", AS_WORDS):
            self.made.note(wanted, f"{wanted}-as-words", _("“%(words)s” is kept as words.") % {"words": words})
        return unknown if meaning in ("", AS_WORDS) else meaning

    def _cause(self) -> None:
        parts = pieces(self.said.get("cause", ""), "cause")
        meanings = list(dict.fromkeys(m for part in parts if (m := self._meaning("cause", part)) not in ("", AS_WORDS)))
        self.made.patient["cause_id"] = meanings[0] if meanings else None
        if len(meanings) > 1:
            self.made.note("cause", "several-causes", _("Several causes are named: the first is the cause, all are kept as words."))
        if parts and (len(meanings) != 1 or len(parts) > 1):
            self.said["circumstances"] = "; ".join(
                filter(None, [self.said.get("circumstances"), ", ".join(" ".join(p.split()) for p in parts)])
            )
        if parts and not meanings:
            self.made.note("cause", "cause-as-words", _("“%(words)s” is kept as words.") % {"words": self.said["cause"]})

    # --- days ---

    def _day(self, name: str, *, refuses: bool) -> tuple[date, time | None] | None:
        cell = self.said.get(name)
        if not cell:
            return None
        try:
            on, at = self._read_day(cell)
        except ValueError as fault:
            (self.made.refuse if refuses else self.made.note)(name, f"{name}-unreadable", str(fault))
            return None
        if on > self.reading.today:
            (self.made.refuse if refuses else self.made.note)(name, f"{name}-in-future", _("“%(cell)s” is in the future.") % {"cell": cell})
            return None
        return on, at

    def _read_day(self, cell: str) -> tuple[date, time | None]:
        try:
            moment = datetime.fromisoformat(cell) if "T" in cell or "+" in cell else None
        except ValueError:
            moment = None
        if moment and moment.tzinfo:
            here = moment.astimezone(self.reading.zone)
            return here.date(), here.time().replace(microsecond=0)
        order = DayOrder(self.reading.day_order) if self.reading.day_order else None
        return read_day(cell, order, latest=self.reading.today)

    def _admission(self) -> None:
        found = self._day("admitted", refuses=True)
        if found:
            self.made.admitted_at = moment_in(*found).replace(tzinfo=self.reading.zone)
        elif "admitted" not in self.said:
            self.made.refuse("admitted", "no-admission", _("The row has no day of admission."))
        found_on = self._day("found_on", refuses=False)
        if found_on and found and found_on[0] > found[0]:
            self.made.note("found_on", "found-after-admission", _("Found after it was admitted: the day found is kept as it stood only."))
        elif found_on:
            self.made.patient["found_on"] = found_on[0]

    def _end(self) -> None:
        case = self.made
        case.end_words = self.said.get("outcome", "")[:200]
        meaning = self._meaning("outcome", case.end_words) if case.end_words else ""
        if case.end_words and meaning in ("", AS_WORDS):
            case.note(
                "outcome",
                "outcome-as-words",
                _("“%(words)s” is kept as words: it is none of the outcomes here.") % {"words": case.end_words},
            )
        case.kind = "" if meaning == AS_WORDS else meaning
        dated = [(day[0], kind, name) for name, kind in ENDS.items() if (day := self._day(name, refuses=True))]
        if dated and not case.kind:
            case.ended_on, case.kind, _name = max(dated, key=lambda each: each[0])
        if len(dated) > 1:
            case.note("outcome", "several-ends", _("Several ends have a day: the last counts, all are kept as they stood."))
        ended = self._day("ended", refuses=True) or next(((on, None) for on, kind, _name in dated if kind == case.kind), None)
        case.ended_on = ended[0] if ended else case.ended_on
        self._end_agrees()

    def _end_agrees(self) -> None:
        case = self.made
        if case.admitted_at and case.ended_on and case.ended_on < case.admitted_at.date():
            case.refuse(
                "ended", "ended-before-admission", _("It ends on %(end)s, before it was admitted.") % {"end": case.ended_on.isoformat()}
            )
        if case.kind and not case.ended_on:
            case.note("ended", "end-without-day", _("The outcome has no day: it is kept as words, and the day of the end is not known."))
            case.end_words, case.kind = case.end_words or str(Kind(case.kind).label), ""
        if not case.kind and not case.ended_on and not case.end_words:
            case.note("outcome", "no-end", _("No outcome is recorded: how and when the case ended is not known."))

    # --- places and numbers ---

    def _number(self, name: str) -> Decimal | None:
        cell = self.said.get(name)
        if not cell:
            return None
        try:
            return read_number(cell, Comma(self.reading.comma) if self.reading.comma else None)
        except ValueError as fault:
            self.made.note(name, f"{name}-unreadable", str(fault))
            return None

    def _place(self) -> None:
        latitude, longitude = self._number("latitude"), self._number("longitude")
        if (latitude is None) != (longitude is None):
            self.made.note("latitude", "half-a-point", _("One coordinate without the other: the point is kept as it stood only."))
        if latitude is None or longitude is None:
            return
        if latitude == 0 and longitude == 0:
            self.made.note(
                "latitude", "zero-point", _("0, 0 lies in the ocean and stands for a point that nobody knew: kept as it stood only.")
            )
            return
        try:
            checked(latitude, Axis.LATITUDE), checked(longitude, Axis.LONGITUDE)
        except ValueError as fault:
            self.made.note("latitude", "no-such-point", str(fault))
            return
        six = Decimal("0.000001")
        self.made.patient |= {"found_latitude": latitude.quantize(six), "found_longitude": longitude.quantize(six)}
        exact = self._number("uncertainty_m")
        if exact is not None and exact >= 1:
            self.made.patient["found_uncertainty_m"] = int(exact)

    def _weight(self, name: str) -> Decimal | None:
        amount = self._number(name)
        if amount is None:
            return None
        weight_g = grams(amount, self.reading.weight_unit or "g")
        if not Decimal("0.1") <= weight_g <= LARGEST_G:
            self.made.note(name, "no-such-weight", _("“%(cell)s” is no weight of an animal.") % {"cell": self.said[name]})
            return None
        return weight_g

    # --- the rest ---

    def _cut(self, name: str, length: str) -> str:
        words = self.said.get(name, "")
        if len(words) > LENGTHS[length]:
            self.made.note(
                name,
                "cut-short",
                _("Longer than %(n)d letters: cut short here, whole where it is kept as it stood.") % {"n": LENGTHS[length]},
            )
        return words[: LENGTHS[length]]

    def _rest(self) -> None:
        case = self.made
        case.patient |= {
            "name": self._cut("name", "name"),
            "found_place": self._cut("found_place", "found_place"),
            "circumstances": self.said.get("circumstances", ""),
            "sex": self._chosen("sex", Sex.UNKNOWN),
            "life_stage": self._chosen("life_stage", LifeStage.UNKNOWN),
        }
        case.end = {"place": self._cut("end_place", "end_place"), "reason": self.said.get("end_reason", "")}
        case.case_number = self.said.get("case_number", "")
        kinds = {"former_number": Identification.Kind.FORMER, "microchip": Identification.Kind.MICROCHIP, "ring": Identification.Kind.RING}
        case.marks = [(str(kind), self._cut(name, "mark")) for name, kind in kinds.items() if name in self.said]
        if "former_number" in self.reading.columns and "former_number" not in self.said:
            case.note("former_number", "no-former-number", _("The row has no former number."))
        case.weight_g, case.end_weight_g = self._weight("weight"), self._weight("weight_end")
        if case.end_weight_g and not case.ended_on:
            case.note("weight_end", "weight-without-day", _("A weight at the end, but no day for it: kept as it stood only."))
            case.end_weight_g = None
