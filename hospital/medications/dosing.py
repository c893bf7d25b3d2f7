"""A dose worked out from an animal's weight, and what a vet must look at before it is ordered.

Sums only: what the animal needs is a licensed vet's judgement.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from hospital.admissions.days import in_words
from hospital.admissions.models import Patient, Weight
from hospital.clock import now
from hospital.medications.formulary import Stop, stops_for
from hospital.medications.queries import Judge, judge_of, medicine_and_class, other_courses
from hospital.medications.wording import tongue
from hospital.rules import weights
from hospital.rules.doses import (
    AmountUnit,
    Asked,
    Dilution,
    DoesNotFit,
    DoseRefused,
    TooCoarse,
    UnitsDiffer,
    Worked,
    converted,
    volume_to_dispense_ml,
    worked,
)
from hospital.rules.dosetimes import HALF_LIVES, nth_dose_at, washout_ends
from hospital.rules.formulary import NEEDS_SECOND_VET, Entry, Finding, Span, Wanted, held_beside, overlaps
from hospital.rules.wording import (
    ROUTES,
    Route,
    Unit,
    body_weight,
    drug_amount,
    every,
    number,
    quantity,
    readable,
    rounded,
    strength,
)


@dataclass(frozen=True, slots=True)
class Course:
    """What a vet asks for, as far as sums and rules go: the same for the calculator and for the order."""

    drug: str
    asked: Asked
    route: str
    every_hours: int
    doses: int
    first_dose_at: datetime  # in the hospital's zone

    @property
    def last_dose_at(self) -> datetime:
        return nth_dose_at(self.first_dose_at, self.every_hours, self.doses - 1)

    @property
    def wanted(self) -> Wanted:
        return Wanted(self.asked.dose_per_kg, self.asked.dose_unit, self.route, self.every_hours, self.doses)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One dose and its course, worked out. Moments are in the hospital's zone; volumes are of what is drawn up."""

    course: Course
    worked: Worked
    dispense_ml: Decimal
    discard_days: int | None
    half_life_hours: Decimal | None = None

    @property
    def weight_g(self) -> Decimal:
        return self.worked.weight_g

    @property
    def drawn(self):
        return self.worked.drawn

    @property
    def last_dose_at(self) -> datetime:
        return self.course.last_dose_at

    @property
    def dose(self) -> str:
        """The dose in words, to four significant digits."""
        return drug_amount(readable(self.worked.dose), Unit(self.course.asked.dose_unit), tongue())

    @property
    def drawn_strength(self) -> str:
        """The strength of what is drawn up; empty while nothing is diluted, because it is the bottle's."""
        if self.course.asked.dilution_parts == 1:
            return ""
        return strength(readable(self.drawn.per_ml), Unit(self.course.asked.strength_unit), tongue())

    @property
    def discard_on(self) -> date | None:
        """The day by which a bottle goes that is opened or made up for the first dose; None: not known."""
        if self.discard_days is None:
            return None
        return self.course.first_dose_at.date() + timedelta(days=self.discard_days)

    @property
    def washed_out_at(self) -> datetime | None:
        """When five half-lives have passed since the last dose; None: no half-life is known."""
        return washout_ends(self.last_dose_at, self.half_life_hours) if self.half_life_hours else None

    @property
    def half_lives(self) -> str:
        """What the washout is counted from: "5 half-lives of 35 hours"."""
        told = {"count": HALF_LIVES, "hours": number(self.half_life_hours or 0, tongue())}
        return _("%(count)s half-lives of %(hours)s hours") % told

    @property
    def outlasts_its_bottle(self) -> bool:
        return self.discard_on is not None and self.last_dose_at.date() > self.discard_on


class CannotBeDrawnUp(ValidationError):
    """A volume that no syringe shows well enough, with the dilution that would do, or None."""

    def __init__(self, message: dict, dilution: Dilution | None):
        super().__init__(message)
        self.dilution = dilution


