"""What changed in a plan, and why, in words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.utils.translation import gettext_lazy

from handover.labels.events import plain_label
from handover.schedule.changes import Cause, Kind, Why
from hospital.words import dated

KINDS = {
    Kind.MOVED: gettext_lazy("moved"),
    Kind.ADDED: gettext_lazy("new"),
    Kind.DROPPED: gettext_lazy("no longer planned"),
    Kind.DONE: gettext_lazy("done on another day"),
}

CAUSES = {
    Why.PINNED: gettext_lazy("A person fixed %(now)s."),
    Why.UNPINNED: gettext_lazy("It is no longer fixed on %(was)s."),
    Why.HELD: gettext_lazy("A vet said: not before %(now)s."),
    Why.RELEASED: gettext_lazy("It no longer has to wait until %(was)s."),
    Why.SEASON: gettext_lazy("Its season opens on %(now)s."),
    Why.FIGURES: gettext_lazy("The protocol’s figures changed."),
    Why.ANCHOR: gettext_lazy("It counts from “%(what)s”, which was on %(was)s and is now on %(now)s."),
    Why.FACT: gettext_lazy("It counts from “%(what)s” on %(now)s, which is new."),
    Why.GONE: gettext_lazy("It counted from “%(what)s”, which is gone."),
    Why.CLOSED: gettext_lazy("The clinic is closed on %(was)s."),
    Why.AWAY: gettext_lazy("The carer is away on %(was)s."),
    Why.PASSED: gettext_lazy("%(was)s has gone by."),
    Why.SHARED: gettext_lazy("One visit together with “%(what)s”."),
    Why.DRIVE: gettext_lazy("One drive on %(now)s, with another animal of the same carer."),
    Why.FOLLOWS: gettext_lazy("It follows other days that moved."),
    Why.ENDED: gettext_lazy("It would come after “%(what)s” on %(now)s."),
    Why.AGAIN: gettext_lazy("It comes once more before “%(what)s” on %(now)s."),
}


# The same where nothing is decided yet, only supposed.
SUPPOSED = CAUSES | {
    Why.PINNED: gettext_lazy("You suppose %(now)s."),
    Why.UNPINNED: gettext_lazy("It would no longer be fixed on %(was)s."),
    Why.HELD: gettext_lazy("You suppose: not before %(now)s."),
    Why.FIGURES: gettext_lazy("You suppose other figures of its rule."),
    Why.ANCHOR: gettext_lazy("It counts from “%(what)s”, which would be on %(now)s, not on %(was)s."),
    Why.FACT: gettext_lazy("It counts from “%(what)s” on %(now)s."),
    Why.GONE: gettext_lazy("It counted from “%(what)s”, which would not be there."),
    Why.FOLLOWS: gettext_lazy("It follows other days that would move."),
}


def cause_in_words(
    cause: Cause, names: Mapping[str, str], day_format: str = "D d-M-Y", causes: Mapping[Why, object] = CAUSES
) -> str:
    """One reason in a sentence; `names` are the words for events by id."""
    return str(causes[cause.why]) % {
        "what": names.get(cause.event_id) or plain_label(cause.event_id),
        "was": _day(cause.was, day_format),
        "now": _day(cause.now, day_format),
    }


def _day(day: date | None, day_format: str) -> str:
    return dated(day, day_format)
