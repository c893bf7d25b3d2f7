"""Which animals could go, by what is written down: criteria in force against the evidence, for many animals at once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from handover.plans.outlook import Outlook, outlooks
from handover.protocols.queries import criteria_in_force
from handover.releases.models import CriterionFinding
from handover.schedule.case import Hold
from handover.schedule.changes import ASIDE
from handover.schedule.release import (
    ASSESSMENT,
    Assessed,
    Criterion,
    Evidence,
    Found,
    Needs,
    Trend,
    Weighed,
    assess,
    earliest_release,
)
from hospital.admissions.models import Patient, Weight
from hospital.procedures.vocabulary import vocabulary
from hospital.rules.weights import Weighing, trend_g_per_day

BY_A_PERSON = frozenset({Needs.JUDGEMENT, Needs.TEST})
GOES_BY_ITSELF = frozenset({"absorbable", "adhesive"})
TREND_DAYS = 28  # the weighings of four weeks make a trend (common practice, no source)


@dataclass(frozen=True, slots=True)
class Readiness:
    """One animal against the criteria of its group. `earliest`: the first day on which all could be met, or None.

    `is_if_weight_holds`: that day supposes that the animal keeps its weight, which it does not do, or nobody knows.
    `missed` are promised days that have gone by, by event. `findings` are the latest by criterion;
    `assessment_on` the promised day of the release assessment, while it is open.
    """

    patient: Patient
    outlook: Outlook
    assessed: tuple[Assessed, ...]
    earliest: date | None
    is_if_weight_holds: bool
    assessment_on: date | None
    missed: Mapping[str, date]
    hold: Hold | None
    findings: Mapping[str, CriterionFinding]
    weighed: Weighed | None
    trend: Trend | None

    @property
    def met(self) -> list[Assessed]:
        return [each for each in self.assessed if each.is_met]

    @property
    def unmet(self) -> list[Assessed]:
        """Those that are not met, and those of which nobody knows."""
        return [each for each in self.assessed if not each.is_met]

    @property
    def is_ready(self) -> bool:
        """All are met, and there are some: without criteria in force nothing is known."""
        return bool(self.assessed) and not self.unmet and self.hold is None

    @property
    def needs_people_only(self) -> bool:
        """Nothing but persons' judgements stands in the way."""
        return bool(self.unmet) and all(each.criterion.needs in BY_A_PERSON for each in self.unmet)

    @property
    def closed_season(self) -> Assessed | None:
        """The season that is shut and opens last."""
        shut = [each for each in self.unmet if each.criterion.needs is Needs.SEASON and each.earliest]
        return max(shut, key=lambda each: each.earliest, default=None)

    @property
    def waits_until(self) -> date | None:
        """The day for which a season or a vet's "not yet" keeps it, if that is what decides."""
        season, hold = self.closed_season, self.hold
        days = [season.earliest if season else None, hold.not_before if hold else None]
        return max((day for day in days if day), default=None)


def readiness(patients: Iterable[Patient], today: date) -> dict[int, Readiness]:
    """By patient, in a fixed number of queries for each hospital."""
    return readiness_of(outlooks(patients, today), today)


def readiness_of(known: Mapping[int, Outlook], today: date) -> dict[int, Readiness]:
    """The same for animals whose outlook has been read already."""
    hospitals = {outlook.patient.hospital for outlook in known.values()}
    criteria = {hospital: criteria_in_force(hospital) for hospital in hospitals}
    findings, weighings = _findings(known), _weighings(known, today)
    return {
        key: _readiness(outlook, criteria[outlook.patient.hospital], findings[key], weighings[key], today) for key, outlook in known.items()
    }


def readiness_of_one(patient: Patient, today: date) -> Readiness:
    """One animal, from rows read now."""
    fresh = Patient.objects.select_related("hospital", "species__group").get(pk=patient.pk)
    return readiness([fresh], today)[fresh.pk]


def _findings(keys: Iterable[int]) -> dict[int, list[CriterionFinding]]:
    found: dict[int, list[CriterionFinding]] = defaultdict(list)
    for row in CriterionFinding.objects.filter(patient_id__in=list(keys)).select_related("found_by"):
        found[row.patient_id].append(row)
    return found


def _weighings(known: Mapping[int, Outlook], today: date) -> dict[int, list[Weighing]]:
    """Each animal's weighings of the last weeks, and the last one before them."""
    zones = {key: ZoneInfo(outlook.patient.hospital.zone) for key, outlook in known.items()}
    since = datetime.combine(today - timedelta(days=TREND_DAYS), time.min, next(iter(zones.values()), ZoneInfo("UTC")))
    rows = Weight.objects.filter(patient_id__in=list(known)).order_by("weighed_at", "id")
    found: dict[int, list[Weighing]] = defaultdict(list)
    for key, at, weight_g in rows.values_list("patient_id", "weighed_at", "weight_g"):
        if at < since:
            found[key].clear()
        found[key].append(Weighing(at.astimezone(zones[key]).date(), weight_g))
    return found


# --- one animal ---------------------------------------------------------------------------------------------------


