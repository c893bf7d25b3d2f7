"""Begin a clutch, write down laying, move, candle, lose and hatch eggs; keep incubators and their readings.

A clutch goes on after its dam's case is closed: its own row is held, not hers.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.actions import admit
from hospital.admissions.days import locked, refuse_before, refuse_day
from hospital.admissions.models import Cause, LifeStage, Patient, Triage
from hospital.clock import now, today
from hospital.clutches.models import (
    MOST_EGGS,
    CandledEgg,
    Candling,
    Clutch,
    Egg,
    EggWeight,
    Incubator,
    Induction,
    Reading,
    SetAside,
    Stay,
)
from hospital.clutches.queries import orders_to_tie
from hospital.edits import refuse_unseen, save_edit
from hospital.medications.models import MedicationOrder
from hospital.people.models import Person
from hospital.procedures.actions import record_milestone
from hospital.procedures.queries import is_vet
from hospital.rules.logfile import Row
from hospital.sites.models import Hospital

HATCHED_IN_CARE = "hatched-in-care"


def _checked(row: Any) -> Any:
    row.full_clean()
    row.save()
    return row


def _held(clutch: Clutch) -> Clutch:
    """The clutch's row, held until the transaction ends, so that two people never end one egg."""
    rows = Clutch.objects.select_for_update(of=("self",)).select_related("patient__hospital", "patient__species__group")
    return rows.get(pk=clutch.pk)


def _local_day(patient: Patient, moment: datetime) -> date:
    return moment.astimezone(ZoneInfo(patient.hospital.zone)).date()


def _refuse_moment(patient: Patient, moment: datetime | None, *, field: str) -> None:
    if moment is None:
        return
    if moment > now():
        raise ValidationError({field: _("This is in the future. Give the moment at which it happened.")})
    refuse_day(patient, _local_day(patient, moment), field=field)


def _reach(patient: Patient, *, by: Person, event: str, on: date, note: str = "") -> None:
    """What the care plan counts from, written once a day, as long as the case is open."""
    if patient.is_in_care and not patient.milestones.filter(event=event, happened_on=on).exists():
        record_milestone(patient, by=by, event=event, happened_on=on, note=note)


# --- a clutch -----------------------------------------------------------------------------------------------------


@transaction.atomic
def begin_clutch(
    patient: Patient, *, by: Person, imaged_on: date | None, imaged_eggs: int | None, is_way_clear: bool, note: str = ""
) -> Clutch:
    """Open a clutch: eggs were seen on an image, or have been laid already."""
    patient = locked(patient)
    if imaged_on:
        refuse_day(patient, imaged_on, field="imaged_on")
    clutch = Clutch(patient=patient, imaged_on=imaged_on, imaged_eggs=imaged_eggs, note=note, begun_by=by, begun_at=now())
    _judge_way(clutch, is_way_clear, by)
    return _checked(clutch)


@transaction.atomic
def edit_clutch(clutch: Clutch, *, by: Person, seen_version: int, is_way_clear: bool, **fields: Any) -> Clutch:
    """Correct what is known of a clutch, or write down in how many days its eggs should hatch."""
    for name, value in fields.items():
        setattr(clutch, name, value)
    if fields.get("imaged_on"):
        refuse_day(clutch.patient, fields["imaged_on"], field="imaged_on")
    _judge_way(clutch, is_way_clear, by)
    return save_edit(clutch, seen_version=seen_version)


def _judge_way(clutch: Clutch, is_way_clear: bool, by: Person) -> None:
    if is_way_clear and not clutch.is_way_clear and not is_vet(by, clutch.patient):
        raise ValidationError({"is_way_clear": _("Whether the way is clear is a vet’s judgement.")})
    if is_way_clear and not clutch.imaged_on:
        raise ValidationError({"imaged_on": _("Give the day of the image on which this was seen.")})
    clutch.is_way_clear = is_way_clear


@transaction.atomic
def tie_induction(clutch: Clutch, *, by: Person, order: MedicationOrder) -> Induction:
    """Say that an order of medicine is meant to bring these eggs. What may be given is decided with the order, never here."""
    clutch = _held(clutch)
    if not (clutch.imaged_on and clutch.is_way_clear):
        raise ValidationError(_("First a vet says that an image shows eggs and that nothing blocks the way."))
    if not orders_to_tie(clutch).filter(pk=order.pk).exists():
        raise ValidationError({"order": _("This order was stopped, or belongs to a clutch already.")})
    return _checked(Induction(patient=clutch.patient, clutch=clutch, order=order, tied_by=by, tied_at=now()))