def sheet(course: Course, weight_g: Decimal, judge: Judge | None = None) -> Sheet:
    """Work a course out. Refuses, as a sentence at the field, what cannot be counted or drawn up within 10 %."""
    entry = judge.entry if judge else None
    try:
        done = worked(course.asked, weight_g, most_per_kg=_most_per_kg(entry, course))
    except UnitsDiffer as refusal:
        sentence = _("Dose and strength must both be in units, or both in mg or micrograms.")
        raise ValidationError({"strength_unit": sentence}) from refusal
    except TooCoarse as refusal:
        whole = _in_parts_of_the_bottle(refusal.dilution, course.asked)
        raise CannotBeDrawnUp({"strength_per_ml": _too_coarse(refusal, whole, course.asked)}, whole) from refusal
    except DoesNotFit as refusal:
        raise ValidationError({"syringe_ml" if course.asked.syringe_ml else "strength_per_ml": _too_much(refusal, course)}) from refusal
    except DoseRefused as refusal:
        raise ValidationError({"dose_per_kg": str(refusal)}) from refusal
    dispense_ml = volume_to_dispense_ml(done.drawn.volume_ml, course.doses)
    return Sheet(course, done, dispense_ml, entry.discard_days if entry else None, entry.half_life_hours if entry else None)


def _most_per_kg(entry: Entry | None, course: Course) -> Decimal | None:
    """What rounding to the mark must not reach: the limit for a second vet, in the unit of the order."""
    if entry is None or (entry.unit is AmountUnit.UNIT) != (course.asked.dose_unit is AmountUnit.UNIT):
        return None
    return converted(entry.hard_from_per_kg, entry.unit, course.asked.dose_unit)


def _in_parts_of_the_bottle(dilution: Dilution | None, asked: Asked) -> Dilution | None:
    """A dilution proposed for what is drawn up, counted from the bottle."""
    if dilution is None:
        return None
    return Dilution(dilution.parts * asked.dilution_parts, dilution.per_ml, dilution.volume_ml, dilution.syringe)


def _too_coarse(refusal: TooCoarse, dilution: Dilution | None, asked: Asked) -> str:
    """Why it cannot be drawn up, and the dilution that would do."""
    exact = quantity(rounded(refusal.volume_ml, 4), Unit.ML, tongue())
    sentence = _("%(volume)s cannot be drawn up within 10%% of the dose.") % {"volume": exact}
    if asked.syringe_ml is not None:
        sentence += " " + _("Try a smaller syringe.")
    if dilution is None:
        return sentence + " " + _("Use a weaker solution.")
    proposal = _("Proposal: dilute 1 part in %(parts)s parts altogether, to %(strength)s, and draw up %(volume)s.")
    told = {
        "parts": dilution.parts,
        "strength": strength(readable(dilution.per_ml), Unit(asked.strength_unit), tongue()),
        "volume": quantity(dilution.volume_ml, Unit.ML, tongue()),
    }
    return sentence + " " + proposal % told


def _too_much(refusal: DoesNotFit, course: Course) -> str:
    told = {
        "volume": quantity(rounded(refusal.volume_ml, 2), Unit.ML, tongue()),
        "syringe": quantity(refusal.capacity_ml, Unit.ML, tongue()),
    }
    if course.asked.syringe_ml is not None:
        return _("%(volume)s does not fit into this syringe of %(syringe)s. Choose a larger one.") % told
    return (
        _(
            "%(volume)s is more than the largest syringe holds (%(syringe)s): check weight and strength,"
            " or order it as an infusion."
        )
        % told
    )


# --- the weight ---------------------------------------------------------------------------------------------------


def weight_slip(recent: Sequence[Weight]) -> str:
    """Why the newest weight cannot be right, so that nothing is ordered until the animal is weighed again; else empty."""
    if not recent or not weights.is_slip(recent[0].weight_g, [row.weight_g for row in recent[1:]]):
        return ""
    told = {"before": body_weight(recent[1].weight_g, tongue()), "now": body_weight(recent[0].weight_g, tongue())}
    return (
        _(
            "The weight went from %(before)s to %(now)s: this looks like a misplaced decimal point."
            " Weigh the animal again before you order."
        )
        % told
    )


