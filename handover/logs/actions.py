"""Receiving reports: the same one twice counts once, and nothing that a carer saw is ever turned away for its clock."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from handover.logs.models import Activity, BandageState, Droppings, Eaten, LogEntry, LogSeen
from handover.logs.queries import ATE, ever_held, held_at, last_fed_on
from handover.logs.water import signs_of, water_of
from handover.plans.models import WaterDecision
from handover.schedule.answers import Answer, Call, Cause, Feedback, Report, feedback, unfed_limit
from handover.schedule.watertime import Allowance, Sign
from hospital.admissions.actions import UNLIKELY_FACTOR, record_weight
from hospital.admissions.days import locked, refuse_day
from hospital.admissions.models import Patient, Placement
from hospital.clock import now, today
from hospital.edits import EditCollision
from hospital.mail.actions import write
from hospital.medications.actions import give_dose
from hospital.medications.models import DoseGiven
from hospital.people.models import STAFF, Person
from hospital.procedures.actions import take_bandage_off
from hospital.procedures.models import Bandage
from hospital.rules.weights import Weighing, alarm_for, standing

CLOCKS_MAY_DIFFER = timedelta(minutes=10)
UNDO_FOR = timedelta(minutes=1)
GIVEN = frozenset({DoseGiven.Kind.GIVEN})


class KeyUsed(Exception):
    """This key came before with other words: what is stored stays, and the new words are not lost on the page."""

    sentence = _("This report was stored before with other words. What is stored stays; send a correction instead.")

    def __init__(self, stored: LogEntry):
        super().__init__(str(self.sentence))
        self.stored = stored


@dataclass(frozen=True, slots=True)
class Received:
    entry: LogEntry
    is_new: bool


def receive(
    patient: Patient,
    *,
    by: Person,
    key: UUID,
    made_at: datetime,
    on: date,
    sent_at: datetime | None = None,
    water_minutes: int | None = None,
    eaten: str = "",
    food: str = "",
    weight_g: Decimal | None = None,
    droppings: str = "",
    bandage: str = "",
    activity: str = "",
    signs: Sequence[str] = (),
    happened: Sequence[str] = (),
    doses: Sequence[Mapping[str, Any]] = (),
    worries: str = "",
    photo: bytes | None = None,
    corrects: UUID | None = None,
    is_by_code: bool = False,
    is_from_paper: bool = False,
) -> Received:
    """Store a report with the weight and the doses in it, and work out what its author is told.

    The same key with the same content is answered again and writes nothing; with other content it raises KeyUsed. Refuses a
    day to come, a day before the animal was there, and a carer who did not have it at `made_at`. `is_by_code`: whoever holds the
    paper wrote it, and `by` is who has the animal.
    """
    said = {
        "on": on, "made_at": made_at, "water_minutes": water_minutes, "eaten": eaten, "food": food, "weight_g": weight_g,
        "droppings": droppings, "bandage": bandage, "activity": activity, "signs": sorted(signs),
        "happened": sorted(happened), "doses": list(doses), "worries": worries,
    }  # fmt: skip
    payload = _payload_hash(patient, by, said, photo, corrects)
    if stored := LogEntry.objects.filter(key=key).first():
        return _again(stored, payload)
    try:
        with transaction.atomic():
            return _store(patient, by, key, payload, said | {"is_from_paper": is_from_paper}, sent_at, photo, corrects, is_by_code)
    except IntegrityError:  # the other of two that came at once was quicker
        stored = LogEntry.objects.filter(key=key).first()
        if stored is None:
            raise
        return _again(stored, payload)


class WeekRefused(Exception):
    """Days of a paper log that cannot be stored, each with its reason. None of the others is stored either."""

    def __init__(self, by_day: Mapping[date, ValidationError]):
        super().__init__()
        self.by_day = by_day


@transaction.atomic
def copy_week(patient: Patient, *, by: Person, days: Iterable[Mapping[str, Any]]) -> list[Received]:
    """Store the days of a paper log as `receive` stores a report, all of them or none; a day that is logged already is refused."""
    patient = _held(patient)
    stored: list[Received] = []
    refused: dict[date, ValidationError] = {}
    for said in sorted(days, key=lambda each: each["on"]):
        try:
            _refuse_logged_day(patient, said["on"], said["key"])
            stored.append(receive(patient, by=by, is_from_paper=True, **said))
        except ValidationError as refusal:
            refused[said["on"]] = refusal
        except KeyUsed as used:
            refused[said["on"]] = ValidationError(str(used.sentence))
    if refused:
        raise WeekRefused(refused)
    return stored


def _refuse_logged_day(patient: Patient, on: date, key: UUID) -> None:
    if LogEntry.objects.filter(patient=patient, on=on).exclude(key=key).exists():
        raise ValidationError(_("This day was logged meanwhile. Read it under Reports, and correct it there if the paper says otherwise."))


def _payload_hash(patient: Patient, by: Person, said: Mapping[str, Any], photo: bytes | None, corrects: UUID | None) -> str:
    content = {**said, "patient": patient.pk, "by": by.pk, "corrects": corrects}
    content["weight_g"] = str(said["weight_g"].normalize()) if said["weight_g"] is not None else None
    content["made_at"] = said["made_at"].timestamp()
    content["photo"] = hashlib.sha256(photo).hexdigest() if photo else None
    return hashlib.sha256(json.dumps(content, sort_keys=True, default=str).encode()).hexdigest()


def _again(stored: LogEntry, payload: str) -> Received:
    if stored.payload_hash != payload:
        raise KeyUsed(stored)
    return Received(stored, is_new=False)


def _store(
    patient: Patient,
    by: Person,
    key: UUID,
    payload: str,
    said: dict[str, Any],
    sent_at: datetime | None,
    photo: bytes | None,
    corrects: UUID | None,
    is_by_code: bool,
) -> Received:
    patient = _held(patient)
    if stored := LogEntry.objects.filter(key=key).first():
        return _again(stored, payload)
    received_at = now()
    placement, flags = _placement(patient, by, said["made_at"], received_at)
    _refuse_bad_day(patient, said["on"], None if _is_staff(patient, by) else placement)
    first = _first(patient, corrects)
    flags += _clock_flag(sent_at, said["made_at"], received_at)
    entry = LogEntry(
        key=key, payload_hash=payload, patient=patient, placement=placement, author=by, received_at=received_at,
        corrects=first, is_by_code=is_by_code, **said,
    )  # fmt: skip
    answer, more = _answer(patient, entry)
    flags += more + _write_doses(patient, entry, by)
    entry.answer = answer.answer
    entry.reasons = [*(_cause_json(cause) for cause in answer.causes), *flags]
    entry.is_worrying = answer.answer == Answer.PHONE_NOW or answer.phone_today or bool(entry.worries) or _needs_a_look(flags)
    if photo:
        entry.photo = ContentFile(photo, name=f"{key}.jpg")
    entry.full_clean(exclude=["photo", "key"])
    entry.save()
    return Received(entry, is_new=True)


def _held(patient: Patient) -> Patient:
    """The patient's row, held until the transaction ends; a report is kept for a closed case too."""
    rows = Patient.objects.select_for_update(of=("self",)).select_related("hospital", "species__group")
    return rows.get(pk=patient.pk)


