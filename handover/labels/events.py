"""Names of events, and of one event of one animal: "Take sutures out · left hind limb"."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from handover.schedule.case import Meaning
from handover.schedule.problem import CARER, CLINIC, HOME
from hospital.admissions.reference import FOLDER, read_toml

PLACES = {CLINIC: gettext_lazy("at the clinic"), HOME: gettext_lazy("at home")}
CALENDARS = {
    CLINIC: gettext_lazy("the clinic is closed"),
    HOME: gettext_lazy("nobody is at home"),
    CARER: gettext_lazy("the carer is away"),
}


@dataclass(frozen=True, slots=True)
class EventName:
    """`todo` is what somebody does ("Take sutures out"), `done` what has happened then ("Sutures out")."""

    todo: str
    done: str
    minutes: int = 0
    bring: str = ""


@cache
def event_names() -> Mapping[str, EventName]:
    """The shipped names, read once."""
    return {row["slug"]: _name(row) for row in read_toml(FOLDER / "events.toml")["event"]}


def _name(row: Mapping) -> EventName:
    return EventName(row["name"], row.get("done") or row["name"], row.get("minutes", 0), row.get("bring", ""))


def name_of(event: str) -> EventName:
    """The names of an event; one that the list lacks is shown by its own word."""
    plain = event.replace("_", " ").replace("-", " ").capitalize()
    return event_names().get(event) or EventName(plain, plain)


def event_label(meaning: Meaning) -> str:
    """What is to be done, on what: "Change the bandage · left wing (2)"."""
    return _with_subject(name_of(meaning.event).todo, meaning)


def done_label(meaning: Meaning) -> str:
    """What has happened, to what: "Wound closed · left hind limb"."""
    return _with_subject(name_of(meaning.event).done, meaning)


def _with_subject(name: str, meaning: Meaning) -> str:
    words = f"{name} · {meaning.label}" if meaning.label else name
    return _("%(what)s (no. %(link)d)") % {"what": words, "link": meaning.link} if meaning.link else words
