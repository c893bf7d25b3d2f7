"""Rows → facts of the planning core: what was recorded about animals, as plain values. Decides nothing, writes nothing.

Everything about many patients is read in a fixed number of queries. Decisions that people put into plans (pins, holds,
chosen windows, the plan in force) are read here too, through the patient's own relations.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from zoneinfo import ZoneInfo

from django.db.models import prefetch_related_objects

from handover.schedule.case import Case, Fact, Hold, Pin, Setup
from handover.schedule.changes import ASIDE
from handover.schedule.library import lineage_of
from handover.schedule.problem import CARER, CLINIC, Closed
from hospital.admissions.models import Patient, Placement, TaxonGroup
from hospital.medications.queries import last_dose_at
from hospital.people.models import Carer
from hospital.procedures.models import Bandage, Closure, Implant, Procedure
from hospital.procedures.vocabulary import milestones, name_of, vocabulary

RECORDED = (
    "species", "hospital__closed_days", "procedures", "closures", "bandages__changes", "implants", "examinations",
    "milestones", "medication_orders", "outcome", "placements__carer__away", "pins", "holds", "rule_choices",
    "current_plan__plan",
)  # fmt: skip
LONGEST_HORIZON_DAYS = 400
ASSESSMENT = "release_assessment"
QUARANTINE = "quarantine"
# What a kind of procedure says about the wounds that were closed in it.
WOUND_TAGS = {
    "shell-repair": "shell_repair",
    "coeliotomy": "coelomic",
    "egg-removal": "coelomic",
    "limb-fixation": "limb_fixation",
}
# Implants that come out by a rule of their own, each by itself.
TEMPORARY = {"drain": "drain", "feeding-tube": "feeding_tube", "catheter": "catheter"}
FIXATORS = {"tie-in-fixator": "tie_in_fixator", "external-fixator": "external_fixator"}


def cases_of(patients: Iterable[Patient]) -> dict[int, Case]:
    """The case of each patient by its key, in a fixed number of queries however many there are.

    Each patient keeps what was read for it, and its `household` if it lives with a carer.
    """
    patients = list(patients)
    everyone = [*patients, *_company_of(patients)]
    prefetch_related_objects(everyone, *RECORDED)
    parents = dict(TaxonGroup.objects.values_list("slug", "parent"))
    looks = _bandage_reports(everyone)
    _introduce(everyone, looks)
    return {patient.pk: _case(patient, parents, looks[patient.pk]) for patient in patients}


def case_of(patient: Patient) -> Case:
    """The case of one patient, from rows read now: what was prefetched before is read again."""
    fresh = Patient.objects.select_related("hospital", "species").get(pk=patient.pk)
    return cases_of([fresh])[fresh.pk]


def setup_of(patient: Patient, today: date) -> Setup:
    """The days on which this patient's clinic is closed, and its carer away or coming with another animal anyway."""
    hospital = patient.hospital
    dates = frozenset(day.on for day in hospital.closed_days.all() if day.on >= today)
    closed = {CLINIC: Closed(frozenset(hospital.closed_weekdays), dates)}
    if spans := _away(patient, today):
        closed[CARER] = Closed(spans=spans)
    household = getattr(patient, "household", None)
    company = frozenset(day for day in household.days if day >= today) if household else frozenset()
    return Setup(today=today, closed=closed, company=company)


def _here(patient: Patient) -> Placement | None:
    return next((each for each in patient.placements.all() if each.ended_at is None), None)


def _away(patient: Patient, today: date) -> tuple[tuple[date, date], ...]:
    here = _here(patient)
    if here is None or here.carer is None:
        return ()
    return tuple((span.starts_on, span.ends_on) for span in here.carer.away.all() if span.ends_on >= today)


def _bandage_reports(patients: list[Patient]) -> dict[int, list[date]]:
    """Days on which carers said how a bandage looked."""
    found = Patient.objects.filter(pk__in=[p.pk for p in patients], logs__bandage__gt="").exclude(logs__bandage="none")
    days: dict[int, list[date]] = defaultdict(list)
    for patient_id, on in found.values_list("pk", "logs__on").distinct():
        days[patient_id].append(on)
    return days


