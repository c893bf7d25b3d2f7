"""Pages, amounts and lines of the register in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from hospital.register.models import DrugForm, Kind, RegisterLine, RegisterPage
from hospital.rules.register import Fault, FaultKind, amount_of
from hospital.rules.wording import NBSP, Tongue, Unit, number, quantity

_PIECES = {
    DrugForm.TABLET: lambda count: ngettext("tablet", "tablets", count),
    DrugForm.CAPSULE: lambda count: ngettext("capsule", "capsules", count),
    DrugForm.PATCH: lambda count: ngettext("patch", "patches", count),
    DrugForm.POWDER: lambda count: ngettext("vial", "vials", count),
}
SIGNED_AT_THE_ACT = timedelta(minutes=10)  # a witness who signs later than that is marked
# What is asked before each kind of entry, for the rules' page.
ASKED = {
    Kind.RECEIVED: _("when stock is received"),
    Kind.GIVEN: _("when a dose is drawn up and given"),
    Kind.WASTED: _("when a rest is wasted"),
    Kind.DESTROYED: _("when stock is destroyed"),
    Kind.TRANSFERRED: _("when stock goes to another place"),
    Kind.COUNT: _("at a count: two people, each without knowing the other's figure"),
    Kind.CORRECTION: _("at a correction"),
}


def tongue() -> Tongue:
    return Tongue(say=gettext)


def amount(page: RegisterPage, thousandths: int) -> str:
    """ "0.5 mL", "12 tablets"; a minus sign before what goes out."""
    value = amount_of(thousandths)
    if page.is_liquid:
        return quantity(value, Unit.ML, tongue())
    return f"{number(value, tongue())}{NBSP}{_PIECES[DrugForm(page.form)](1 if abs(value) == 1 else 2)}"


def signed(page: RegisterPage, thousandths: int) -> str:
    """The same with a plus sign before what comes in."""
    return f"+{amount(page, thousandths)}" if thousandths > 0 else amount(page, thousandths)


def unit(page: RegisterPage) -> str:
    """What the page's drug is counted in."""
    return Unit.ML.value if page.is_liquid else _PIECES[DrugForm(page.form)](2)


def strength(page: RegisterPage) -> str:
    """ "100 mg per mL"; of tablets "5 mg"."""
    what = quantity(Decimal(page.strength), Unit(page.strength_unit), tongue())
    return (gettext("%(amount)s per mL") % {"amount": what}).replace(" ", NBSP) if page.is_liquid else what


def title(page: RegisterPage) -> str:
    """Drug, strength and form: the heading of a page."""
    return f"{page.drug} {strength(page)}, {page.get_form_display()}"


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the register as a person reads it, on the page, in the file and on paper."""

    line: RegisterLine
    what: str  # "Given", "Correction of line 7"
    moved: str
    came_in: str
    went_out: str
    balance: str
    about: tuple[str, ...]  # animal, from or to whom, document, batch, count, reason
    witness: str
    flags: tuple[str, ...]
    later: tuple[str, ...]  # corrections and signatures that refer to it
    is_waiting: bool  # for a witness
    is_open: bool  # a difference that nobody has closed


def rows(lines: Iterable[RegisterLine]) -> list[Row]:
    """Lines of queries.lines_of in words."""
    return [_row(line) for line in lines]


def _row(line: RegisterLine) -> Row:
    page, moved = line.page, line.moved_thousandths
    later = list(line.referring.all())
    signature = next((each for each in later if each.kind == Kind.WITNESSED), None)
    is_waiting = line.is_witness_asked and line.witness_id is None and signature is None
    is_open = bool(line.difference_thousandths) and not line.is_corrected
    return Row(
        line,
        _what(line),
        moved=signed(page, moved) if moved else "",
        came_in=amount(page, moved) if moved > 0 else "",
        went_out=amount(page, -moved) if moved < 0 else "",
        balance=amount(page, line.balance_thousandths),
        about=tuple(_about(line)),
        witness=line.witness_name or (signature.recorded_by_name if signature else ""),
        flags=tuple(_flags(line, signature, is_waiting=is_waiting, is_open=is_open)),
        later=tuple(_later(line, each) for each in later),
        is_waiting=is_waiting,
        is_open=is_open,
    )


def _what(line: RegisterLine) -> str:
    if line.refers_to is None:
        return line.get_kind_display()
    number = {"number": line.refers_to.number}
    if line.kind == Kind.CORRECTION and line.refers_to.kind == Kind.COUNT:
        return gettext("Difference of line %(number)d closed") % number
    said = {
        Kind.CORRECTION: gettext("Correction of line %(number)d"),
        Kind.WITNESSED: gettext("Witness of line %(number)d"),
        Kind.WASTED: gettext("Wasted, rest of line %(number)d"),
    }
    return said[Kind(line.kind)] % number if line.kind in said else line.get_kind_display()


def _about(line: RegisterLine) -> Iterable[str]:
    if line.counted_thousandths is not None:
        yield gettext("Found %(amount)s") % {"amount": amount(line.page, line.counted_thousandths)}
    if line.animal:
        yield line.animal
    if line.other_party:
        yield (gettext("From %(whom)s") if line.moved_thousandths > 0 else gettext("To %(whom)s")) % {"whom": line.other_party}
    if line.source:
        yield gettext("Document: %(words)s") % {"words": line.source}
    if line.batch:
        yield gettext("Batch %(words)s") % {"words": line.batch}
    if line.reason:
        yield line.reason


def _flags(line: RegisterLine, signature: RegisterLine | None, *, is_waiting: bool, is_open: bool) -> Iterable[str]:
    """What a reader must notice about a line."""
    if is_waiting:
        yield gettext("Not witnessed")
    if line.late_reason:
        yield gettext("Entered late: %(reason)s") % {"reason": line.late_reason}
    signed_at = signature.entered_at if signature else line.witnessed_at
    if signed_at and signed_at - line.done_at > SIGNED_AT_THE_ACT:
        yield gettext("Witness signed later")
    if line.difference_thousandths:
        words = gettext("Difference %(amount)s, open") if is_open else gettext("Difference %(amount)s, closed")
        yield words % {"amount": signed(line.page, line.difference_thousandths)}


def _later(line: RegisterLine, later: RegisterLine) -> str:
    told = {"number": later.number, "amount": signed(line.page, later.moved_thousandths), "reason": later.reason}
    if later.kind == Kind.CORRECTION:
        return gettext("Line %(number)d: %(amount)s, %(reason)s") % told
    if later.kind == Kind.WITNESSED:
        return gettext("Line %(number)d: witnessed by %(name)s") % {"number": later.number, "name": later.recorded_by_name}
    return gettext("Line %(number)d: %(amount)s wasted") % told


_FAULTS = {
    FaultKind.NUMBER: _("is missing, or there twice"),
    FaultKind.BALANCE: _("has a balance that does not follow from the line before"),
    FaultKind.CHAIN: _("does not carry the hash of the line before"),
    FaultKind.TEXT: _("no longer says what it said when it was written"),
}


def fault(found: Fault) -> str:
    """ "Line 12 no longer says what it said when it was written." """
    return gettext("Line %(number)d %(what)s.") % {"number": found.number, "what": _FAULTS[found.kind]}
