"""Order a course, countersign it, stop it, write down doses."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.days import admitted_on, in_words, locked, refuse_before, refuse_day
from hospital.admissions.models import Patient, Weight
from hospital.clock import now, today
from hospital.edits import save_edit
from hospital.medications.dosing import (
    Course,
    Flag,
    Sheet,
    flags,
    judge_for,
    sheet,
    stops,
    weight_doubt,
    weight_slip,
)
from hospital.medications.formulary import Stop, medicine_of
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.queries import Judge, is_controlled, other_vets, recent_weights
from hospital.medications.wording import tongue
from hospital.people.models import Person
from hospital.register.actions import draw_up
from hospital.register.models import Kind, RegisterLine
from hospital.register.queries import apart_from_doses, corrected_thousandths, pages_of_drug
from hospital.rules.doses import AmountUnit, Asked
from hospital.rules.formulary import Finding
from hospital.rules.weights import good_for_days, has_changed
from hospital.rules.wording import body_weight, error_prone

CLOCKS_MAY_DIFFER = timedelta(minutes=5)
A_YEAR = timedelta(days=366)


@dataclass(frozen=True, slots=True)
class Checked:
    """An order that may be written: its sums, the row that it was judged by, and what spoke against it."""

    sheet: Sheet
    judge: Judge
    flags: tuple[Flag, ...]

    @property
    def needs_countersign(self) -> bool:
        return any(flag.needs_second_vet for flag in self.flags)


def course_of(
    patient: Patient, *, drug: str, dose_per_kg: Decimal, dose_unit: str, strength_per_ml: Decimal, strength_unit: str, route: str,
    every_hours: int, doses: int, first_dose_at: datetime, dilution_parts: int = 1, syringe_ml: Decimal | None = None,
) -> Course:  # fmt: skip
    """What was asked for, as the sums take it."""
    asked = Asked(
        dose_per_kg, AmountUnit(dose_unit), strength_per_ml, AmountUnit(strength_unit), dilution_parts, syringe_ml
    )
    first = first_dose_at.astimezone(ZoneInfo(patient.hospital.zone))
    return Course(drug, asked, route, every_hours, doses, first)


def checked_order(
    patient: Patient, *, by: Person, is_weight_checked: bool, is_warning_read: bool, dose_reason: str,
    seen_weight_g: Decimal | None, stops_earlier: bool = False, instruction: str = "", late_dose: str = "", **asked,
) -> Checked:  # fmt: skip
    """Work an order out, or refuse it with a sentence at each field that speaks against it."""
    warned = _refuse_stops(patient, asked["drug"], asked["route"])
    recent = recent_weights(patient)
    if not recent:
        raise ValidationError(_("There is no weight yet. Weigh the animal, then order."))
    course = course_of(patient, **asked)
    judge = judge_for(patient, course.drug, course.route)
    found = flags(patient, course, judge)
    worked = sheet(course, recent[0].weight_g, judge)
    wrong = {
        **_misread({"drug": course.drug, "instruction": instruction}),
        **_weight_doubts(patient, recent, is_weight_checked, seen_weight_g),
        **_unread(warned, is_warning_read),
        **_unreasoned(found, dose_reason, stops_earlier),
        **_no_second_vet(patient, by, found),
        **_impossible_start(patient, course.first_dose_at.date()),
    }
    if wrong:
        raise ValidationError(wrong)
    return Checked(worked, judge, tuple(found))


def _refuse_stops(patient: Patient, drug: str, route: str) -> list[Stop]:
    """Refuse what must never be given; the warnings that remain must be read."""
    refused, warned = stops(patient, drug, route)
    if refused:
        raise ValidationError({"drug": [f"{stop.reason} ({stop.source})" for stop in refused]})
    return warned


def _misread(texts: dict[str, str]) -> dict[str, list[str]]:
    """What people wrote into the line that has been misread as another dose."""
    sentence = _("“%(piece)s” can be misread. Write instead: %(instead)s.")
    found = {field: error_prone(text, tongue()) for field, text in texts.items()}
    return {
        field: [sentence % {"piece": piece, "instead": instead} for piece, instead in pieces]
        for field, pieces in found.items()
        if pieces
    }


def _weight_doubts(
    patient: Patient, recent: list[Weight], is_weight_checked: bool, seen_weight_g: Decimal | None
) -> dict[str, str]:
    """A weight that came in after the page was opened, one that cannot be, and one that is old or moved far."""
    zone, wrong = patient.hospital.zone, {}
    if seen_weight_g is not None and seen_weight_g != recent[0].weight_g:
        moved = _("The animal was weighed meanwhile: %(weight)s. The dose is worked out anew: look at it, then save.")
        wrong["seen_weight_g"] = moved % {"weight": body_weight(recent[0].weight_g)}
    if slip := weight_slip(recent):
        return wrong | {NON_FIELD_ERRORS: slip}
    doubt = weight_doubt(recent, today(zone), zone, good_for_days(patient.species.group.lineage()))
    if doubt and not is_weight_checked:
        wrong["is_weight_checked"] = f"{doubt} " + _("Weigh it again, or say that this weight is right.")
    return wrong


def _unread(warned: list[Stop], is_warning_read: bool) -> dict[str, str]:
    if not warned or is_warning_read:
        return {}
    reasons = " ".join(stop.reason for stop in warned)
    return {"is_warning_read": reasons + " " + _("Tick each warning that you have read.")}


def _impossible_start(patient: Patient, first_on: date) -> dict[str, str]:
    if first_on < admitted_on(patient):
        before = _("This is before admission on %(day)s.") % {"day": in_words(admitted_on(patient))}
        return {"first_dose_at": before}
    if first_on > today(patient.hospital.zone) + A_YEAR:
        return {"first_dose_at": _("This is more than a year ahead. Look at the year.")}
    return {}


def _unreasoned(found: list[Flag], dose_reason: str, stops_earlier: bool) -> dict[str, str]:
    """What was flagged needs a reason in words: a box to tick would be too easy. An earlier course that is stopped needs none."""
    open_flags = [flag for flag in found if not (stops_earlier and flag.finding is Finding.SAME_MEDICINE)]
    if not open_flags or dose_reason.strip():
        return {}
    return {"dose_reason": " ".join(flag.sentence for flag in open_flags) + " " + _("Correct the order, or give the reason for it.")}


def _no_second_vet(patient: Patient, by: Person, found: list[Flag]) -> dict[str, str]:
    if not any(flag.needs_second_vet for flag in found) or other_vets(patient, by).exists():
        return {}
    return {"dose_per_kg": _("This needs a second vet, and this hospital has none. Choose a dose below that limit.")}


@transaction.atomic
def order_medication(
    patient: Patient, *, by: Person, instruction: str, stops_earlier: bool = False, **asked
) -> MedicationOrder:
    """Order a course, worked out from the newest weight. One beyond a hard limit waits until a second vet has signed."""
    patient = locked(patient)
    checked = checked_order(patient, by=by, instruction=instruction, stops_earlier=stops_earlier, **asked)
    names = (
        "drug", "route", "dose_per_kg", "dose_unit", "strength_per_ml", "strength_unit", "dilution_parts", "every_hours", "doses",
        "first_dose_at", "late_dose",
    )  # fmt: skip
    worked = checked.sheet.worked
    order = MedicationOrder(
        patient=patient,
        instruction=instruction,
        ordered_by=by,
        ordered_at=now(),
        weight_g=worked.weight_g,
        dose_amount=round(worked.dose, 6),
        volume_ml=worked.drawn.volume_ml,
        syringe_ml=worked.drawn.syringe.capacity_ml,
        adoption=checked.judge.adoption,
        flagged=" ".join(flag.sentence for flag in checked.flags),
        dose_reason=asked["dose_reason"] if checked.flags else "",
        needs_countersign=checked.needs_countersign,
        **_about_the_medicine(asked["drug"], checked.judge),
        **{name: asked[name] for name in names if name in asked},
    )
    order.full_clean()
    order.save()
    if stops_earlier and not order.needs_countersign:
        _stop_earlier(patient, checked.flags)
    return order


def _about_the_medicine(drug: str, judge: Judge) -> dict[str, object]:
    """Kept with the order, so that a later change of the formulary does not change what was ordered."""
    known = judge.entry or medicine_of(drug)
    return {
        "is_controlled": bool(known and known.is_controlled),
        "discard_days": known.discard_days if known else None,
        "half_life_hours": judge.entry.half_life_hours if judge.entry else None,
    }


def _stop_earlier(patient: Patient, found: tuple[Flag, ...]) -> None:
    """Stop the running courses of the same medicine; one that waits for a second vet is left to them."""
    earlier = [flag.order_id for flag in found if flag.finding is Finding.SAME_MEDICINE]
    for other in patient.medication_orders.filter(pk__in=earlier, stopped_on=None):
        other.stopped_on, other.stop_reason = today(patient.hospital.zone), _("Ordered anew")
        save_edit(other, seen_version=other.version)


@transaction.atomic
def countersign(order: MedicationOrder, *, by: Person, seen_weight_g: Decimal) -> MedicationOrder:
    """A second vet signs: from now on the order stands. A first dose that was due meanwhile becomes due now."""
    patient = locked(order.patient)
    order.refresh_from_db()
    _refuse_signature(order, by)
    recent = recent_weights(patient)
    if recent[0].weight_g != seen_weight_g:
        moved = _("The animal was weighed meanwhile: %(weight)s. Look at the dose again, then sign.")
        raise ValidationError(moved % {"weight": body_weight(recent[0].weight_g)})
    if has_changed(order.weight_g, recent[0].weight_g):
        old = _("The dose was worked out for %(then)s; the animal now weighs %(now)s. It must be ordered anew.")
        told = {"then": body_weight(order.weight_g), "now": body_weight(recent[0].weight_g)}
        raise ValidationError(old % told)
    order.countersigned_by, order.countersigned_at = by, now()
    order.first_dose_at = max(order.first_dose_at, order.countersigned_at)
    return save_edit(order, seen_version=order.version)


def _refuse_signature(order: MedicationOrder, by: Person) -> None:
    if order.stopped_on:
        raise ValidationError(_("This order was taken back on %(day)s.") % {"day": in_words(order.stopped_on)})
    if not order.is_waiting:
        raise ValidationError(_("This order stands already: nobody needs to sign it."))
    if by.pk == order.ordered_by_id:
        raise ValidationError(_("You ordered this yourself. Another vet must sign it."))


@transaction.atomic
def decline(order: MedicationOrder, *, by: Person, reason: str) -> MedicationOrder:
    """A vet says no to an order that waits, or takes back their own: it never stands."""
    patient = locked(order.patient)
    order.refresh_from_db()
    if not order.is_waiting:
        raise ValidationError(_("This order does not wait for anybody any more. Look again."))
    order.stopped_on = today(patient.hospital.zone)
    order.stop_reason = f"{by}: {reason}"[:250]
    return save_edit(order, seen_version=order.version)


@transaction.atomic
def stop_medication(order: MedicationOrder, *, stopped_on: date, stop_reason: str) -> MedicationOrder:
    """Stop a course before its last dose. A second person is told what the first one wrote."""
    patient = locked(order.patient)
    order.refresh_from_db()
    if order.is_waiting:
        raise ValidationError(_("This order waits for a second vet: take it back there."))
    if order.stopped_on:
        before = _("This course was already stopped on %(day)s: %(reason)s")
        raise ValidationError(before % {"day": in_words(order.stopped_on), "reason": order.stop_reason})
    refuse_day(patient, stopped_on, field="stopped_on")
    zone = ZoneInfo(patient.hospital.zone)
    last = order.doses_given.last()
    if last:
        given_on = last.given_at.astimezone(zone).date()
        refuse_before(stopped_on, given_on, _("A dose was written down on %(day)s."), field="stopped_on")
    order.stopped_on, order.stop_reason = stopped_on, stop_reason
    return save_edit(order, seen_version=order.version)


@transaction.atomic
def give_dose(
    order: MedicationOrder,
    *,
    by: Person,
    kind: str,
    given_at: datetime,
    note: str,
    given_ml: Decimal | None = None,
    is_not_double: bool = False,
    is_from_stock: bool = True,
    **drawn,
) -> DoseGiven:
    """Write down one dose: given, not taken or missed. One that follows too soon must be meant, another amount (`given_ml`, of what
    was drawn up) needs a reason in the note.

    A drug that is kept in the register of controlled drugs is drawn from it in the same transaction; `drawn` says more about
    that: `page`, `wasted_ml`, `witness`, `late_reason` (hospital.register.actions.draw_up). Not so what a carer gives out of
    what was handed to them: that is not `is_from_stock`.
    """
    patient = locked(order.patient)
    order.refresh_from_db()
    _refuse_dose(patient, order, given_at)
    if kind == DoseGiven.Kind.GIVEN and not is_not_double:
        _refuse_double(order, given_at)
        _refuse_drawn_already(patient, order, given_at)
    is_given, line = kind == DoseGiven.Kind.GIVEN, None
    given_ml = _other_amount(order, given_ml, is_given=is_given, note=note)
    if is_from_stock:
        line = _drawn_up(patient, order, given_ml, by=by, is_given=is_given, done_at=given_at, **drawn)
    dose = DoseGiven(
        patient=patient, order=order, kind=kind, given_at=given_at, given_by=by, note=note, given_ml=given_ml, register_line=line
    )
    dose.full_clean()
    dose.save()
    return dose


def _other_amount(order: MedicationOrder, given_ml: Decimal | None, *, is_given: bool, note: str) -> Decimal | None:
    """An amount that is not the ordered one, or None. It is never refused for its size: what happened is written down."""
    if given_ml is None or given_ml == order.volume_ml:
        return None
    if not is_given:
        raise ValidationError({"given_ml": _("Nothing was given: leave this empty, or say that it was given.")})
    if not note.strip():
        raise ValidationError({"note": _("Say why it was not the amount that was ordered.")})
    return given_ml


def _drawn_up(
    patient: Patient, order: MedicationOrder, given_ml: Decimal | None, *, is_given: bool, **said
) -> RegisterLine | None:
    """The line of the register that the dose came out of; a dose that was not taken may still have been drawn up and wasted.

    A controlled drug without a page is held back: what nobody counts must not leave the safe.
    """
    ordered_on = order.ordered_at.astimezone(ZoneInfo(patient.hospital.zone)).date()
    line = draw_up(
        patient,
        drug=order.drug,
        strength=order.strength_per_ml,
        strength_unit=order.strength_unit,
        given_ml=_out_of_the_bottle(order, given_ml) if is_given else Decimal(0),
        source=_("Order of %(day)s by %(name)s") % {"day": in_words(ordered_on), "name": order.ordered_by},
        **said,
    )
    if line is None and is_given and not pages_of_drug(patient.hospital, order.drug) and _is_controlled(patient, order):
        held_back = _("%(drug)s is a controlled drug and has no page in the register. Open a page there first, then give it.")
        raise ValidationError(held_back % {"drug": order.drug})
    return line


def _out_of_the_bottle(order: MedicationOrder, given_ml: Decimal | None) -> Decimal:
    """What a dose takes out of the undiluted bottle."""
    return order.stock_ml if given_ml is None else given_ml / order.dilution_parts


def _is_controlled(patient: Patient, order: MedicationOrder) -> bool:
    """As it was ordered, or as the formulary says by now."""
    return order.is_controlled or is_controlled(patient.hospital, order.drug, patient.species.group.lineage())


def _refuse_dose(patient: Patient, order: MedicationOrder, given_at: datetime) -> None:
    if order.needs_countersign and order.countersigned_at is None:
        raise ValidationError(_("A second vet has not signed this order. Nothing may be given."))
    given_on = given_at.astimezone(ZoneInfo(patient.hospital.zone)).date()
    if given_at > now() + CLOCKS_MAY_DIFFER:
        raise ValidationError({"given_at": _("This is in the future. Give the moment at which it happened.")})
    refuse_day(patient, given_on, field="given_at")
    if order.stopped_on and given_on > order.stopped_on:
        stopped = _("This course was stopped on %(day)s.") % {"day": in_words(order.stopped_on)}
        raise ValidationError({"given_at": stopped})
    if order.doses_given.count() >= order.doses:
        raise ValidationError(
            _("All %(doses)d doses of this course are written down. A vet must order more.")
            % {"doses": order.doses}
        )


def _refuse_double(order: MedicationOrder, given_at: datetime) -> None:
    """Less than half the interval after or before another dose: two people may both have given it."""
    half = timedelta(hours=order.every_hours) / 2
    near = order.doses_given.filter(
        kind=DoseGiven.Kind.GIVEN, given_at__gt=given_at - half, given_at__lt=given_at + half
    )
    other = near.select_related("given_by").last()
    if other:
        told = {"time": f"{other.given_at.astimezone(given_at.tzinfo):%H:%M}", "name": other.given_by}
        raise ValidationError(
            {"is_not_double": _("%(name)s gave a dose at %(time)s. If this is another one, say so.") % told}
        )


def _refuse_drawn_already(patient: Patient, order: MedicationOrder, given_at: datetime) -> None:
    """Somebody may have drawn this very dose up in the register, without the order: a second line would be one too many."""
    half = timedelta(hours=order.every_hours) / 2
    near = apart_from_doses(patient).filter(
        kind=Kind.GIVEN, page__drug__iexact=order.drug.strip(), done_at__gt=given_at - half, done_at__lt=given_at + half
    )
    line = next((each for each in near if corrected_thousandths(each)), None)
    if line:
        told = {"number": line.number, "page": line.page, "time": f"{line.done_at.astimezone(given_at.tzinfo):%H:%M}"}
        told["name"] = line.recorded_by_name
        raise ValidationError(
            {
                "is_not_double": _(
                    "Line %(number)d of the register (%(page)s) has this drug for this animal already: drawn up by %(name)s at %(time)s, "
                    "without the order. Correct that line to 0 there if it was this dose; if this is another one, say so."
                )
                % told
            }
        )


@transaction.atomic
def take_dose_back(dose: DoseGiven) -> None:
    """Remove a dose that was written down by mistake; the audit keeps what it said.

    One that was drawn from the register of controlled drugs must be put right there first: nothing is removed from it.
    """
    locked(dose.patient)
    line = dose.register_line
    if line and corrected_thousandths(line):
        told = {"number": line.number, "page": line.page}
        raise ValidationError(
            _("This dose is line %(number)d of the register (%(page)s). Correct that line to 0 there, then take it back.") % told
        )
    dose.delete()
