"""An import in words: how it stands, and what the dry run counted."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.imports.columns import FIELDS
from hospital.imports.models import Import

State = Import.State
# code → what the problem is, for the list of how often it occurs
PROBLEMS = {
    "too-many-cells": gettext_lazy("More cells than headings"),
    "broken-letters": gettext_lazy("Letters that cannot be read"),
    "no-species": gettext_lazy("No species in the row"),
    "species-not-chosen": gettext_lazy("No species chosen for the word"),
    "no-admission": gettext_lazy("No day of admission"),
    "ended-before-admission": gettext_lazy("Ends before it was admitted"),
    "contradicts": gettext_lazy("Another case has this former number and day"),
    "does-not-fit": gettext_lazy("A value that no form would take"),
    "several-causes": gettext_lazy("Several causes: the first counts, all are kept as words"),
    "several-ends": gettext_lazy("Several ends: the last counts"),
    "end-without-day": gettext_lazy("An outcome without a day, kept as words"),
    "no-end": gettext_lazy("No outcome recorded"),
    "found-after-admission": gettext_lazy("Found after it was admitted"),
    "half-a-point": gettext_lazy("One coordinate without the other"),
    "zero-point": gettext_lazy("The point 0, 0"),
    "no-such-point": gettext_lazy("A point that does not exist"),
    "no-such-weight": gettext_lazy("A weight that no animal has"),
    "weight-without-day": gettext_lazy("A weight at the end without a day"),
    "cut-short": gettext_lazy("Words cut short"),
    "no-former-number": gettext_lazy("No former number in the row"),
}
ENDINGS = {
    "unreadable": gettext_lazy("cannot be read"),
    "in-future": gettext_lazy("in the future"),
    "as-words": gettext_lazy("kept as words"),
}


def problem_words(code: str) -> str:
    """What a problem is, whatever row it is in."""
    if code in PROBLEMS:
        return str(PROBLEMS[code])
    field, _dash, ending = code.partition("-")
    return f"{FIELDS.get(field, field)}: {ENDINGS.get(ending, ending)}"


def title_of(of: Import) -> str:
    titles = {
        State.DRAFT: _("Say what the file means"),
        State.CHECKED: _("Dry run: nothing is written yet"),
        State.WRITTEN: _("Written"),
        State.UNDONE: _("Undone"),
    }
    return titles[State(of.state)]


def counted(of: Import) -> dict[str, Any]:
    """The numbers of the last check, its problems in words and by how often they occur."""
    counts = dict(of.counts)
    for name in ("refusals", "notes"):
        counts[name] = [(problem_words(code), n) for code, n in of.counts.get(name, {}).items()]
    return counts