def _case(patient: Patient, parents: Mapping[str, str | None], looks: list[date]) -> Case:
    holds = _latest_holds(patient)
    return Case(
        lineage=lineage_of(patient.species.group_id, parents),
        facts=tuple(_facts(patient, holds, looks)),
        pins=tuple(Pin(pin.event_id, pin.on) for pin in patient.pins.all() if pin.ended_at is None),
        holds=tuple(holds.values()),
        previous=previous_days(patient),
        is_southern=patient.hospital.is_southern,
        tags=frozenset(_case_tags(patient)),
        chosen=frozenset(choice.rule for choice in patient.rule_choices.all() if choice.ended_at is None),
    )


def previous_days(patient: Patient) -> dict[str, date]:
    """The days of the plan in force; nothing before the first one is published."""
    current = getattr(patient, "current_plan", None)
    days = current.plan.answer.get("days", {}) if current else {}
    return {event_id: date.fromisoformat(day) for event_id, day in days.items()}


def _latest_holds(patient: Patient) -> dict[str, Hold]:
    held = sorted((h for h in patient.holds.all() if h.ended_at is None), key=lambda h: (h.from_on, h.pk))
    return {h.event_id: Hold(h.event_id, h.from_on, h.not_before, h.reason) for h in held}


def _case_tags(patient: Patient) -> Iterator[str]:
    if patient.is_biosecurity_risk:
        yield QUARANTINE
    known = milestones()["case"]
    yield from (row.event for row in patient.milestones.all() if row.event in known)


# --- the carer's other animals ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Household:
    """The carer with whom an animal lives, the other animals that may come from there to the same clinic with it, and the
    days on which the carer has agreed to bring them."""

    carer: Carer
    others: list[Patient] = field(default_factory=list)
    days: dict[date, list[Patient]] = field(default_factory=dict)


def _company_of(patients: list[Patient]) -> list[Patient]:
    """The other animals in care that live with the carers of these."""
    carers = Placement.objects.open().filter(patient__in=[p.pk for p in patients], carer__isnull=False).values("carer")
    there = Placement.objects.open().filter(carer__in=carers).values("patient")
    others = Patient.objects.in_care().filter(pk__in=there).exclude(pk__in=[p.pk for p in patients])
    return list(others.select_related("hospital", "species").order_by("pk"))


def _introduce(patients: list[Patient], looks: Mapping[int, list[date]]) -> None:
    """Tell each animal at a carer's with whom it lives there, and on which days the carer comes with whom anyway.

    One that is to be kept apart shares no drive, and nobody shares one with it (common practice, no source).
    """
    housed: dict[tuple[int, int], list[Patient]] = defaultdict(list)
    for patient in patients:
        patient.household, here = None, _here(patient)
        if here and here.carer and patient.is_in_care:
            patient.household = Household(here.carer)
            if not patient.is_biosecurity_risk:
                housed[here.carer_id, patient.hospital_id].append(patient)
    for together in (animals for animals in housed.values() if len(animals) > 1):
        for animal in together:
            days = _agreed_visits(animal, looks[animal.pk])
            for other in (each for each in together if each.pk != animal.pk):
                other.household.others.append(animal)
                for day in days:
                    other.household.days.setdefault(day, []).append(animal)


def _agreed_visits(patient: Patient, looks: list[date]) -> frozenset[date]:
    """The days on which the carer is to bring the animal by the plan in force: a promise stands until it is kept, or
    until another plan is published.

    An animal whose records cannot be read promises nothing here; its own page tells what is wrong with it.
    """
    current = getattr(patient, "current_plan", None)
    if current is None:
        return frozenset()
    try:
        facts = list(_facts(patient, _latest_holds(patient), looks))
        return frozenset(_promised(current.plan.problem, current.plan.answer["days"], facts))
    except (LookupError, TypeError, ValueError):
        return frozenset()


