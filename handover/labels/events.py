"""Names of events, and of one event of one animal: "Sutures or staples out · left hind limb"."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from handover.schedule.case import Meaning
from handover.schedule.problem import CARER, CLINIC, HOME
from hospital.admissions.reference import FOLDER, read_toml
from hospital.words import is_english, said

PLACES = {CLINIC: gettext_lazy("at the clinic"), HOME: gettext_lazy("at home")}
CALENDARS = {
    CLINIC: gettext_lazy("the clinic is closed"),
    HOME: gettext_lazy("nobody is at home"),
    CARER: gettext_lazy("the carer is away"),
}


@dataclass(frozen=True, slots=True)
class EventName:
    """The words for an event, fact or routine. `minutes`: to book at the clinic; `bring`: by the carer."""

    label: str
    what: str = ""
    minutes: int = 0
    bring: str = ""


@cache
def event_names() -> Mapping[str, EventName]:
    """The shipped names of everything that a plan is about, read once."""
    shipped = read_toml(FOLDER / "events.toml")
    rows = (row for table in ("event", "routine", "fact", "case_tag") for row in shipped[table])
    return {row["slug"]: _name(row) for row in rows}


def _name(row: Mapping) -> EventName:
    return EventName(row["label"], row.get("what", ""), row.get("visit_minutes", 0), row.get("bring", ""))


def name_of(event: str) -> EventName:
    """The words for an event in the reader's language; one that the list lacks is shown by its own word."""
    shipped = event_names().get(event) or EventName(event.replace("_", " ").replace("-", " ").capitalize())
    if is_english():
        return shipped
    return EventName(said(shipped.label), said(shipped.what), shipped.minutes, said(shipped.bring))


def event_label(meaning: Meaning) -> str:
    """What it is, and about what: "Bandage check and change · left wing (no. 2)"."""
    words = name_of(meaning.event).label
    if meaning.label:
        words = f"{words} · {said(meaning.label)}"
    return _("%(what)s (no. %(link)d)") % {"what": words, "link": meaning.link} if meaning.link else words


def dated_label(event: str, subject: str, event_id: str) -> str:
    """The same words for an event of a published plan, whose id ends in the number of its link."""
    tail = event_id.rpartition(":")[2]
    return event_label(Meaning(event, label=subject, link=int(tail) if tail.isdecimal() else None))


def plain_label(event_id: str) -> str:
    """Words for an event of which only the id is left."""
    return name_of(event_id.partition(":")[0]).label
