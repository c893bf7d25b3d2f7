"""Where the words typed into the box of every page may lead."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from django.db.models import F, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.admissions.queries import matching
from hospital.commands.listing import Command, commands_for
from hospital.people.menus import ENTRIES
from hospital.people.models import Role

MOST_ANIMALS, MOST_COMMANDS, MOST_WORDS = 6, 8, 6


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One place to go: what it is, the animal it is about, its address."""

    words: str
    about: str
    url: str


def suggestions(patients: QuerySet[Patient], roles: Collection[Role], words: str) -> list[Suggestion]:
    """Animals first, then what to do with one ("weigh bramble"), then pages. `patients`: those the person may see."""
    typed = words.split()[:MOST_WORDS]
    if not typed:
        return []
    animals = _found(patients, typed, MOST_ANIMALS)
    found = [_chart(animal) for animal in animals]
    found += _commands_with(patients, roles, typed)
    if len(animals) == 1:
        found += [_start(command, animals[0]) for command in _allowed(roles, animals[0]) if command.is_first]
    return [*dict.fromkeys(found), *_pages(roles, typed)]


def _found(patients: QuerySet[Patient], typed: list[str], most: int) -> list[Patient]:
    """Animals in care before closed cases."""
    fitting = matching(patients, " ".join(typed)).select_related("species")
    return list(fitting.order_by(F("closed_on").desc(nulls_first=True), "case_number")[:most])


def _commands_with(patients: QuerySet[Patient], roles: Collection[Role], typed: list[str]) -> list[Suggestion]:
    """Some words name what to do, the others the animal."""
    meant: dict[tuple[str, ...], list[Command]] = {}
    for command in commands_for(roles):
        animal = tuple(word for word in typed if not command.is_meant_by(word))
        if animal and len(animal) < len(typed):
            meant.setdefault(animal, []).append(command)
    found: list[Suggestion] = []
    for animal, commands in meant.items():
        for patient in _found(patients, list(animal), MOST_ANIMALS):
            found += [_start(command, patient) for command in commands if command in _allowed(roles, patient)]
    return found[:MOST_COMMANDS]


def _allowed(roles: Collection[Role], patient: Patient) -> list[Command]:
    return commands_for(roles, is_in_care=patient.is_in_care)


def _chart(patient: Patient) -> Suggestion:
    about = str(patient) if patient.is_in_care else _("%(animal)s, case closed") % {"animal": patient}
    return Suggestion(_("Chart"), about, reverse("chart:patient", args=[patient.case_number]))


def _start(command: Command, patient: Patient) -> Suggestion:
    return Suggestion(str(command.words), str(patient), reverse(command.url_name, args=[patient.case_number]))


def _pages(roles: Collection[Role], typed: list[str]) -> Iterator[Suggestion]:
    """Entries of the menu of which every typed word begins a word."""
    for label, url_name, allowed in ENTRIES:
        names = str(label).casefold().split()
        if set(allowed) & set(roles) and all(any(name.startswith(word.casefold()) for name in names) for word in typed):
            yield Suggestion(str(label), "", reverse(url_name))