def _promised(problem: Mapping, days: Mapping[str, str], facts: list[Fact]) -> Iterator[date]:
    """Days of the visits that nothing recorded since has kept; of several of a kind the first ones are kept first."""
    made_on = date.fromisoformat(problem["today"])
    known = {(event["id"], event["done"]) for event in problem["events"] if event.get("done")}
    fresh = [fact for fact in facts if fact.on >= made_on]
    fresh = [fact for fact in fresh if not any(_keeps(fact, name) for name, on in known if on == fact.on.isoformat())]
    for event in problem["events"]:
        if event["place"] != CLINIC or event.get("done") or event["id"].startswith(ASIDE):
            continue
        kept_by = next((fact for fact in fresh if _keeps(fact, event["id"])), None)
        if kept_by:
            fresh.remove(kept_by)
        else:
            yield date.fromisoformat(days[event["id"]])


def _keeps(fact: Fact, event_id: str) -> bool:
    """Whether a fact is what an event of a plan stands for, "event", "event:subject" or either with a link's number."""
    event, *parts = event_id.split(":")
    subject = next((part for part in parts if not part.isdecimal()), "")
    return fact.event == event and (not subject or fact.subject in ("", subject))


# --- facts --------------------------------------------------------------------------------------------------------


def _facts(patient: Patient, holds: Mapping[str, Hold], looks: list[date]) -> Iterator[Fact]:
    zone = ZoneInfo(patient.hospital.zone)
    yield Fact("admission", patient.admitted_at.astimezone(zone).date())
    yield from _procedures(patient)
    yield from _closures(patient)
    yield from _bandages(patient, looks)
    yield from _implants(patient)
    yield from _examinations(patient, holds)
    yield from _milestones(patient)
    yield from _courses(patient, zone)
    outcome = getattr(patient, "outcome", None)
    if outcome and outcome.kind == "released":
        yield Fact("release", outcome.happened_on)


def _procedures(patient: Patient) -> Iterator[Fact]:
    tags = _implant_tags(patient)
    for procedure in patient.procedures.all():
        kind = vocabulary().procedures.get(procedure.kind)
        anchors = (*(kind.anchors if kind else ()), *(["extubation"] if procedure.anaesthetic else []))
        label = procedure.site or name_of(vocabulary().procedures, procedure.kind).lower()
        for anchor in anchors:
            yield Fact(anchor, procedure.done_on, _subject(procedure), tags[procedure.pk], label)


def _implant_tags(patient: Patient) -> dict[int, frozenset[str]]:
    """By procedure: that something was left in that must come out, and which kind of fixator it is."""
    tags: dict[int, frozenset[str]] = defaultdict(frozenset)
    for implant in _lasting(patient):
        extra = {FIXATORS[implant.kind]} if implant.kind in FIXATORS else set()
        tags[implant.procedure_id] |= {"removable_implant", *extra}
    return tags


def _lasting(patient: Patient) -> list[Implant]:
    """Implants that must come out, without drains and tubes."""
    return [each for each in patient.implants.all() if each.must_come_out and each.kind not in TEMPORARY]


def _closures(patient: Patient) -> Iterator[Fact]:
    kinds = {procedure.pk: procedure.kind for procedure in patient.procedures.all()}
    for closure in patient.closures.all():
        subject, tags = _subject(closure), _closure_tags(closure, kinds, patient.bandages.all())
        yield Fact("wound_closure", closure.closed_on, subject, tags, closure.site)
        if closure.removed_on:
            yield Fact("suture_removal", closure.removed_on, subject, tags, closure.site)


def _closure_tags(closure: Closure, kinds: Mapping[int, str], bandages: Iterable[Bandage]) -> frozenset[str]:
    """What holds the wound, what operation closed it, and whether its limb is fixed by a bandage put on with it."""
    material = vocabulary().materials.get(closure.material)
    tags = set(material.tags if material else ())
    if kinds.get(closure.procedure_id) in WOUND_TAGS:
        tags.add(WOUND_TAGS[kinds[closure.procedure_id]])
    together = (b for b in bandages if b.procedure_id == closure.procedure_id)
    if any("limb_fixation" in _bandage_tags(bandage) for bandage in together):
        tags.add("limb_fixation")
    return frozenset(tags)


