"""Write in the register: each entry is one transaction, and holds its page so that two people never draw the same stock.

Nothing is ever altered. What was wrong is put right by a counter-entry that names the line.
A witness who is passed in has signed with their own password (hospital.people.signing) before the transaction began.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.edits import save_edit
from hospital.people.models import Person
from hospital.register.models import INWARD, SIGNED_AT_ONCE, CountEntry, Kind, RegisterLine, RegisterPage, RegisterRules
from hospital.register.queries import (
    balance_of,
    corrected_thousandths,
    first_count,
    may_record,
    pages_of_drug,
    rules_of,
    same_kind,
    same_strength,
    witnesses,
)
from hospital.register.wording import amount as in_words
from hospital.register.wording import strength as strength_in_words
from hospital.rules.register import NOTHING_BEFORE, link, nearest_thousandths, thousandths, unaccounted
from hospital.rules.wording import Unit, quantity
from hospital.sites.models import Hospital

CLOCKS_MAY_DIFFER = timedelta(minutes=5)
ENTERED_IN_TIME_DAYS = 1  # the same day or the next: UK Misuse of Drugs Regulations 2001, reg. 20(b)


# --- pages and rules ----------------------------------------------------------------------------------------------


@transaction.atomic
def open_page(hospital: Hospital, *, by: Person, **words) -> RegisterPage:
    """Begin a page for a drug in one strength and form, in one place."""
    _refuse_writer(by, hospital)
    page = RegisterPage(hospital=hospital, opened_by=by, opened_at=now(), **words)
    page.full_clean()
    page.save()
    return page


@transaction.atomic
def change_rules(hospital: Hospital, *, witness_for: list[str], count_every_days: int, seen_version: int) -> RegisterRules:
    """Say for what a witness is asked. Lines written before keep what was asked then."""
    rules, _made = RegisterRules.objects.get_or_create(hospital=hospital)
    rules.witness_for, rules.count_every_days = witness_for, count_every_days
    return save_edit(rules, seen_version=seen_version)


# --- one line -----------------------------------------------------------------------------------------------------


def _held(page: RegisterPage) -> RegisterPage:
    """The page's row, held until the transaction ends: whoever comes second sees the balance that the first one left."""
    return RegisterPage.objects.select_for_update(of=("self",)).select_related("hospital").get(pk=page.pk)


def _refuse_writer(by: Person, hospital: Hospital) -> None:
    if not may_record(by, hospital):
        raise ValidationError(_("Only vets and nurses of this hospital write in its register."))


def _refuse_moment(page: RegisterPage, done_at: datetime, late_reason: str) -> None:
    """The future is refused; an act before yesterday is an entry made late, which says why."""
    if done_at > now() + CLOCKS_MAY_DIFFER:
        raise ValidationError({"done_at": _("This is in the future. Give the moment at which it happened.")})
    done_on, zone = done_at.astimezone(ZoneInfo(page.hospital.zone)).date(), page.hospital.zone
    if done_on < today(zone) - timedelta(days=ENTERED_IN_TIME_DAYS) and not late_reason.strip():
        raise ValidationError(
            {"late_reason": _("This happened before yesterday. Say why it is entered only now; the line is marked as late.")}
        )


def _witness_asked(page: RegisterPage, kind: str, by: Person, witness: Person | None) -> bool:
    is_asked = kind in rules_of(page.hospital).witness_for
    if witness is None:
        if is_asked and kind in SIGNED_AT_ONCE:
            raise ValidationError({"witness": _("Two people sign this at once. Name the witness.")})
    elif witness == by:
        raise ValidationError({"witness": _("The witness must be somebody else than you.")})
    elif not witnesses(page.hospital, by).filter(pk=witness.pk).exists():
        raise ValidationError({"witness": _("The witness must be a vet or nurse of this hospital.")})
    return is_asked


def _whole(value: Decimal, field: str, *, may_be_nothing: bool = False) -> int:
    """A typed amount in thousandths; it is never below nothing."""
    if value < 0 or (not value and not may_be_nothing):
        raise ValidationError({field: _("Give an amount above 0.")})
    try:
        return thousandths(value)
    except ValueError:
        raise ValidationError({field: _("Give at most three decimals.")}) from None


