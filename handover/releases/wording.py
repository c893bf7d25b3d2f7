"""What the release pages show of a readiness: lines in words, and animals sorted by how soon they could go."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from handover.labels.release import STATES, evidence_in_words
from handover.releases.queries import BY_A_PERSON, Readiness
from handover.schedule.release import Assessed
from hospital.admissions.days import in_words
from hospital.people.models import Carer

SOON_DAYS = 7


@dataclass(frozen=True, slots=True)
class Line:
    """One criterion in words; `can_be_judged`: by a person, on this page."""

    criterion: str
    wording: str
    source: str
    how_known: str
    tone: str
    word: str
    evidence: str
    can_be_judged: bool


def lines(ready: Readiness, assessed: Iterable[Assessed]) -> list[Line]:
    return [_line(ready, each) for each in assessed]


def _line(ready: Readiness, each: Assessed) -> Line:
    tone, word = STATES[each.is_met]
    finding, missed_on = ready.findings.get(each.criterion.id), ready.missed.get(each.criterion.target)
    return Line(
        criterion=each.criterion.id,
        wording=each.criterion.wording,
        source=each.criterion.source,
        how_known=each.criterion.how_known,
        tone=tone,
        word=str(word),
        evidence=evidence_in_words(each, finding.evidence.rstrip(".") if finding else "", missed_on),
        can_be_judged=each.criterion.needs in BY_A_PERSON,
    )


@dataclass(frozen=True, slots=True)
class Candidate:
    """An animal of the list: how it stands in a phrase, why it waits, and what is missing."""

    ready: Readiness
    when: str
    waits: str
    carer: Carer | None
    ward: str
    met: list[Line]
    missing: list[Line]
    to_judge: int

    @property
    def count(self) -> str:
        words = {"met": len(self.ready.met), "all": len(self.ready.assessed)}
        return _("%(met)d of %(all)d met") % words


def candidate(ready: Readiness, today: date, *, is_near: bool) -> Candidate:
    """Of animals that are not near, only what no judgement can mend is spelt out: judgements come last anyway."""
    here = next((each for each in ready.patient.placements.all() if each.ended_at is None), None)
    return Candidate(
        ready=ready,
        when=when_in_words(ready, today),
        waits=waits_in_words(ready),
        carer=here.carer if here else None,
        ward=here.ward if here else "",
        met=lines(ready, ready.met) if is_near else [],
        missing=lines(ready, (a for a in ready.unmet if is_near or a.criterion.needs not in BY_A_PERSON)),
        to_judge=0 if is_near else sum(a.criterion.needs in BY_A_PERSON for a in ready.unmet),
    )


def when_in_words(ready: Readiness, today: date) -> str:
    """ "Can go now", "Earliest Tue 05-Jan-2027, in 3 days" or why no day can be told."""
    if not ready.assessed:
        return _("No criteria are in force for its group.")
    if ready.is_ready:
        return _("Can go now")
    if ready.earliest is None:
        return _("No day can be told yet")
    days = (ready.earliest - today).days
    if days <= 0 and ready.is_if_weight_holds:
        return _("Today at the earliest, if it keeps its weight")
    if days <= 0:
        return _("Today at the earliest")
    away = ngettext("in %(n)d day", "in %(n)d days", days) % {"n": days}
    words = {"day": in_words(ready.earliest), "away": away}
    if ready.is_if_weight_holds:
        return _("%(day)s at the earliest, %(away)s, if it keeps its weight") % words
    return _("%(day)s at the earliest, %(away)s") % words


def waits_in_words(ready: Readiness) -> str:
    """What puts it off although everything else might be done: a season, or a vet's "not yet"."""
    season, hold, until = ready.closed_season, ready.hold, ready.waits_until
    if until is None:
        return ""
    if hold and hold.not_before == until:
        reason = f" ({hold.reason})" if hold.reason else ""
        return _("A vet said: not before %(day)s") % {"day": in_words(until)} + reason
    assert season is not None
    return _("Waits for its season, which opens on %(day)s") % {"day": in_words(until)}


@dataclass(frozen=True, slots=True)
class Part:
    """Animals that are equally near to going."""

    slug: str
    title: str
    hint: str
    candidates: list[Candidate]


def ranked(all_ready: Iterable[Readiness], today: date) -> list[tuple[str, Readiness]]:
    """Every animal with the name of its part: those that somebody can do something about, then those that wait."""
    order = list(TITLES)
    placed = [(_part_of(ready, today), ready) for ready in all_ready]
    return sorted(placed, key=lambda pair: (order.index(pair[0]), *_nearness(pair[1])))


def _nearness(ready: Readiness) -> tuple[date, int, str]:
    return ready.earliest or date.max, len(ready.unmet), ready.patient.case_number


def parts_of(placed: Iterable[tuple[str, Readiness]], today: date) -> list[Part]:
    """Some ranked animals under the titles of their parts, in words."""
    return [_part(slug, [ready for _, ready in found], today) for slug, found in groupby(placed, key=lambda pair: pair[0])]


def _part_of(ready: Readiness, today: date) -> str:
    if ready.is_ready:
        return "now"
    if ready.earliest is None:
        return "unknown"
    return "week" if ready.earliest <= today + timedelta(days=SOON_DAYS) else "later"


def _part(slug: str, found: Iterable[Readiness], today: date) -> Part:
    title, hint = TITLES[slug]
    is_near = slug in NEAR
    return Part(slug, str(title), str(hint), [candidate(ready, today, is_near=is_near) for ready in found])


NEAR = {"now", "week"}
TITLES = {
    "now": (
        gettext_lazy("Can go now"),
        gettext_lazy("Every criterion is met by what is written down. A licensed person decides."),
    ),
    "week": (
        gettext_lazy("Could go within a week"),
        gettext_lazy("If what is planned goes well, and people find the rest met."),
    ),
    "unknown": (
        gettext_lazy("No day can be told yet"),
        gettext_lazy("Something is missing that has no day: plan it, weigh it, or judge it."),
    ),
    "later": (gettext_lazy("Later"), gettext_lazy("The first day on which all could be met, as things stand.")),
}