def _readiness(
    outlook: Outlook,
    criteria: Iterable[Criterion],
    findings: list[CriterionFinding],
    weighings: list[Weighing],
    today: date,
) -> Readiness:
    opened = _planned_events(outlook) | still_on(outlook.patient)
    done = _done(outlook, opened, today)
    wanted = [each for each in criteria if each.group in outlook.case.lineage and _concerns(each, opened, done)]
    evidence = Evidence(
        on=today,
        done=done,
        weighed=_weighed(weighings),
        trend=_trend(weighings, today),
        findings=tuple(_found(findings, wanted)),
        is_southern=outlook.case.is_southern,
    )
    hold = _hold(outlook, today)
    days = _days(outlook, done, hold, today)
    earliest, is_if_weight_holds = _earliest(wanted, evidence, days)
    return Readiness(
        patient=outlook.patient,
        outlook=outlook,
        assessed=assess(wanted, evidence, days),
        earliest=earliest,
        is_if_weight_holds=is_if_weight_holds,
        assessment_on=None if ASSESSMENT in done else days.get(ASSESSMENT),
        missed={due.event: due.on for due in outlook.due if due.on < today},
        hold=hold,
        findings={row.criterion: row for row in findings},
        weighed=evidence.weighed,
        trend=evidence.trend,
    )


def _earliest(criteria: list[Criterion], evidence: Evidence, days: Mapping[str, date]) -> tuple[date | None, bool]:
    """The first day for all; if only the weight's course leaves none, the first day for the others, and True."""
    if not criteria:
        return None, False
    if day := earliest_release(criteria, evidence, days):
        return day, False
    others = [each for each in criteria if each.needs is not Needs.TREND]
    day = earliest_release(others, evidence, days)
    return day, day is not None


def _weighed(weighings: list[Weighing]) -> Weighed | None:
    return Weighed(weighings[-1].weight_g, weighings[-1].on) if weighings else None


def _trend(weighings: list[Weighing], today: date) -> Trend | None:
    recent = [each for each in weighings if (today - each.on).days <= TREND_DAYS]
    g_per_day = trend_g_per_day(recent)
    return None if g_per_day is None else Trend(g_per_day.quantize(Decimal("0.01")), recent[-1].on)


def _found(findings: list[CriterionFinding], criteria: list[Criterion]) -> Iterator[Found]:
    """Findings in the words of the core: of a test by the test's name. Only the latest of each day counts there."""
    names = {each.id: each.target if each.needs is Needs.TEST else each.id for each in criteria}
    latest = {(row.criterion, row.found_on): row for row in findings}
    for row in latest.values():
        if row.criterion in names:
            yield Found(names[row.criterion], row.is_met, row.found_on, str(row.found_by))


def _done(outlook: Outlook, opened: set[str], today: date) -> dict[str, date]:
    """By event: the day on which the last of its kind was done. One that is still open somewhere is not done."""
    done: dict[str, date] = {}
    for fact in outlook.case.facts:
        if fact.on <= today:
            done[fact.event] = max(fact.on, done.get(fact.event, fact.on))
    return {event: day for event, day in done.items() if event not in opened}


def _planned_events(outlook: Outlook) -> set[str]:
    """Events that today's facts and rules still ask for."""
    if outlook.instance is None:
        return set()
    events = (e for e in outlook.instance.problem.events if not e.done and not e.id.startswith(ASIDE))
    return {outlook.instance.meaning[event.id].event for event in events}


def still_on(patient: Patient) -> set[str]:
    """What must come off or out by what is recorded, whether or not a rule asks for it."""
    words, events = vocabulary(), set()
    for closure in patient.closures.all():
        material = words.materials.get(closure.material)
        if closure.removed_on is None and not (material and material.tags <= GOES_BY_ITSELF):
            events.add("suture_removal")
    for bandage in patient.bandages.all():
        kind = words.bandages.get(bandage.kind)
        if bandage.removed_on is None:
            events.add("splint_removal" if kind and "splint_applied" in kind.anchors else "bandage_removal")
    if any(implant.must_come_out and implant.removed_on is None for implant in patient.implants.all()):
        events.add("implant_removal")
    return events


def _concerns(criterion: Criterion, opened: set[str], done: Mapping[str, date]) -> bool:
    """An event concerns only animals whose plan has or had it; the assessment concerns all."""
    if criterion.needs is not Needs.EVENT or criterion.target == ASSESSMENT:
        return True
    return criterion.target in done or criterion.target in opened


def _hold(outlook: Outlook, today: date) -> Hold | None:
    """A vet's "not yet" about the assessment that still stands."""
    return next((h for h in outlook.case.holds if h.event_id == ASSESSMENT and h.not_before > today), None)


def _days(outlook: Outlook, done: Mapping[str, date], hold: Hold | None, today: date) -> dict[str, date]:
    """The promised day of each event; of several of a kind the last. One that still lacks a day has none."""
    days: dict[str, date] = {}
    for due in outlook.due:
        days[due.event] = max(due.on, days.get(due.event, due.on))
    for event in _without_a_day(outlook):
        days.pop(event, None)
    if ASSESSMENT in done:
        days[ASSESSMENT] = today  # what it left open can be judged on any day
    if hold and ASSESSMENT in days:
        days[ASSESSMENT] = max(days[ASSESSMENT], hold.not_before)
    return days


def _without_a_day(outlook: Outlook) -> set[str]:
    if outlook.instance is None:
        return set()
    promised = {due.event_id for due in outlook.due}
    opened = (e for e in outlook.instance.problem.events if not e.done and not e.id.startswith(ASIDE))
    meanings = [outlook.instance.meaning[event.id] for event in opened if event.id not in promised]
    return {meaning.event for meaning in meanings if meaning.link is None}


def history(patient: Patient) -> list[CriterionFinding]:
    """Every finding, the newest first."""
    return list(patient.criterion_findings.select_related("found_by").order_by("-found_on", "-id"))
