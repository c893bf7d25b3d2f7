"""What an address supposes: its parts as forms, as suppositions, and as a clean address again."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy

from handover.labels.whatif import NONSENSE
from handover.plans.forms import (
    CarerAwayForm,
    Choices,
    ClinicShutForm,
    NotBeforeForm,
    OnDayForm,
    OtherFiguresForm,
    SupposedForm,
)
from handover.schedule.whatif import (
    BadSupposition,
    CarerAway,
    ClinicShut,
    NotBefore,
    OnDay,
    OtherFigures,
    Supposition,
)

MOST_OF_A_KIND = 8  # more rows in an address are not read
KINDS: dict[str, tuple[type[SupposedForm], type]] = {
    "day": (OnDayForm, OnDay),
    "wait": (NotBeforeForm, NotBefore),
    "shut": (ClinicShutForm, ClinicShut),
    "away": (CarerAwayForm, CarerAway),
    "rule": (OtherFiguresForm, OtherFigures),
}
Pairs = tuple[tuple[str, str], ...]


@dataclass(slots=True)
class Row:
    """One supposition of the address. `pairs` are its parts as typed, numbered anew."""

    kind: str
    form: SupposedForm
    pairs: Pairs
    supposition: Supposition | None = None


class Asked:
    """Everything that an address supposes. `blank` holds an empty form of each kind that has room for one more."""

    def __init__(self, query: QueryDict, *, events: Choices, rules: Choices) -> None:
        self.events, self.rules = events, rules
        self.rows = [row for kind in KINDS for row in self._rows(kind, query)]
        self.blank = {kind: self._form(kind, self._count(kind)) for kind in KINDS if self._count(kind) < MOST_OF_A_KIND}
        self.is_clean = sorted(self.pairs) == sorted((name, value) for name, values in query.lists() for value in values)

    def _rows(self, kind: str, query: QueryDict) -> Iterator[Row]:
        for number, parts in enumerate(_filled(kind, query)):
            pairs = tuple((f"{kind}-{number}-{name}", value) for name, value in parts.items())
            form = self._form(kind, number, dict(pairs))
            row = Row(kind, form, pairs)
            if form.is_valid():
                row.supposition = KINDS[kind][1](**form.cleaned_data)
            yield row

    def _form(self, kind: str, number: int, data: dict[str, str] | None = None) -> SupposedForm:
        return KINDS[kind][0](data, prefix=f"{kind}-{number}", events=self.events, rules=self.rules)

    def _count(self, kind: str) -> int:
        return sum(1 for row in self.rows if row.kind == kind)

    @property
    def pairs(self) -> list[tuple[str, str]]:
        return [pair for row in self.rows for pair in row.pairs]

    @property
    def suppositions(self) -> tuple[Supposition, ...]:
        return tuple(row.supposition for row in self.rows if row.supposition)

    @property
    def has_mistakes(self) -> bool:
        return any(row.form.errors for row in self.rows)

    @property
    def mistaken(self) -> list[forms.Form]:
        """The forms with mistakes, for the summary at the head of the page."""
        return [row.form for row in self.rows if row.form.errors]

    def refuse(self, bad: BadSupposition) -> None:
        """Put what the planning core refused at the field that it names."""
        row = next(row for row in self.rows if row.supposition is bad.supposition)
        row.form.add_error(bad.field, str(NONSENSE[bad.why]))

    def without(self, row: Row) -> str:
        """The address of everything but this."""
        return address_of([each for each in self.rows if each is not row])

    def address(self) -> str:
        return address_of(self.rows)

    def along_with(self, kind: str, **parts: str) -> str:
        """The address of everything and one thing more, which takes the place of another one about the same event."""
        about = ("event_id", "rule_id")
        same = {parts[name] for name in about if name in parts}
        kept = [row for row in self.rows if row.kind != kind or not same & {value for name, value in row.pairs if name.endswith(about)}]
        more = Row(kind, self._form(kind, 0), tuple((f"{kind}-0-{name}", value) for name, value in parts.items()))
        return address_of([*kept, more])


@dataclass(frozen=True, slots=True)
class Group:
    """One kind of supposition on the page: its rows, and an empty one."""

    kind: str
    title: str
    hint: str
    forms: tuple[forms.Form, ...]
    is_open: bool


TITLES = {
    "day": (gettext_lazy("Another day for something"), gettext_lazy("Also on a day on which the clinic is usually closed.")),
    "wait": (gettext_lazy("Not yet: something waits"), gettext_lazy("It outweighs the latest day of the protocol.")),
    "shut": (gettext_lazy("The clinic closes on a day"), gettext_lazy("For every animal; here you see this one only.")),
    "away": (gettext_lazy("The carer is away"), gettext_lazy("Nothing is planned on these days, at the clinic or at home.")),
    "rule": (gettext_lazy("Another rule"), gettext_lazy("Figures in days. One that you leave empty stays as it is.")),
}


def groups_of(asked: Asked, *, has_carer: bool) -> list[Group]:
    """The form of the page, kind by kind; nobody can be sent away from an animal that is with no carer."""
    groups = []
    for kind, (title, hint) in TITLES.items():
        rows = [row.form for row in asked.rows if row.kind == kind]
        blank = [asked.blank[kind]] if kind in asked.blank else []
        if rows or has_carer or kind != "away":
            groups.append(Group(kind, str(title), str(hint), (*rows, *blank), bool(rows)))
    return groups


def address_of(rows: Sequence[Row]) -> str:
    """The part of an address behind the question mark; rows are numbered by kind from 0."""
    count: dict[str, int] = {}
    pairs = []
    for row in rows:
        number = count[row.kind] = count.get(row.kind, -1) + 1
        pairs += [(re.sub(r"-\d+-", f"-{number}-", name, count=1), value) for name, value in row.pairs]
    return urlencode(pairs)


def address_of_one(kind: str, **parts: str) -> str:
    """The address part that supposes one thing."""
    return urlencode({f"{kind}-0-{name}": value for name, value in parts.items()})


def _filled(kind: str, query: QueryDict) -> list[dict[str, str]]:
    """The rows of a kind in which something is filled in, in the order of their numbers."""
    found: dict[int, dict[str, str]] = {}
    for name, value in query.items():
        match = re.fullmatch(rf"{kind}-(\d{{1,3}})-(\w+)", name)
        if match and match[2] in KINDS[kind][0].base_fields and value.strip():
            found.setdefault(int(match[1]), {})[match[2]] = value.strip()
    return [found[number] for number in sorted(found)][:MOST_OF_A_KIND]