def _write(
    page: RegisterPage, kind: str, moved: int, *, by: Person, done_at: datetime, witness: Person | None = None,
    patient: Patient | None = None, field: str = "amount", late_reason: str = "", counted: int | None = None,
    refers_to: RegisterLine | None = None, **words: str,
) -> RegisterLine:  # fmt: skip
    """Add a line to a page that is held."""
    _refuse_writer(by, page.hospital)
    _refuse_moment(page, done_at, late_reason)
    is_asked = kind != Kind.WITNESSED and _witness_asked(page, kind, by, witness)
    last, moment = page.lines.order_by("-number").first(), now()
    balance = last.balance_thousandths if last else 0
    if balance + moved < 0:
        left = _("The register says that %(left)s is left here, so %(wanted)s cannot go out. If the bottle holds more, count it.")
        raise ValidationError({field: left % {"left": in_words(page, balance), "wanted": in_words(page, -moved)}})
    line = RegisterLine(
        hospital=page.hospital, page=page, number=(last.number if last else 0) + 1, kind=kind,
        moved_thousandths=moved, balance_thousandths=balance + moved, counted_thousandths=counted,
        done_at=done_at, entered_at=max(moment, last.entered_at) if last else moment,  # a clock may have been set back
        recorded_by=by, recorded_by_name=by.name, is_witness_asked=is_asked,
        witness=witness, witness_name=witness.name if witness else "", witnessed_at=moment if witness else None,
        patient=patient, animal=f"{patient.case_number} {patient.species}" if patient else "",
        late_reason=late_reason.strip(), refers_to=refers_to, previous_hash=last.hash if last else NOTHING_BEFORE,
        **{name: text.strip() for name, text in words.items()},
    )  # fmt: skip
    line.hash = link(line.previous_hash, line.text())
    line.full_clean()
    line.save(force_insert=True)
    return line


# --- stock in and out ---------------------------------------------------------------------------------------------


@transaction.atomic
def receive(page: RegisterPage, *, by: Person, amount: Decimal, done_at: datetime, **said) -> RegisterLine:
    """Stock came in: from whom (`other_party`), by which document (`source`), of which `batch`."""
    return _write(_held(page), Kind.RECEIVED, _whole(amount, "amount"), by=by, done_at=done_at, **said)


@transaction.atomic
def use(
    page: RegisterPage, *, by: Person, patient: Patient, drawn: Decimal, given: Decimal, wasted: Decimal,
    done_at: datetime, reason: str = "", **said,
) -> RegisterLine:  # fmt: skip
    """A dose drawn up for an animal: what was given, and what was left and wasted. Answers the first line written.

    Drawn = given + wasted, else refused. Nothing that was drawn up goes back into the bottle.
    """
    held = _held(page)
    out = _whole(drawn, "drawn")
    parts = _whole(given, "given", may_be_nothing=True), _whole(wasted, "wasted", may_be_nothing=True)
    if missing := unaccounted(out, given=parts[0], wasted=parts[1]):
        sentence = _("%(amount)s of what was drawn up is missing.") if missing > 0 else _("This is %(amount)s more than was drawn up.")
        told = sentence % {"amount": in_words(held, abs(missing))}
        raise ValidationError({"wasted": told + " " + _("Drawn up must be what was given and what was wasted together.")})
    return _draw(held, *parts, by=by, patient=patient, done_at=done_at, reason=reason, field="drawn", **said)


def _draw(held: RegisterPage, given: int, wasted: int, *, reason: str = "", field: str, **said) -> RegisterLine:
    first = _write(held, Kind.GIVEN, -given, reason=reason, field=field, **said) if given else None
    if wasted:
        why = reason or _("Rest of what was drawn up")
        rest = _write(held, Kind.WASTED, -wasted, reason=why, refers_to=first, field=field, **said)
    return first or rest


@transaction.atomic
def discard(page: RegisterPage, *, by: Person, kind: str, amount: Decimal, done_at: datetime, **said) -> RegisterLine:
    """Stock wasted (spilt, broken, left over) or destroyed (out of date), with the `reason`."""
    if kind not in (Kind.WASTED, Kind.DESTROYED):
        raise ValidationError({"kind": _("Choose wasted or destroyed.")})
    return _write(_held(page), kind, -_whole(amount, "amount"), by=by, done_at=done_at, **said)


