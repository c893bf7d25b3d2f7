"""What the night's check found, as long as it is still true: proposals of today about the facts and the plan as they are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext_lazy

from handover.facts import cases_of
from handover.plans.models import Proposal
from handover.plans.proposals import still_holds
from handover.plans.told import late_sentence, reason_of, sentence_of
from handover.protocols.queries import adoption_ids
from handover.schedule.case import Case
from hospital.admissions.models import Patient
from hospital.sites.models import Hospital

Kind = Proposal.Kind
LATE = "late"
FIRST_SHOWN = 10  # on the day's board
MOST_SHOWN = 300  # on the page of its own
# What cannot wait first. Tone and word of each are its status.
KINDS = {
    Kind.TROUBLE: ("conflict", gettext_lazy("Cannot be planned")),
    Kind.CONFLICT: ("conflict", gettext_lazy("Dates collide")),
    Kind.CHANGED: ("due", gettext_lazy("Would change")),
    Kind.FIRST: ("waiting", gettext_lazy("Not published")),
    Kind.AGREED: ("late", gettext_lazy("Late")),
}
FILTERS = {
    "": gettext_lazy("All"),
    Kind.CHANGED: gettext_lazy("Would change"),
    Kind.CONFLICT: gettext_lazy("Dates collide"),
    Kind.TROUBLE: gettext_lazy("Cannot be planned"),
    LATE: gettext_lazy("Late"),
    Kind.FIRST: gettext_lazy("Not published yet"),
}


@dataclass(frozen=True, slots=True)
class Noticed:
    """One animal that a person should look at, in a sentence."""

    patient: Patient
    kind: str
    is_late: bool
    sentence: str
    reason: str
    late: str
    tone: str
    word: str

    def is_of(self, wanted: str) -> bool:
        """Whether a filter shows it: "late" shows every animal with something late, whatever else it is."""
        return not wanted or self.kind == wanted or (wanted == LATE and self.is_late)


@dataclass(frozen=True, slots=True)
class Overnight:
    """When today's check ran (None: not at all), how many of the animals it has seen, and what it noticed.

    `overtaken`: animals that it noticed and whose facts or plan have changed since, so that nothing is said of them.
    """

    at: datetime | None
    checked: int
    unchecked: int
    noticed: list[Noticed]
    overtaken: int

    def count(self, wanted: str) -> int:
        return sum(each.is_of(wanted) for each in self.noticed)

    @property
    def pressing(self) -> list[Noticed]:
        """Those whose plan would change or cannot be made."""
        return [each for each in self.noticed if each.kind in (Kind.TROUBLE, Kind.CONFLICT, Kind.CHANGED)]


def overnight(patients: Iterable[Patient], hospital: Hospital, today: date, cases: Mapping[int, Case] | None = None) -> Overnight:
    """What the check of today says about these animals of one hospital, in a fixed number of queries.

    `cases`: what has been read of the animals already; without it, the few that matter are read here.
    """
    known = {patient.pk: patient for patient in patients}
    of_today = list(Proposal.objects.filter(patient__in=list(known), on=today))
    worth_a_look = [each for each in of_today if each.kind != Kind.AGREED or each.late]
    if cases is None:
        cases = cases_of(known[each.patient_id] for each in worth_a_look)
    adoptions = adoption_ids(hospital) if worth_a_look else []
    holding = [each for each in worth_a_look if _holds(each, known, cases, adoptions, today)]
    return Overnight(
        at=max((each.made_at for each in of_today), default=None),
        checked=len(of_today),
        unchecked=len(known) - len(of_today),
        noticed=sorted((_noticed(each, known[each.patient_id]) for each in holding), key=_urgency),
        overtaken=len(worth_a_look) - len(holding),
    )


def _holds(proposal: Proposal, known: Mapping[int, Patient], cases: Mapping[int, Case], adoptions: list[int], today: date) -> bool:
    return still_holds(proposal, known[proposal.patient_id], cases[proposal.patient_id], adoptions, today)


def _noticed(proposal: Proposal, patient: Patient) -> Noticed:
    tone, word = KINDS[Kind(proposal.kind)]
    sentence, late = sentence_of(proposal), late_sentence(proposal)
    return Noticed(
        patient=patient,
        kind=proposal.kind,
        is_late=bool(late),
        sentence=sentence,
        reason=reason_of(proposal),
        late="" if late == sentence else late,
        tone=tone,
        word=str(word),
    )


def _urgency(noticed: Noticed) -> tuple:
    return list(KINDS).index(Kind(noticed.kind)), not noticed.is_late, noticed.patient.case_number


def filters(found: Overnight, wanted: str) -> list[dict]:
    """The kinds that a person can choose between, each with how many there are."""
    return [{"kind": kind, "label": label, "count": found.count(kind), "is_current": kind == wanted} for kind, label in FILTERS.items()]
