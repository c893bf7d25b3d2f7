"""Rows → graded water time: which protocol holds for an animal, from which day, and what its carers reported.

Several wounds at once: the days count from the first one that full-time water is not open for, every later one begins the
dry days again, and of their protocols the most cautious one holds.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from handover.facts import cases_of
from handover.logs.models import Activity, BandageState, LogEntry
from handover.plans.models import PlannedDate, WaterDecision
from handover.protocols.queries import water_protocols_in_force
from handover.schedule.case import Case, Fact
from handover.schedule.watertime import (
    Allowance,
    Clearance,
    Sign,
    StepSet,
    WaterLog,
    WaterProtocol,
    allowances,
    forecast,
)
from hospital.admissions.models import Patient

CLOSURE = "wound_closure"
FULL_WATER = "full_water"  # the milestone that opens full-time water, whatever the protocol waits for
# What the state of a bandage and of the animal says in signs.
SIGN_OF_BANDAGE = {
    BandageState.WET: Sign.BANDAGE_SOAKED,
    BandageState.LOST: Sign.BANDAGE_LOST,
    BandageState.SLIPPED: Sign.BANDAGE_SLIPPED,
}
SIGN_OF_ACTIVITY = {Activity.LIMP: Sign.WEAK}


@dataclass(frozen=True, slots=True)
class Wound:
    """What the water time of an animal counts from: a closure, repair or wash, its protocol, and when that was over."""

    on: date
    label: str
    protocol: WaterProtocol
    opened_on: date | None


@dataclass(frozen=True, slots=True)
class Water:
    """Everything that the water time of one animal follows from. `expected_on` is the planned day of the opening event."""

    protocol: WaterProtocol
    label: str
    closed_on: date
    opened_on: date | None
    expected_on: date | None
    restarted_on: tuple[date, ...]
    logs: tuple[WaterLog, ...]
    step_sets: tuple[StepSet, ...]
    clearances: tuple[Clearance, ...]

    def on(self, day: date) -> Allowance:
        """The allowance of a day, from what is known; a coming day is never raised by a hope."""
        return self.known(day, day)[0]

    def known(self, first: date, last: date) -> tuple[Allowance, ...]:
        """Every day from `first` to `last`, from what is known."""
        return allowances(self.protocol, first=first, last=last, **self._history(self.opened_on))

    def forecast(self, today: date, first: date, last: date) -> tuple[Allowance, ...]:
        """The same, with every coming day clean and the opening event on its planned day."""
        opened_on = self.opened_on or self.expected_on
        return forecast(self.protocol, today=today, first=first, last=last, **self._history(opened_on))

    def without(self, day: date) -> Water:
        """The same animal as if nothing had been reported for a day."""
        return replace(self, logs=tuple(log for log in self.logs if log.on != day))

    def _history(self, opened_on: date | None) -> dict:
        return {
            "closed_on": self.closed_on, "opened_on": opened_on, "logs": self.logs, "step_sets": self.step_sets,
            "clearances": self.clearances, "restarted_on": self.restarted_on,
        }  # fmt: skip


def allowance_today(patient: Patient, today: date) -> Allowance | None:
    """How long it may be in water today, and why; None for an animal without a water protocol."""
    water = water_of(patient)
    return water.on(today) if water else None


def ladder(patient: Patient, first: date, last: date, today: date) -> tuple[Allowance, ...]:
    """Day by day: past days by what was reported, coming ones as if each were clean. Empty without a water protocol."""
    water = water_of(patient)
    return water.forecast(today, first, last) if water else ()


def water_of(patient: Patient) -> Water | None:
    """The water time of one animal, from rows read now."""
    fresh = Patient.objects.select_related("hospital", "species").get(pk=patient.pk)
    return waters_of([fresh])[fresh.pk]


def waters_of(patients: Iterable[Patient], cases: Mapping[int, Case] | None = None) -> dict[int, Water | None]:
    """The same for many, in a fixed number of queries for each hospital. `cases`: if they are known already."""
    patients = list(patients)
    cases = cases if cases is not None else cases_of(patients)
    protocols = {hospital: water_protocols_in_force(hospital) for hospital in {p.hospital for p in patients}}
    wounds = {p.pk: binding(wounds_of(cases[p.pk], protocols[p.hospital])) for p in patients}
    keys = [pk for pk, found in wounds.items() if found]
    reports, decisions, planned = _reports(keys), _decisions(keys), _planned(keys)
    return {
        p.pk: _water(cases[p.pk], wounds[p.pk], reports[p.pk], decisions[p.pk], planned[p.pk])
        if wounds[p.pk]
        else None
        for p in patients
    }


# --- which protocol, from when ------------------------------------------------------------------------------------


def wounds_of(case: Case, protocols: Iterable[WaterProtocol]) -> list[Wound]:
    """Every closure, repair or wash that a protocol in force speaks about, in order of days."""
    ours = [each for each in protocols if each.group in case.lineage]
    anchors = {CLOSURE, *(event for each in ours for event in (*each.restarts_on, each.applies_to) if event)}
    found = []
    for fact in sorted((f for f in case.facts if f.event in anchors), key=lambda f: f.on):
        if protocol := protocol_for(fact, case, ours):
            found.append(Wound(fact.on, fact.label, protocol, _opened_on(fact, case, protocol)))
    return found


def protocol_for(fact: Fact, case: Case, protocols: Iterable[WaterProtocol]) -> WaterProtocol | None:
    """Of the rows of the nearest group the one for a tag of the closure, else the one without; of several the slowest."""
    tags = {*fact.tags, *case.tags, fact.event}
    fitting = [each for each in protocols if not each.applies_to or each.applies_to in tags]
    if fact.event != CLOSURE:
        fitting = [each for each in fitting if each.applies_to == fact.event or fact.event in each.restarts_on]
    nearest = min((case.lineage.index(each.group) for each in fitting), default=None)
    near = [each for each in fitting if case.lineage.index(each.group) == nearest]
    tagged = [each for each in near if each.applies_to]
    return max(tagged or near, key=_caution, default=None)


def _caution(protocol: WaterProtocol) -> tuple:
    return (protocol.dry_days, -protocol.ladder[0], protocol.clean_days, protocol.id)


def _opened_on(anchor: Fact, case: Case, protocol: WaterProtocol) -> date | None:
    """When full-time water was opened for this wound: the protocol's event for it, or a vet's word for the animal."""
    days = [
        fact.on
        for fact in case.facts
        if fact.event in (protocol.opening_event, FULL_WATER)
        and fact.on >= anchor.on
        and (not fact.subject or not anchor.subject or fact.subject == anchor.subject)
    ]
    return min(days, default=None)


def binding(wounds: Sequence[Wound]) -> list[Wound]:
    """The wounds that still hold the animal back; when full-time water is open for all, the last one it was opened for."""
    held = [each for each in wounds if each.opened_on is None]
    if held or not wounds:
        return held
    latest = max(each.opened_on for each in wounds if each.opened_on)
    return [each for each in wounds if each.opened_on == latest]


def _water(
    case: Case,
    wounds: Sequence[Wound],
    reports: Sequence[_Report],
    decisions: Sequence[WaterDecision],
    planned: Mapping[str, date],
) -> Water:
    protocol = max((each.protocol for each in wounds), key=_caution)
    closed_on = min(each.on for each in wounds)
    again = {each.on for each in wounds} | {fact.on for fact in case.facts if fact.event in protocol.restarts_on}
    expected = planned.get(protocol.opening_event) or planned.get(FULL_WATER)
    return Water(
        protocol=protocol,
        label=", ".join(dict.fromkeys(each.label for each in wounds if each.label)),
        closed_on=closed_on,
        opened_on=wounds[0].opened_on,
        expected_on=expected,
        restarted_on=tuple(sorted(day for day in again if day > closed_on)),
        logs=tuple(log for report in reports if report.on >= closed_on for log in report.as_water_logs(decisions)),
        step_sets=tuple(StepSet(d.on, d.step) for d in decisions if d.kind == WaterDecision.Kind.STEP),
        clearances=tuple(Clearance(d.on, max(1, d.step)) for d in decisions if d.kind == WaterDecision.Kind.CLEARED),
    )


# --- what was reported and decided --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Report:
    on: date
    minutes: int | None
    signs: frozenset[Sign]
    received_at: datetime
    counts: bool  # not replaced by a correction

    def as_water_logs(self, decisions: Iterable[WaterDecision]) -> list[WaterLog]:
        """A report that was corrected keeps only its severe signs: a slip of the finger too is cleared by the hospital."""
        signs = self.signs if self.counts else frozenset(sign for sign in self.signs if sign.is_severe)
        if not self.counts and not signs:
            return []
        read = any(
            d.kind == WaterDecision.Kind.CLEARED and d.on == self.on and d.decided_at >= self.received_at
            for d in decisions
        )
        return [WaterLog(self.on, self.minutes if self.counts else None, signs, was_cleared=read)]


def signs_of(signs: Iterable[str], bandage: str, activity: str) -> frozenset[Sign]:
    """The signs of a report: those that were ticked, and what bandage and behaviour say."""
    ticked = {Sign(sign) for sign in signs if sign in Sign._value2member_map_}
    told = {SIGN_OF_BANDAGE.get(bandage), SIGN_OF_ACTIVITY.get(activity)} - {None}
    return frozenset(ticked | told)


def _reports(keys: list[int]) -> dict[int, list[_Report]]:
    rows = LogEntry.objects.filter(patient__in=keys).order_by("made_at", "pk")
    standing = set(LogEntry.objects.filter(patient__in=keys).counting().values_list("pk", flat=True))
    found: dict[int, list[_Report]] = defaultdict(list)
    names = ("pk", "patient_id", "on", "water_minutes", "signs", "bandage", "activity", "received_at")
    for pk, patient_id, on, minutes, signs, bandage, activity, received_at in rows.values_list(*names):
        said = signs_of(signs, bandage, activity)
        found[patient_id].append(_Report(on, minutes, said, received_at, pk in standing))
    return found


def _decisions(keys: list[int]) -> dict[int, list[WaterDecision]]:
    found: dict[int, list[WaterDecision]] = defaultdict(list)
    for decision in WaterDecision.objects.filter(patient__in=keys).order_by("decided_at", "pk"):
        found[decision.patient_id].append(decision)
    return found


def _planned(keys: list[int]) -> dict[int, dict[str, date]]:
    """By patient: the last planned day of each event of the plan in force."""
    rows = PlannedDate.objects.filter(patient__in=keys, plan__in=_plans_in_force(keys), done_on=None)
    found: dict[int, dict[str, date]] = defaultdict(dict)
    for patient_id, event, on in rows.order_by("on").values_list("patient_id", "event", "on"):
        found[patient_id][event] = on
    return found


def _plans_in_force(keys: list[int]):
    return Patient.objects.filter(pk__in=keys).values("current_plan__plan")