def weight_doubt(recent: Sequence[Weight], today: date, zone: str, good_for_days: int) -> str:
    """Why the newest weight should be looked at before a dose is worked from it; empty when nothing speaks against it.

    `recent` holds the newest weight first, and those before it.
    """
    newest = recent[0]
    weighed_on = newest.weighed_at.astimezone(ZoneInfo(zone)).date()
    if weights.is_stale(weighed_on, today, good_for_days):
        old = ngettext(
            "The weight is from %(day)s, more than %(days)d day ago.",
            "The weight is from %(day)s, more than %(days)d days ago.",
            good_for_days,
        )
        return old % {"day": in_words(weighed_on), "days": good_for_days}
    if len(recent) > 1 and weights.has_changed(recent[1].weight_g, newest.weight_g):
        changed = _("The weight went from %(before)s to %(now)s, more than 10%%.")
        return changed % {"before": body_weight(recent[1].weight_g), "now": body_weight(newest.weight_g)}
    return ""


# --- what speaks against it ---------------------------------------------------------------------------------------


def stops(patient: Patient, drug: str, route: str) -> tuple[list[Stop], list[Stop]]:
    """What the order meets: refusals, and warnings that may be overridden."""
    species = patient.species
    met = stops_for(drug, species.group.lineage(), species.family, species.scientific_name, route)
    return [stop for stop in met if stop.is_refused], [stop for stop in met if not stop.is_refused]


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that speaks against an order, as a sentence. `order_id`: the other course that it is about."""

    finding: Finding
    sentence: str
    order_id: int | None = None

    @property
    def needs_second_vet(self) -> bool:
        return self.finding in NEEDS_SECOND_VET


def judge_for(patient: Patient, course_drug: str, route: str) -> Judge:
    """The row of the formulary that an order for this animal is judged by."""
    return judge_of(patient.hospital, course_drug, patient.species.group.lineage(), route)


def flags(patient: Patient, course: Course, judge: Judge) -> list[Flag]:
    """Everything that speaks against an order, the gravest first."""
    beside = held_beside(judge.entry, course.wanted, is_adopted=judge.adoption is not None)
    found = [Flag(each, _sentence(each, judge, course)) for each in beside]
    found += _nearer(judge, course)
    found += _overlaps(patient, course, judge)
    return sorted(found, key=lambda flag: not flag.needs_second_vet)


def _nearer(judge: Judge, course: Course) -> list[Flag]:
    """A wider row in force is no reason to overlook a nearer one that this order does not agree with."""
    if judge.nearer is None:
        return []
    differs = held_beside(judge.nearer, course.wanted, is_adopted=True)
    if not differs:
        return []
    words = _("The reference list has a row for a nearer group, which no vet here has adopted. By that row: %(sentence)s")
    nearer = Judge(judge.nearer, None)
    told = " ".join(_sentence(each, nearer, course) for each in differs)
    return [Flag(Finding.NEARER_DIFFERS, words % {"sentence": told})]


def _overlaps(patient: Patient, course: Course, judge: Judge) -> Iterator[Flag]:
    medicine, its_class = medicine_and_class(course.drug, judge.adoption)
    ends = nth_dose_at(course.first_dose_at, course.every_hours, course.doses)
    others = other_courses(patient, now())
    orders = {span.key: order for order, span in others}
    met = overlaps(Span(0, medicine, its_class, course.first_dose_at, ends), [span for _, span in others])
    for finding, span in met:
        order = orders[span.key]
        last_on = nth_dose_at(span.starts_at, order.every_hours, order.doses - 1).date()
        told = {"drug": order.drug, "day": in_words(last_on), "class": class_words(its_class)}
        waits = order.is_waiting
        if finding is Finding.SAME_MEDICINE:
            sentence = _("%(drug)s is ordered already, until %(day)s.")
        else:
            sentence = _("%(drug)s is of the same class (%(class)s) and is ordered until %(day)s.")
        yield Flag(finding, sentence % told + (" " + _("It waits for a second vet.") if waits else ""), order.pk)


def _sentence(finding: Finding, judge: Judge, course: Course) -> str:
    entry = judge.entry
    if entry is None:
        return _("Neither the formulary nor the reference list has this medicine for this group.")
    if finding is Finding.NOT_ADOPTED:
        return _("No vet of this hospital has adopted a row for this medicine and group. It is judged by the reference list.")
    return str(SENTENCES[finding]) % _figures(finding, entry, course)


SENTENCES = {
    Finding.OTHER_UNIT: gettext_lazy("The formulary counts this medicine in another kind of unit: %(usual)s per kg."),
    Finding.OTHER_ROUTE: gettext_lazy("The formulary has it %(routes)s only."),
    Finding.BELOW_USUAL: gettext_lazy("The usual dose is %(usual)s per kg; this is only %(percent)s%% of it."),
    Finding.ABOVE_USUAL: gettext_lazy("The largest usual dose is %(top)s per kg; this is %(times)s times as much."),
    Finding.ABOVE_HARD: gettext_lazy(
        "From %(hard)s per kg on a second vet must sign. The largest usual dose is %(top)s per kg;"
        " this is %(times)s times as much. %(why)s"
    ),
    Finding.TOO_OFTEN: gettext_lazy("The formulary gives it %(row_every)s; this is %(every)s."),
    Finding.TOO_MANY_DOSES: gettext_lazy("The formulary ends after %(most)s doses; these are %(doses)s."),
}


def _figures(finding: Finding, entry: Entry, course: Course) -> dict[str, str]:
    """The figures of the sentences, as people may safely read them."""
    unit, say = Unit(entry.unit), tongue()
    told = {
        "usual": quantity(entry.per_kg, unit, say),
        "top": quantity(entry.per_kg_top, unit, say),
        "hard": quantity(entry.hard_from_per_kg, unit, say),
        "why": entry.hard_reason,
        "routes": routes_in_words(entry.routes),
        "row_every": every(entry.every_hours, say) if entry.every_hours else "",
        "every": every(course.every_hours, say),
        "most": number(entry.doses_most or 0, say),
        "doses": number(course.doses, say),
    }
    if finding in {Finding.BELOW_USUAL, Finding.ABOVE_USUAL, Finding.ABOVE_HARD}:
        per_kg = converted(course.asked.dose_per_kg, course.asked.dose_unit, entry.unit)
        told["times"] = number(readable(rounded(per_kg / entry.per_kg_top, 2)), say)
        told["percent"] = number(rounded(per_kg * 100 / entry.per_kg, 1), say)
    return told


def routes_in_words(names: Sequence[str]) -> str:
    """Ways of giving a medicine: "by mouth or by injection under the skin"."""
    return (" " + _("or") + " ").join(tongue().say(ROUTES[Route(name)]) for name in names)


CLASSES = {
    "nsaid": gettext_lazy("anti-inflammatory without steroid"),
    "corticosteroid": gettext_lazy("corticosteroid"),
    "opioid": gettext_lazy("opioid"),
    "dissociative": gettext_lazy("dissociative anaesthetic"),
    "benzodiazepine": gettext_lazy("benzodiazepine"),
    "barbiturate": gettext_lazy("barbiturate"),
    "beta-lactam": gettext_lazy("beta-lactam antibiotic"),
    "fluoroquinolone": gettext_lazy("fluoroquinolone antibiotic"),
    "tetracycline": gettext_lazy("tetracycline antibiotic"),
    "azole": gettext_lazy("azole antifungal"),
    "macrocyclic lactone": gettext_lazy("macrocyclic lactone against parasites"),
    "isoxazoline": gettext_lazy("isoxazoline against parasites"),
    "triazine": gettext_lazy("triazine against coccidia"),
    "oxytocic": gettext_lazy("oxytocic"),
}


def class_words(slug: str) -> str:
    """A class in words; a hospital's own class as it was typed."""
    return str(CLASSES.get(slug, slug))