@transaction.atomic
def record_laying(
    clutch: Clutch, *, by: Person, seen_version: int, laid_from: datetime, laid_until: datetime | None, eggs: int, is_top_marked: bool,
    incubator: Incubator | None = None,
) -> Clutch:  # fmt: skip
    """Eggs are laid. Called again it adds the eggs that came later; their numbers go on."""
    clutch = _held(clutch)
    refuse_unseen(clutch, seen_version)
    _refuse_moment(clutch.patient, laid_from, field="laid_from")
    _refuse_moment(clutch.patient, laid_until, field="laid_until")
    there = clutch.eggs.count()
    if there + eggs > MOST_EGGS:
        raise ValidationError({"eggs": _("A clutch holds at most %(n)d eggs here.") % {"n": MOST_EGGS}})
    clutch.laid_from = min(laid_from, clutch.laid_from or laid_from)
    clutch.laid_until, clutch.is_top_marked = laid_until or clutch.laid_until, is_top_marked
    clutch = save_edit(clutch, seen_version=seen_version)
    for number in range(there + 1, there + eggs + 1):
        _checked(Egg(patient=clutch.patient, clutch=clutch, number=number))
    if incubator:
        move_clutch(clutch, by=by, incubator=incubator, since=laid_until or laid_from)
    _reach(clutch.patient, by=by, event="egg_laid", on=_local_day(clutch.patient, clutch.laid_from))
    return clutch


@transaction.atomic
def move_clutch(clutch: Clutch, *, by: Person, incubator: Incubator, since: datetime) -> Stay:
    """Put the eggs into an incubator, or into another one."""
    clutch = _held(clutch)
    if clutch.laid_from is None:
        raise ValidationError(_("No egg is laid yet. Write down the laying first."))
    _refuse_moment(clutch.patient, since, field="since")
    if since < clutch.laid_from:
        raise ValidationError({"since": _("This is before the first egg was laid.")})
    last = clutch.stays.last()
    if last and since <= last.since:
        raise ValidationError({"since": _("They were moved later than that already, into %(where)s.") % {"where": last.incubator}})
    if last and last.incubator_id == incubator.pk:
        raise ValidationError({"incubator": _("They are in this incubator already.")})
    return _checked(Stay(patient=clutch.patient, clutch=clutch, incubator=incubator, since=since, moved_by=by))


# --- eggs ---------------------------------------------------------------------------------------------------------


def _refuse_egg_day(clutch: Clutch, on: date, *, field: str) -> None:
    patient = clutch.patient
    if clutch.laid_from is None:
        raise ValidationError(_("No egg is laid yet. Write down the laying first."))
    if on > today(patient.hospital.zone):
        raise ValidationError({field: _("This day is in the future. Give the day on which it happened.")})
    refuse_before(on, _local_day(patient, clutch.laid_from), _("The eggs were laid later, on %(day)s."), field=field)


def _open_eggs(clutch: Clutch, eggs: Iterable[Egg]) -> list[Egg]:
    """Those eggs as they are now. Refuses if one has hatched or was lost meanwhile."""
    wanted = sorted(egg.pk for egg in eggs)
    found = list(Egg.objects.select_for_update(of=("self",)).filter(clutch=clutch, pk__in=wanted).order_by("number"))
    ended = [egg for egg in found if egg.end]
    if ended or len(found) != len(wanted):
        numbers = ", ".join(str(egg.number) for egg in ended)
        words = _("Somebody has already written down what became of egg %(numbers)s. Look again, then choose.")
        raise ValidationError({"eggs": words % {"numbers": numbers}})
    return found


@transaction.atomic
def candle(clutch: Clutch, *, by: Person, candled_on: date, seen: Mapping[int, str], note: str = "") -> Candling:
    """Write down what the light showed; `seen` holds a word of CandledEgg.Seen by the id of an egg."""
    clutch = _held(clutch)
    _refuse_egg_day(clutch, candled_on, field="candled_on")
    if not seen:
        raise ValidationError(_("Say of at least one egg what the light showed."))
    last = clutch.candlings.last()
    if last:
        refuse_before(candled_on, last.candled_on, _("They were candled later already, on %(day)s."), field="candled_on")
    candling = _checked(
        Candling(patient=clutch.patient, clutch=clutch, candled_on=candled_on, note=note, candled_by=by)
    )
    for egg in _open_eggs(clutch, Egg.objects.filter(pk__in=seen)):
        _checked(CandledEgg(patient=clutch.patient, candling=candling, egg=egg, seen=seen[egg.pk]))
    _reach(clutch.patient, by=by, event="incubation_candle", on=candled_on, note=note)
    return candling