# --- who, and which day -------------------------------------------------------------------------------------------


def _is_staff(patient: Patient, by: Person) -> bool:
    return by.memberships.filter(hospital=patient.hospital_id, role__in=STAFF).exists()


def _placement(patient: Patient, by: Person, made_at: datetime, received_at: datetime) -> tuple[Placement | None, list[dict]]:
    """Where the animal was. Somebody's open placement counts whatever the device's clock says."""
    here = patient.open_placement()
    if _is_staff(patient, by) or (here and here.carer and here.carer.person_id == by.pk):
        return here, []
    then = held_at(patient, by, made_at)
    if then is None:
        ended = _("The animal was not with you any more when this was written. Phone the hospital.")
        raise ValidationError(ended if ever_held(patient, by) else _("This animal is not placed with you."))
    return then, [{"flag": "late", "hours": int((received_at - made_at).total_seconds() // 3600)}]


def _refuse_bad_day(patient: Patient, on: date, placement: Placement | None) -> None:
    refuse_day(patient, on, field="on")
    if placement and on < placement.started_at.astimezone(ZoneInfo(patient.hospital.zone)).date():
        raise ValidationError({"on": _("This is before the animal came to you.")})


def _first(patient: Patient, corrects: UUID | None) -> LogEntry | None:
    """The report that a chain of corrections began with."""
    if corrects is None:
        return None
    found = patient.logs.filter(key=corrects).select_related("corrects").first()
    if found is None:
        raise ValidationError(_("The report to correct is not there. Write a new one."))
    return found.corrects or found


def _clock_flag(sent_at: datetime | None, made_at: datetime, received_at: datetime) -> list[dict]:
    """How far the device's clock is from ours: by the moment of sending, or by a report from the future."""
    ahead = (sent_at or max(made_at, received_at)) - received_at
    return [{"flag": "clock", "minutes": round(ahead.total_seconds() / 60)}] if abs(ahead) > CLOCKS_MAY_DIFFER else []


def _needs_a_look(flags: Iterable[Mapping[str, Any]]) -> bool:
    return any(flag["flag"] != "clock" for flag in flags)


def _moment(entry: LogEntry) -> datetime:
    """When it happened: as written, or the noon of an earlier day that is told later; never in the future."""
    zone = ZoneInfo(entry.patient.hospital.zone)
    made_at = min(entry.made_at, entry.received_at)
    if made_at.astimezone(zone).date() == entry.on:
        return made_at
    return min(datetime(entry.on.year, entry.on.month, entry.on.day, 12, tzinfo=zone), entry.received_at)


# --- what the author is told --------------------------------------------------------------------------------------


def _answer(patient: Patient, entry: LogEntry) -> tuple[Feedback, list[dict]]:
    """The answer to the whole day: this report with the others of its day."""
    others = _others(patient, entry)
    signs, more = _signs(patient, entry, others), [*others, entry]
    weight, flags = _weigh(patient, entry)
    report = Report(
        signs=signs,
        water_minutes=_summed(each.water_minutes for each in more),
        unfed_hours=_unfed_hours(patient, entry, more),
        has_blood_in_droppings=any(each.droppings == Droppings.BLOODY for each in more),
        is_quieter=entry.activity == Activity.QUIET,
        doses_not_taken=sum(dose["kind"] not in GIVEN for each in more for dose in each.doses),
        is_carer_hurt="carer_hurt" in entry.happened,
        has_escaped="escaped" in entry.happened,
        has_died="died" in entry.happened,
        **weight,
    )
    limit = unfed_limit(patient.species.group.lineage())
    return feedback(report, allowance=_promised(patient, entry), unfed=limit), flags


def _others(patient: Patient, entry: LogEntry) -> list[LogEntry]:
    """The day's other reports that stand, without the one that this corrects."""
    standing_ones = LogEntry.objects.filter(patient=patient, on=entry.on).counting()
    if entry.corrects is None:
        return list(standing_ones)
    return [each for each in standing_ones if entry.corrects_id not in (each.pk, each.corrects_id)]


def _signs(patient: Patient, entry: LogEntry, others: Iterable[LogEntry]) -> frozenset[Sign]:
    """The signs of the day. A severe one that was taken back stays until the hospital has looked."""
    found = _of(entry).union(*(_of(each) for each in others))
    chain = [entry.corrects, *entry.corrects.corrections.all()] if entry.corrects else []
    unseen = [each for each in chain if each.on == entry.on and not hasattr(each, "seen")]
    return found | {sign for each in unseen for sign in _of(each) if sign.is_severe}


def _of(entry: LogEntry) -> frozenset[Sign]:
    return signs_of(entry.signs, entry.bandage, entry.activity)


def _promised(patient: Patient, entry: LogEntry) -> Allowance | None:
    """What the day's page had promised before anything was reported for the day."""
    water = water_of(patient)
    return water.without(entry.on).on(entry.on) if water else None


def _summed(minutes: Iterable[int | None]) -> int | None:
    said = [each for each in minutes if each is not None]
    return sum(said) if said else None


def _unfed_hours(patient: Patient, entry: LogEntry, of_the_day: Iterable[LogEntry]) -> int | None:
    """Whole days since it last ate, in hours; None when it ate today or nothing was said of refusing."""
    if entry.eaten != Eaten.NONE or any(each.eaten in ATE for each in of_the_day):
        return None
    return (entry.on - last_fed_on(patient, entry.placement, entry.on)).days * 24


def _weigh(patient: Patient, entry: LogEntry) -> tuple[dict[str, Any], list[dict]]:
    """Write the weight down and say how it stands; one that is hard to believe stays in the report only."""
    if entry.weight_g is None:
        return {}, []
    zone, last = ZoneInfo(patient.hospital.zone), patient.latest_weight()
    if last and not last.weight_g / UNLIKELY_FACTOR < entry.weight_g < last.weight_g * UNLIKELY_FACTOR:
        return {"doubtful_weight_g": entry.weight_g, "last_weight_g": last.weight_g}, []
    at = _moment(entry)
    weighing = {"now": now(), "weight_g": entry.weight_g, "weighed_at": at, "is_sure": True, "note": _by_code(entry)}
    flags = _noting(lambda: record_weight(patient, by=entry.author, **weighing), "weight")
    rows = [*patient.weights.values_list("weighed_at", "weight_g"), *([(at, entry.weight_g)] if flags else [])]
    weighings = [Weighing(each.astimezone(zone).date(), grams) for each, grams in rows if each <= at]
    stands = standing(weighings, alarm_for(patient.species.group.lineage()))
    return {"weight_call": Call(stands.level), "weight_loss_percent": round(stands.loss_percent, 1)}, flags


def _by_code(entry: LogEntry) -> str:
    """What stands beside a weight or a dose that nobody who is known wrote."""
    return _("by animal code") if entry.is_by_code else ""


def _noting(action, what: str) -> list[dict]:
    """Do it; a refusal becomes a flag for the hospital, because the report itself is kept whatever happens."""
    try:
        action()
    except ValidationError as refusal:
        return [{"flag": what, "words": " ".join(refusal.messages)}]
    return []


def _write_doses(patient: Patient, entry: LogEntry, by: Person) -> list[dict]:
    orders = patient.medication_orders.in_bulk([dose["order"] for dose in entry.doses])
    flags = []
    for dose in entry.doses:
        order = orders.get(dose["order"])
        if order is None:
            flags.append({"flag": "dose", "words": _("The medicine of a dose is not on this animal's record.")})
            continue
        due_at = datetime.fromisoformat(dose["due_at"]) if dose.get("due_at") else entry.received_at
        at = min(due_at, _moment(entry)) if due_at.astimezone(ZoneInfo(patient.hospital.zone)).date() == entry.on else _moment(entry)
        said = {"by": by, "kind": dose["kind"], "given_at": at, "note": _by_code(entry), "is_from_stock": False}
        flags += _noting(lambda order=order, said=said: give_dose(order, **said), "dose")
    return flags


def _cause_json(cause: Cause) -> dict[str, Any]:
    plain = {"why": str(cause.why), "signs": sorted(str(sign) for sign in cause.signs)}
    numbers = {"figure": cause.figure, "limit": cause.limit}
    return plain | {name: str(value) for name, value in numbers.items() if value is not None}


# --- the hospital's side ------------------------------------------------------------------------------------------


@transaction.atomic
def see(entry: LogEntry, *, by: Person, note: str = "") -> LogSeen:
    """Somebody has read a worrying report, and may say what was done. The first to say so stays named."""
    LogEntry.objects.select_for_update(of=("self",)).get(pk=entry.pk)
    before = LogSeen.objects.filter(entry=entry).first()
    if before and before.seen_by_id != by.pk and note:
        raise EditCollision(before)
    seen = before or LogSeen(entry=entry, seen_by=by, seen_at=now(), note=note)
    if before is None:
        seen.full_clean()
        seen.save()
        _thank(seen)
    return seen


def _thank(seen: LogSeen) -> None:
    """The carer who wrote hears who has seen it, when it can no longer be undone."""
    entry, hospital = seen.entry, seen.entry.patient.hospital
    if not _is_staff(entry.patient, entry.author):
        write("seen", seen.pk, hospital=hospital, to=entry.author, facts={"seen": seen.pk}, not_before=seen.seen_at + UNDO_FOR)


@transaction.atomic
def unsee(entry: LogEntry, *, by: Person) -> None:
    """Take one's own "seen" back within a minute: the report waits again, and goes to the next person."""
    seen = LogSeen.objects.select_for_update().filter(entry=entry, seen_by=by).first()
    if seen is None or now() - seen.seen_at > UNDO_FOR:
        raise ValidationError(_("The minute for undoing is over. Look after the animal yourself, or tell a colleague."))
    seen.delete()


@transaction.atomic
def take_bandage_as_lost(entry: LogEntry, *, by: Person, bandage_id: int) -> Bandage:
    """What a carer reported becomes a fact: this bandage came off on the day of the report. The report is seen with it.

    The plan drops what was due for it and asks for what its loss asks for; a new bandage is recorded when it goes on.
    """
    if entry.bandage != BandageState.LOST:
        raise ValidationError(_("This report does not say that a bandage is off."))
    bandage = entry.patient.bandages.filter(pk=bandage_id).first()
    if bandage is None:
        raise ValidationError(_("This bandage is not on the animal’s record any more."))
    off = take_bandage_off(bandage, removed_on=entry.on)
    if not LogSeen.objects.filter(entry=entry).exists():
        see(entry, by=by, note=_("Recorded: the bandage is off."))
    return off


@transaction.atomic
def set_step(patient: Patient, *, by: Person, on: date, step: int, reason: str) -> WaterDecision:
    """A vet puts the animal on a step of its ladder from a day on; 0 is dry."""
    return _decide(patient, WaterDecision.Kind.STEP, by=by, on=on, step=step, reason=reason)


@transaction.atomic
def clear(patient: Patient, *, by: Person, on: date, step: int, reason: str) -> WaterDecision:
    """A vet ends a stop after a severe sign: water again from a day on, beginning at a step."""
    return _decide(patient, WaterDecision.Kind.CLEARED, by=by, on=on, step=step, reason=reason)


def _decide(patient: Patient, kind: str, *, by: Person, on: date, step: int, reason: str) -> WaterDecision:
    patient = locked(patient)
    water, day = water_of(patient), today(patient.hospital.zone)
    if water is None:
        raise ValidationError(_("No water protocol in force speaks about this animal."))
    if on < day:
        raise ValidationError({"on": _("This day is over. Choose today or a day to come.")})
    if step > water.protocol.last_step:
        raise ValidationError({"step": _("The ladder ends at step %(last)d.") % {"last": water.protocol.last_step}})
    if kind == WaterDecision.Kind.CLEARED and water.on(day).why != "stopped":
        raise ValidationError(_("The water is not stopped. Set the step instead."))
    decision = WaterDecision(patient=patient, kind=kind, on=on, step=step, reason=reason, decided_by=by, decided_at=now())
    decision.full_clean()
    decision.save()
    return decision

