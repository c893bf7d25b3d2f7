"""Rows → the contents of a pack: the plan in force, water foreseen, medicines that run, advice for its group of animals.

Only what a carer may know is read here: never the finder, where the animal was found, or where a carer lives.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from itertools import groupby
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from handover.facts import case_of
from handover.labels.care import water_minutes, water_reason
from handover.labels.changes import cause_in_words
from handover.labels.events import dated_label, name_of, plain_label
from handover.logs.flags import call_now
from handover.logs.water import water_of
from handover.packs.contents import (
    Animal,
    Appointment,
    Away,
    Contents,
    Difference,
    Dose,
    Feeding,
    Fluids,
    FluidStep,
    Medicine,
    Piece,
    Site,
    Task,
    Tip,
    Topic,
    Treatment,
    Water,
    WaterDay,
)
from handover.packs.differences import DAY, differences
from handover.packs.models import Pack
from handover.plans.models import Plan, PlannedDate
from handover.plans.queries import standings
from handover.protocols.models import Adoption, Advice, Kind
from handover.protocols.queries import advice_for, rules_in_force
from handover.schedule.case import Routine
from handover.schedule.changes import Cause
from handover.schedule.protocol import routines_for
from handover.schedule.watertime import Reason
from hospital.admissions.models import Patient, Placement
from hospital.feeding.models import FluidRoute
from hospital.feeding.queries import feeding_now, fluids_at_home
from hospital.feeding.wording import fluid_line, fluid_steps, meals_line
from hospital.medications.models import MedicationOrder, Route
from hospital.medications.queries import dose_due_at, is_running, orders_of
from hospital.medications.wording import dose_in_words, line, note, parts
from hospital.people.models import away_spans
from hospital.procedures.queries import bandages_on, implants_in
from hospital.procedures.vocabulary import name_of as term
from hospital.procedures.vocabulary import vocabulary
from hospital.procedures.wording import bandage_line, implant_line
from hospital.rules.doses import SYRINGES
from hospital.rules.wording import Part, Unit, body_weight, drug_name, quantity
from hospital.sites.models import Hospital, closed_dates
from hospital.words import IN_ENGLISH, is_english, language, said, species_name, tongue

DAYS_IN_DETAIL = 14
HEAVY_G = 5000  # from here on two people lift: common practice, no source
# What the plan foresees at home, but the hospital must allow on the day.
ASK_FIRST = frozenset({"full_water", "dry_dock_end", "quarantine_end", "cage_rest_end", "conditioning_start"})
NEEDLES = frozenset({Route.UNDER_SKIN, Route.MUSCLE, Route.VEIN, Route.BODY_CAVITY})


def contents_of(patient: Patient, plan: Plan, *, today: date, before: Pack | None = None) -> Contents:
    """What a pack made today says, and what in it differs from `before`, the pack that this carer has now."""
    placement = patient.open_placement()
    standing = standings([patient], today)[patient.pk]
    dates = list(plan.dates.all())
    appointments = tuple(_appointments(plan, dates, {*standing.done, *standing.gone}))
    visit = min((each.on for each in appointments if each.at_clinic and each.on > today), default=None)
    medicines = tuple(_medicines(patient, today))
    water = _water(patient, today)
    contents = Contents(
        made_on=today,
        valid_until=min(visit or date.max, today + timedelta(DAYS_IN_DETAIL - 1)),
        next_visit_on=visit,
        plan_version=plan.version,
        site=_site(patient.hospital),
        animal=_animal(patient),
        carer=str(placement.carer) if placement and placement.carer else "",
        treatments=tuple(_treatments(patient)),
        appointments=appointments,
        done=tuple(sorted({*standing.done, *(row.event_id for row in dates if row.done_on)})),
        tasks=tuple(_tasks(patient, today)),
        water=water,
        medicines=medicines,
        advice=tuple(_advice(patient)),
        cautions=tuple(_cautions(patient, medicines, water)),
        closed_weekdays=tuple(patient.hospital.closed_weekdays),
        closed_days=tuple(closed_dates(patient.hospital, today)),
        away=_away(placement, today),
        has_bandage=patient.bandages.filter(removed_on=None).exists(),
        flags=_flags(patient, has_water=water is not None),
        feeding=_feeding(patient),
        fluids=_fluids(patient, today),
        worn=tuple(map(bandage_line, bandages_on(patient))) + tuple(map(implant_line, implants_in(patient))),
        language=language(),
    )
    contents = _compared(contents, before, patient) if before else contents
    return replace(contents, lines_in_english=json.dumps(contents.to_json()).count(IN_ENGLISH))


def _compared(contents: Contents, before: Pack, patient: Patient) -> Contents:
    old = Contents.from_json(before.contents)
    return replace(contents, has_pack_before=True, changes=_changes(old, contents, before, patient))


def _changes(old: Contents, new: Contents, before: Pack, patient: Patient) -> tuple[Difference, ...]:
    return differences(old, new, _reasons(patient, old.plan_version))


def _reasons(patient: Patient, since_version: int) -> dict[str, str]:
    """By event: why plans after that version moved it, the newest plan's words last."""
    reasons: dict[str, str] = {}
    for published in patient.plans.filter(version__gt=since_version).order_by("version"):
        for change in published.changes:
            reasons[change["event_id"]] = " ".join(_cause(cause) for cause in change["causes"])
    return reasons