@transaction.atomic
def transfer(
    page: RegisterPage, *, by: Person, amount: Decimal, done_at: datetime, to_page: RegisterPage | None, other_party: str, **said
) -> RegisterLine:
    """Stock goes to another place of this hospital (both pages get their line), or to somebody outside it."""
    moved = _whole(amount, "amount")
    if to_page is None:
        if not other_party.strip():
            raise ValidationError({"other_party": _("Say to whom it goes, or choose the place in this hospital.")})
        return _write(_held(page), Kind.TRANSFERRED, -moved, by=by, done_at=done_at, other_party=other_party, **said)
    if not same_kind(page).filter(pk=to_page.pk).exists():
        raise ValidationError({"to_page": _("Choose a page of the same drug, strength and form.")})
    held = {each.pk: _held(each) for each in sorted((page, to_page), key=lambda each: each.pk)}  # in one order: no deadlock
    out = _write(
        held[page.pk], Kind.TRANSFERRED, -moved, by=by, done_at=done_at, other_party=other_party or to_page.location, **said
    )
    _write(held[to_page.pk], Kind.TRANSFERRED, moved, by=by, done_at=done_at, other_party=other_party or page.location, **said)
    return out


@transaction.atomic
def draw_up(
    patient: Patient, *, drug: str, strength: Decimal, strength_unit: str, given_ml: Decimal, by: Person, done_at: datetime,
    page: RegisterPage | None = None, wasted_ml: Decimal = Decimal(0), witness: Person | None = None, source: str = "",
    late_reason: str = "",
) -> RegisterLine | None:  # fmt: skip
    """Post a dose that is being recorded as given, inside the caller's transaction; None when nothing of it is kept here.

    `strength` is per mL of what stands in the safe, and volumes are of that, undiluted. Without `page` the only place that
    holds enough is taken; where there is a choice, the refusal stands at `page`. A carer's dose is not drawn from
    the hospital's stock: what a carer gives left the register when it was handed over.
    """
    kept = pages_of_drug(patient.hospital, drug)
    if not kept or not may_record(by, patient.hospital):
        return None
    given, wasted = nearest_thousandths(given_ml), nearest_thousandths(wasted_ml)
    if not given and not wasted:
        return None
    if page is not None and page not in same_strength(kept, strength, strength_unit):
        raise ValidationError({"page": _("Choose a page of this drug in this strength.")})
    held = _held(page or _only_page(kept, drug, strength, strength_unit, given + wasted))
    said = {"by": by, "patient": patient, "done_at": done_at, "witness": witness, "source": source, "late_reason": late_reason}
    try:
        return _draw(held, given, wasted, field="page", **said)
    except ValidationError as refusal:
        raise _at_dose(refusal) from None


def _at_dose(refusal: ValidationError) -> ValidationError:
    """The dose's form calls the moment `given_at`."""
    if not hasattr(refusal, "error_dict"):
        return refusal
    names = {"done_at": "given_at"}
    return ValidationError({names.get(field, field): errors for field, errors in refusal.error_dict.items()})


def _only_page(kept: list[RegisterPage], drug: str, strength: Decimal, unit: str, wanted: int) -> RegisterPage:
    fitting = same_strength(kept, strength, unit)
    if not fitting:
        told = {"drug": drug, "strength": quantity(strength, Unit(unit)), "kept": "; ".join(strength_in_words(p) for p in kept)}
        raise ValidationError(
            _(
                "The register keeps %(drug)s, but not %(strength)s per mL: it has %(kept)s. Order by the bottle that is used, "
                "or open a page for this strength, then write the dose down."
            )
            % told
        )
    enough = [each for each in fitting if balance_of(each) >= wanted]
    if len(enough) > 1:
        places = "; ".join(each.location for each in enough)
        raise ValidationError({"page": _("Say where it was taken from: %(places)s.") % {"places": places}})
    return enough[0] if enough else fitting[0]


# --- corrections and signatures -----------------------------------------------------------------------------------