def _bandage_tags(bandage: Bandage) -> frozenset[str]:
    kind = vocabulary().bandages.get(bandage.kind)
    return kind.tags if kind else frozenset()


def _bandages(patient: Patient, looks: list[date]) -> Iterator[Fact]:
    for bandage in patient.bandages.all():
        kind = vocabulary().bandages.get(bandage.kind)
        anchors = kind.anchors if kind else ("bandage_applied",)
        about = {"subject": _subject(bandage), "tags": _bandage_tags(bandage), "label": bandage.site}
        yield from (Fact(anchor, bandage.applied_on, **about) for anchor in anchors)
        yield from (Fact("bandage_change", change.changed_on, **about) for change in bandage.changes.all())
        if bandage.removed_on and anchors:
            event = "splint_removal" if "splint_applied" in anchors else "bandage_removal"
            yield Fact(event, bandage.removed_on, **about)
    if first := _first_look(patient, looks):
        yield Fact("bandage_first_check", first)


def _first_look(patient: Patient, looks: list[date]) -> date | None:
    """The first day after the latest bandage went on on which somebody looked at it: carer, recheck or change."""
    bandages = list(patient.bandages.all())
    if not bandages:
        return None
    put_on = max(bandage.applied_on for bandage in bandages)
    days = [*looks, *(each.examined_on for each in patient.examinations.all())]
    for bandage in bandages:
        days += [change.changed_on for change in bandage.changes.all()]
        days += [bandage.removed_on] if bandage.removed_on else []
    return min((day for day in days if day > put_on), default=None)


def _implants(patient: Patient) -> Iterator[Fact]:
    """Drains and tubes one by one; of other implants the day on which the last one of an operation came out."""
    for implant in patient.implants.all():
        if implant.kind in TEMPORARY and implant.must_come_out:
            about = {"subject": _subject(implant), "tags": frozenset({TEMPORARY[implant.kind]}), "label": implant.site}
            yield Fact("surgery", implant.placed_on, **about)
            if implant.removed_on:
                yield Fact("implant_removal", implant.removed_on, **about)
    left: dict[int, list[Implant]] = defaultdict(list)
    for implant in _lasting(patient):
        left[implant.procedure_id].append(implant)
    for procedure_id, implants in left.items():
        if all(implant.removed_on for implant in implants):
            last_out = max(implant.removed_on for implant in implants if implant.removed_on)
            yield Fact("implant_removal", last_out, f"procedure-{procedure_id}", label=implants[-1].site)


def _examinations(patient: Patient, holds: Mapping[str, Hold]) -> Iterator[Fact]:
    """Rechecks. A release assessment is one too; it is passed unless a vet then said "not yet", which is a hold."""
    hold = holds.get(ASSESSMENT)
    for examination in patient.examinations.all():
        if examination.kind in ("recheck", ASSESSMENT):
            yield Fact("recheck", examination.examined_on)
        if examination.kind == ASSESSMENT and not (hold and hold.from_on >= examination.examined_on):
            yield Fact(ASSESSMENT, examination.examined_on)


def _milestones(patient: Patient) -> Iterator[Fact]:
    known = milestones()["case"]
    yield from (Fact(row.event, row.happened_on) for row in patient.milestones.all() if row.event not in known)


def _courses(patient: Patient, zone: ZoneInfo) -> Iterator[Fact]:
    """The last dose of each course, given or still to come. A course stopped before its first dose is none."""
    for order in patient.medication_orders.all():
        if order.stopped_on and order.stopped_on < order.first_dose_at.astimezone(zone).date():
            continue
        last = last_dose_at(order, zone.key).date()
        last = min(last, order.stopped_on) if order.stopped_on else last
        words = frozenset(re.findall(r"[a-z]+", order.drug.lower()))
        yield Fact("last_drug_dose", last, f"course-{order.pk}", words, order.drug)


def _subject(row: Procedure | Closure | Bandage | Implant) -> str:
    return f"{row._meta.model_name}-{row.pk}"