def _cause(kept: Mapping) -> str:
    what = kept["what"] if is_english() else plain_label(kept["event_id"])
    return cause_in_words(Cause.from_json(kept), {kept["event_id"]: what}, DAY)


# --- who and where ------------------------------------------------------------------------------------------------


def _site(hospital: Hospital) -> Site:
    return Site(hospital.name, hospital.phone, hospital.night_phone, said(hospital.clinic_hours), hospital.address)


def _animal(patient: Patient) -> Animal:
    weight, photo = patient.latest_weight(), patient.latest_photo()
    zone = ZoneInfo(patient.hospital.zone)
    return Animal(
        case_number=patient.case_number,
        name=patient.name,
        species=species_name(patient.species.scientific_name, patient.species.common_name),
        latin=patient.species.scientific_name,
        sex=patient.get_sex_display(),
        life_stage=patient.get_life_stage_display(),
        marks=tuple(f"{mark.get_kind_display()} {mark.value}" for mark in patient.identifications.order_by("pk")),
        weight=body_weight(weight.weight_g, tongue()) if weight else "",
        weighed_on=weight.weighed_at.astimezone(zone).date() if weight else None,
        photo=str(photo.key) if photo else "",
    )


def _treatments(patient: Patient) -> Iterator[Treatment]:
    for row in patient.procedures.order_by("done_on", "pk"):
        kind = said(term(vocabulary().procedures, row.kind))
        yield Treatment(f"{kind} · {said(row.site)}" if row.site else kind, row.done_on)


def _away(placement: Placement | None, today: date) -> tuple[Away, ...]:
    if placement is None or placement.carer is None:
        return ()
    return tuple(Away(*span) for span in away_spans(placement.carer, today))


# --- the plan -----------------------------------------------------------------------------------------------------


def _appointments(plan: Plan, dates: Iterable[PlannedDate], settled: set[str]) -> Iterator[Appointment]:
    notes = _instructions(plan)
    for row in dates:
        if row.done_on is None and row.event_id not in settled:
            yield _appointment(row, notes.get(row.event_id, ""))


def _appointment(row: PlannedDate, instruction: str) -> Appointment:
    name, at_clinic = name_of(row.event), row.place == "clinic"
    what = name.what.partition(". ")[0].rstrip(".")
    asks = not at_clinic and row.event in ASK_FIRST
    return Appointment(
        event_id=row.event_id,
        what=_("%(what)s (ask us first)") % {"what": name.label} if asks else name.label,
        about=said(row.subject),
        on=row.on,
        at_clinic=at_clinic,
        minutes=name.minutes if at_clinic else 0,
        bring=name.bring if at_clinic else "",
        note=(said(instruction) if instruction and not at_clinic else f"{what}." if what else ""),
    )


def _instructions(plan: Plan) -> dict[str, str]:
    """By event: the instruction of the rule that the plan was made with. A lag is named "rule@event"."""
    rows = Adoption.objects.filter(pk__in=plan.adoptions, kind=Kind.RULE).values_list("slug", "content")
    said = {slug: content.get("instruction", "") for slug, content in rows}
    return {lag["to"]: said[rule] for lag in plan.problem["lags"] if (rule := lag["id"].partition("@")[0]) in said}


def _tasks(patient: Patient, today: date) -> Iterator[Task]:
    """Routines at home; one that is asked for by two wounds is one task."""
    case = case_of(patient)
    routines = routines_for(case, rules_in_force(patient.hospital), today, case.previous)
    found: dict[str, list[Routine]] = defaultdict(list)
    for routine in routines:
        found[routine.rule.event].append(routine)
    for event, same in found.items():
        longest = max(same, key=lambda each: each.until or date.max)
        about = same[0].label if len(same) == 1 else ""
        note = " ".join(dict.fromkeys(said(each.rule.instruction) for each in same if each.rule.instruction))
        every_days = min(each.rule.usual_days or 1 for each in same)
        yield Task(dated_label(event, about, ""), note, max(1, every_days), longest.since, longest.until)


# --- water --------------------------------------------------------------------------------------------------------