@transaction.atomic
def weigh_eggs(
    clutch: Clutch, *, by: Person, weighed_on: date, weights: Mapping[int, Decimal], dish_g: Decimal | None = None
) -> list[EggWeight]:
    """Write down what eggs weigh on a day, in grams by the id of an egg; a dish that stood on the scale is taken off each."""
    clutch = _held(clutch)
    _refuse_egg_day(clutch, weighed_on, field="weighed_on")
    if not weights:
        raise ValidationError(_("Give the weight of at least one egg."))
    return [
        _weight(egg, by, weighed_on, weights[egg.pk], dish_g or Decimal(0))
        for egg in _open_eggs(clutch, Egg.objects.filter(pk__in=weights))
    ]


def _weight(egg: Egg, by: Person, on: date, on_scale_g: Decimal, dish_g: Decimal) -> EggWeight:
    """Its net weight on that day; a refusal stands at the field of the egg."""
    field = f"egg_{egg.pk}"
    if on_scale_g <= dish_g:
        raise ValidationError({field: _("The dish alone weighs that much. Give dish and egg together, or leave the dish out.")})
    row = EggWeight(patient=egg.patient, egg=egg, weighed_on=on, weight_g=on_scale_g - dish_g, weighed_by=by)
    try:
        return _checked(row)
    except ValidationError as refusal:
        raise ValidationError({field: refusal.messages}) from None


@transaction.atomic
def correct_egg_weight(weight: EggWeight, *, seen_version: int, weighed_on: date, weight_g: Decimal | None) -> EggWeight | None:
    """Correct a weight that was written down wrongly; without grams it is taken back. The history keeps what was written."""
    clutch = _held(weight.egg.clutch)
    refuse_unseen(EggWeight.objects.filter(pk=weight.pk).first(), seen_version)
    if weight_g is None:
        weight.delete()
        return None
    _refuse_egg_day(clutch, weighed_on, field="weighed_on")
    weight.weighed_on, weight.weight_g = weighed_on, weight_g
    return save_edit(weight, seen_version=seen_version)


@transaction.atomic
def lose_eggs(clutch: Clutch, *, by: Person, eggs: Iterable[Egg], ended_on: date, loss: str, loss_note: str = "") -> list[Egg]:
    """Eggs that will not hatch, and why."""
    clutch = _held(clutch)
    _refuse_egg_day(clutch, ended_on, field="ended_on")
    return [_ended(egg, end=Egg.End.LOST, ended_on=ended_on, loss=loss, loss_note=loss_note) for egg in _open_eggs(clutch, eggs)]


def _ended(egg: Egg, **fields: Any) -> Egg:
    for name, value in fields.items():
        setattr(egg, name, value)
    return save_edit(egg, seen_version=egg.version)


@transaction.atomic
def take_loss_back(egg: Egg, *, seen_version: int) -> Egg:
    """An egg was called lost by mistake; the history keeps what was written."""
    if egg.end != Egg.End.LOST:
        raise ValidationError(_("This egg is not written down as lost."))
    egg.end, egg.ended_on, egg.loss, egg.loss_note = "", None, "", ""
    return save_edit(egg, seen_version=seen_version)


@transaction.atomic
def hatch(clutch: Clutch, *, by: Person, eggs: Iterable[Egg], hatched_at: datetime, ward: str, key: uuid.UUID) -> list[Patient]:
    """Each egg becomes a case of its own, tied to its dam. A `key` used before means that the same form came twice.

    The place is the dam's, so that young go home to her water; her finder stays with her case alone.
    """
    clutch, eggs = _held(clutch), list(eggs)
    keys = {egg.pk: uuid.uuid5(key, str(egg.number)) for egg in eggs}
    before = list(Patient.objects.filter(key__in=keys.values(), dam=clutch.patient).order_by("pk"))
    if before:
        return before
    on = _local_day(clutch.patient, hatched_at)
    if hatched_at > now():
        raise ValidationError({"hatched_at": _("This is in the future. Give the moment at which it happened.")})
    _refuse_egg_day(clutch, on, field="hatched_at")
    young = []
    for egg in _open_eggs(clutch, eggs):
        hatchling = admit(
            clutch.patient.hospital, by=by, at=hatched_at, animal=_like_dam(clutch.patient), ward=ward, key=keys[egg.pk]
        )
        _ended(egg, end=Egg.End.HATCHED, ended_on=on, hatchling=hatchling)
        _reach(hatchling, by=by, event="hatch", on=on)
        young.append(hatchling)
    if not clutch.patient.milestones.filter(event="hatch").exists():
        _reach(clutch.patient, by=by, event="hatch", on=on)
    return young