@transaction.atomic
def correct(
    line: RegisterLine, *, by: Person, should_be: Decimal, reason: str, witness: Person | None = None
) -> RegisterLine:
    """A counter-entry: what the line should have moved, and why. The line itself stays as it is.

    `should_be` is the right amount, in the direction of the line; 0 takes it back whole. An amount that is right already
    leaves the balance and only adds the reason, for a wrong animal or batch.
    """
    held = _held(line.page)
    line.refresh_from_db()
    if line.kind in (*SIGNED_AT_ONCE, Kind.WITNESSED):
        raise ValidationError(_("This line is not corrected. Correct the line of stock that it speaks of, or close the difference."))
    inward = line.kind in INWARD or line.moved_thousandths > 0
    right = _whole(should_be, "should_be", may_be_nothing=True)
    moved = (right if inward else -right) - corrected_thousandths(line)
    return _write(
        held, Kind.CORRECTION, moved, by=by, done_at=now(), witness=witness, refers_to=line, reason=reason,
        patient=line.patient, field="should_be",
    )  # fmt: skip


@transaction.atomic
def witness_later(line: RegisterLine, *, by: Person) -> RegisterLine:
    """Somebody who saw it signs a line that has no witness yet. They have just given their own password."""
    held = _held(line.page)
    line = RegisterLine.objects.with_standing().get(pk=line.pk)
    if line.recorded_by_id == by.pk:
        raise ValidationError(_("You wrote this line. Somebody else who saw it must sign."))
    if line.witness_id or line.is_signed_later or not line.is_witness_asked:
        raise ValidationError(_("This line needs no witness, or has one."))
    return _write(held, Kind.WITNESSED, 0, by=by, done_at=now(), refers_to=line)


# --- counts -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Counted:
    """What came of entering a count: it waits for the second person, the two differ, or it is a line."""

    is_waiting: bool = False
    is_differing: bool = False
    line: RegisterLine | None = None


@transaction.atomic
def count(page: RegisterPage, *, by: Person, counted: Decimal) -> Counted:
    """Enter what one person counted, without knowing the other's figure. Two that agree are a line of the register.

    Two that differ are both kept, and both count anew. Every line before must have its witness.
    """
    held = _held(page)
    _refuse_writer(by, held.hospital)
    found = _whole(counted, "counted", may_be_nothing=True)
    if waiting := list(held.lines.not_witnessed().order_by("number").values_list("number", flat=True)):
        numbers = ", ".join(map(str, waiting))
        sentence = _("Not witnessed yet: line %(numbers)s. A witness must sign before the stock is counted.")
        raise ValidationError(sentence % {"numbers": numbers})
    if Kind.COUNT not in rules_of(held.hospital).witness_for:
        return Counted(line=_write(held, Kind.COUNT, 0, by=by, done_at=now(), counted=found))
    first = first_count(held, now())
    is_second = first is not None and first.counted_by_id != by.pk
    last = held.lines.order_by("-number").values_list("number", flat=True).first() or 0
    entry = CountEntry(
        page=held, place=2 if is_second else 1, counted_thousandths=found, counted_by=by, counted_at=now(), after_number=last
    )
    entry.full_clean()
    entry.save(force_insert=True)
    if not is_second:
        return Counted(is_waiting=True)
    if first.counted_thousandths != found:
        return Counted(is_differing=True)
    return Counted(line=_write(held, Kind.COUNT, 0, by=first.counted_by, witness=by, done_at=now(), counted=found))


@transaction.atomic
def settle(
    line: RegisterLine, *, by: Person, is_adjusted: bool, reason: str, witness: Person | None = None
) -> RegisterLine:
    """Close a difference that a count found: the balance follows what was counted, or a line entered since explains it."""
    held = _held(line.page)
    line = RegisterLine.objects.with_standing().select_related("page").get(pk=line.pk)
    if not line.difference_thousandths or line.is_corrected:
        raise ValidationError(_("There is no difference to close here, or somebody has closed it."))
    moved = line.difference_thousandths if is_adjusted else 0
    return _write(
        held, Kind.CORRECTION, moved, by=by, done_at=now(), witness=witness, refers_to=line, reason=reason, field="is_adjusted"
    )
