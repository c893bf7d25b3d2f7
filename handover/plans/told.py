"""A proposal in words: what the night's check found for one animal, in a sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from handover.plans.models import Proposal
from handover.plans.wording import stored_change_lines
from handover.schedule import changes
from hospital.admissions.days import in_words

Kind = Proposal.Kind
SENTENCES = {
    changes.Kind.MOVED: gettext_lazy("“%(what)s” would move from %(was)s to %(now)s"),
    changes.Kind.ADDED: gettext_lazy("“%(what)s” would be new, on %(now)s"),
    changes.Kind.DROPPED: gettext_lazy("“%(what)s” of %(was)s is no longer asked for"),
    changes.Kind.DONE: gettext_lazy("“%(what)s”, planned for %(was)s, was done on %(now)s"),
}


def sentence_of(proposal: Proposal) -> str:
    """What a person should know about it; empty for a plan that stands as agreed with nothing late."""
    if proposal.kind in (Kind.CONFLICT, Kind.TROUBLE):
        return " ".join(proposal.why)
    if proposal.kind == Kind.CHANGED:
        return _changed(proposal.changes)
    if proposal.kind == Kind.FIRST:
        return _first(proposal.changes)
    return late_sentence(proposal)


def reason_of(proposal: Proposal) -> str:
    """Why the day that the sentence names would change; empty where nothing changes."""
    if proposal.kind != Kind.CHANGED:
        return ""
    lines = stored_change_lines([_main(proposal.changes)])
    return " ".join(lines[0].why[:1])


def late_sentence(proposal: Proposal) -> str:
    """What has been late for longest, and how many things more; empty if nothing is late."""
    if not proposal.late:
        return ""
    first, *others = sorted(proposal.late, key=lambda each: each["last_day"])
    words = {"what": first["what"], "day": in_words(date.fromisoformat(first["last_day"])), "n": len(others)}
    if not others:
        return _("Late: “%(what)s”, last day %(day)s.") % words
    return ngettext(
        "Late: “%(what)s”, last day %(day)s; %(n)d more thing.",
        "Late: “%(what)s”, last day %(day)s; %(n)d more things.",
        len(others),
    ) % words


def _main(stored: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    """The first change that is still to come: what was done on another day needs nobody any more."""
    return next((each for each in stored if each["kind"] != changes.Kind.DONE), stored[0])


def _changed(stored: Sequence[Mapping[str, Any]]) -> str:
    main, others = _main(stored), len(stored) - 1
    words = {"what": main["what"], "was": _day(main["was"]), "now": _day(main["now"])}
    told = str(SENTENCES[changes.Kind(main["kind"])]) % words
    if not others:
        return f"{told}."
    return ngettext("%(told)s; %(n)d more change.", "%(told)s; %(n)d more changes.", others) % {"told": told, "n": others}


def _first(stored: Sequence[Mapping[str, Any]]) -> str:
    words = {"n": len(stored), "what": stored[0]["what"], "day": _day(stored[0]["now"])}
    return ngettext(
        "%(n)d date to publish: “%(what)s” on %(day)s.", "%(n)d dates to publish, the first “%(what)s” on %(day)s.", len(stored)
    ) % words


def _day(text: str | None) -> str:
    return in_words(date.fromisoformat(text)) if text else ""