def _like_dam(dam: Patient) -> dict[str, Any]:
    same = ("species", "found_place", "found_latitude", "found_longitude", "found_uncertainty_m", "is_zoonosis_risk", "is_biosecurity_risk")
    own = {"dam": dam, "cause": Cause.objects.filter(pk=HATCHED_IN_CARE).first(), "life_stage": LifeStage.NEONATE, "triage": Triage.STABLE}
    return {name: getattr(dam, name) for name in same} | own


# --- incubators and their readings --------------------------------------------------------------------------------


@transaction.atomic
def add_incubator(hospital: Hospital, *, by: Person, **fields: Any) -> Incubator:
    """An incubator of the hospital."""
    return _checked(Incubator(hospital=hospital, **fields))


@transaction.atomic
def edit_incubator(incubator: Incubator, *, seen_version: int, **fields: Any) -> Incubator:
    """Change how an incubator is called or set. What it was set to is reckoned with from laying on, where no reading says otherwise."""
    if not fields["is_in_use"] and _holds_eggs(incubator):
        raise ValidationError({"is_in_use": _("Eggs are in it. Move them first.")})
    for name, value in fields.items():
        setattr(incubator, name, value)
    return save_edit(incubator, seen_version=seen_version)


def _holds_eggs(incubator: Incubator) -> bool:
    clutches = Clutch.objects.filter(stays__incubator=incubator, eggs__end="").distinct()
    return any(clutch.stays.last().incubator_id == incubator.pk for clutch in clutches)


@transaction.atomic
def add_reading(
    incubator: Incubator, *, by: Person, read_at: datetime, temperature_c: Decimal, humidity_percent: Decimal | None = None
) -> Reading:
    """One reading by hand."""
    if read_at > now():
        raise ValidationError({"read_at": _("This is in the future. Give the moment of reading.")})
    reading = _reading(incubator, by, Row(read_at, temperature_c, humidity_percent))
    try:
        return _checked(reading)
    except ValidationError as refusal:
        if NON_FIELD_ERRORS in refusal.error_dict:
            raise ValidationError({"read_at": refusal.error_dict[NON_FIELD_ERRORS]}) from None
        raise


@transaction.atomic
def add_readings(incubator: Incubator, *, by: Person, rows: Iterable[Row]) -> int:
    """The rows of a file that are not there yet: how many they were. Rows of moments that have a reading change nothing."""
    held = Incubator.objects.select_for_update(of=("self",)).get(pk=incubator.pk)
    known = set(held.readings.values_list("read_at", flat=True))
    fresh = {row.at: row for row in rows if row.at not in known and row.at <= now()}
    made = [_reading(held, by, row, is_from_file=True) for row in fresh.values()]
    for each in made:
        each.clean_fields(exclude=["hospital", "incubator", "entered_by"])
    Reading.objects.bulk_create(made, batch_size=500)
    return len(made)


@transaction.atomic
def set_aside(reading: Reading, *, by: Person, reason: str) -> SetAside:
    """A reading does not count any more. It stays, with the reason: a probe lay on the table, a digit was wrong."""
    if SetAside.objects.filter(reading=reading).exists():
        raise ValidationError(_("Somebody has set this reading aside already."))
    row = SetAside(hospital_id=reading.hospital_id, reading=reading, reason=reason, set_aside_by=by, set_aside_at=now())
    return _checked(row)


def _reading(incubator: Incubator, by: Person, row: Row, is_from_file: bool = False) -> Reading:
    return Reading(
        hospital_id=incubator.hospital_id, incubator=incubator, read_at=row.at, temperature_c=row.temperature_c,
        humidity_percent=row.humidity_percent, is_from_file=is_from_file, entered_by=by, entered_at=now(),
    )  # fmt: skip