def _water(patient: Patient, today: date) -> Water | None:
    """The days of this pack, every coming day taken to be clean; None for animals without a water protocol.

    What the hospital has still to decide (the opening event) is never taken for granted on paper.
    """
    water = water_of(patient)
    if water is None:
        return None
    days = replace(water, expected_on=None).forecast(today, today, today + timedelta(DAYS_IN_DETAIL - 1))
    return Water(
        days=tuple(WaterDay(d.on, d.minutes, d.step, water_minutes(d), water_reason(d, DAY)) for d in days),
        ladder=water.protocol.ladder,
        note=said(water.protocol.instruction),
        is_stopped=days[0].why is Reason.STOPPED,
    )


# --- medicines ----------------------------------------------------------------------------------------------------


def _medicines(patient: Patient, today: date) -> Iterator[Medicine]:
    zone = patient.hospital.zone
    for order in orders_of(patient):
        doses = tuple(_doses(order, today, zone)) if is_running(order, today, zone) else ()
        if doses:
            yield _medicine(order, doses)


def _medicine(order: MedicationOrder, doses: tuple[Dose, ...]) -> Medicine:
    step = next((each.graduation_ml for each in SYRINGES if each.capacity_ml == order.syringe_ml), None)
    return Medicine(
        order_id=order.pk,
        drug=drug_name(order.drug),
        line=line(order),
        pieces=tuple(Piece(str(part), text, part.is_bold) for part, text in parts(order) if part is not Part.NOTE),
        dose=dose_in_words(order),
        volume=quantity(order.volume_ml, Unit.ML, tongue()),
        volume_ml=_decimal(order.volume_ml),
        syringe_ml=_decimal(order.syringe_ml),
        graduation_ml=_decimal(step) if step else "",
        is_injection=order.route in NEEDLES,
        times=tuple(sorted({dose.at for dose in doses})),
        doses=doses,
        count=order.doses,
        note=note(order),
    )


def _decimal(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _doses(order: MedicationOrder, today: date, zone: str) -> Iterator[Dose]:
    """Doses from today on that nothing was written down for."""
    written = len(order.doses_given.all())
    for number in range(written, order.doses):
        at = dose_due_at(order, number, zone)
        if at.date() >= today:
            yield Dose(number + 1, at.date(), f"{at:%H:%M}")


# --- food and fluids ----------------------------------------------------------------------------------------------


def _feeding(patient: Patient) -> Feeding | None:
    plan = feeding_now(patient)
    return Feeding(said(plan.food), meals_line(plan), said(plan.note), plan.pk) if plan else None


def _fluids(patient: Patient, today: date) -> Fluids | None:
    """Only what a vet left to the carer, without what was over before today."""
    plan = fluids_at_home(patient)
    if plan is None:
        return None
    zone = patient.hospital.zone
    midnight = datetime.combine(today, time.min, ZoneInfo(zone))
    steps = tuple(FluidStep(when, what) for when, what in fluid_steps(plan, zone, f"{DAY}, H:i", since=midnight))
    return Fluids(fluid_line(plan), steps, said(plan.note), plan.route == FluidRoute.UNDER_SKIN, plan.pk)


def _flags(patient: Patient, *, has_water: bool) -> tuple[str, ...]:
    has_bandage = patient.bandages.filter(removed_on=None).exists()
    return tuple(call_now(patient.species.group.lineage(), has_water=has_water, has_bandage=has_bandage))


# --- advice -------------------------------------------------------------------------------------------------------


def _advice(patient: Patient) -> Iterator[Topic]:
    rows = advice_for(patient.species.group.lineage())
    for topic, of_topic in groupby(rows, key=lambda each: each.topic):
        tips = tuple(Tip(said(each.text), each.icon) for each in of_topic)
        yield Topic(str(topic), str(Advice.Topic(topic).label), tips)


def _cautions(patient: Patient, medicines: Iterable[Medicine], water: Water | None) -> Iterator[str]:
    """Kinds of templates/_caution.html; each is shown where its hazard is."""
    lineage, weight = patient.species.group.lineage(), patient.latest_weight()
    kind = patient.species.caution_kind or ("bat" if "bat" in lineage else "")
    yield "zoonosis"
    if kind in ("bat", "venom"):
        yield kind
    if kind != "bat" and "amphibian" not in lineage:
        yield "bite"
    if weight and weight.weight_g >= HEAVY_G:
        yield "lifting"
    if medicines:
        yield "drug"
    if any(medicine.is_injection for medicine in medicines):
        yield "sharps"
    if water:
        yield "water"


def nothing_to_print(patient: Patient) -> str:
    """Why there can be no pack yet, in a sentence; empty when there can."""
    if patient.closed_on:
        return _("This case is closed. A pack is for an animal in care.")
    if getattr(patient, "current_plan", None) is None:
        return _("No plan is in force. Publish the plan first; the pack is printed from it.")
    return ""
