"""Numbers, amounts and whole medication lines as people may safely read them; the only place that makes
them.

The habits are those of the lists of error-prone dose writing (ISMP) and of the NHS common user interface
guides (medication line 2010, date and time display 2010). Words are English message texts; a `Tongue` turns
them into another language and brings its own decimal mark.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from enum import StrEnum

NBSP = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
MICROGRAMS_A_MG = 1000
HOURS_A_DAY = 24
HOURS_A_WEEK = 168


def gettext_noop(text: str) -> str:
    """Marks a text for the translators; the `Tongue` looks it up later."""
    return text


@dataclass(frozen=True, slots=True)
class Tongue:
    """A language for people: how a message text is said, and how numbers are written."""

    say: Callable[[str], str]
    decimal_mark: str = "."
    group_mark: str = ","


ENGLISH = Tongue(say=lambda text: text)
NOT_RECORDED = gettext_noop("Not recorded")


class Unit(StrEnum):
    """Units as they are written out: no full stops, "micrograms" and "units" in full, mL with a large L."""

    MICROGRAM = "microgram"
    MG = "mg"
    G = "g"
    KG = "kg"
    ML = "mL"
    KCAL = "kcal"
    UNIT = "unit"
    MINUTE = "minute"
    HOUR = "hour"
    DAY = "day"
    MM = "mm"
    CM = "cm"
    M = "m"
    KM = "km"
    PERCENT = "%"
    CELSIUS = "°C"


_IN_WORDS = {  # one, several
    Unit.MICROGRAM: (gettext_noop("microgram"), gettext_noop("micrograms")),
    Unit.UNIT: (gettext_noop("unit"), gettext_noop("units")),
    Unit.MINUTE: (gettext_noop("minute"), gettext_noop("minutes")),
    Unit.HOUR: (gettext_noop("hour"), gettext_noop("hours")),
    Unit.DAY: (gettext_noop("day"), gettext_noop("days")),
}


class Route(StrEnum):
    """How a medicine is given."""

    MOUTH = "mouth"
    UNDER_SKIN = "under_skin"
    MUSCLE = "muscle"
    VEIN = "vein"
    BODY_CAVITY = "body_cavity"
    EYE = "eye"
    SKIN = "skin"


ROUTES = {
    Route.MOUTH: gettext_noop("by mouth"),
    Route.UNDER_SKIN: gettext_noop("by injection under the skin"),
    Route.MUSCLE: gettext_noop("by injection into the muscle"),
    Route.VEIN: gettext_noop("by injection into a vein"),
    Route.BODY_CAVITY: gettext_noop("by injection into the body cavity"),
    Route.EYE: gettext_noop("on the eye"),
    Route.SKIN: gettext_noop("on the skin"),
}


def number(value: Decimal | int, tongue: Tongue = ENGLISH) -> str:
    """A number with a leading zero, no trailing zero, no exponent, and groups of three from 1,000 on."""
    if isinstance(value, float) or not Decimal(value).is_finite():
        raise TypeError(f"Only decimals and whole numbers are written out, not {value!r}.")
    whole, _, fraction = f"{abs(Decimal(value)):f}".partition(".")
    grouped = f"{int(whole):,}".replace(",", tongue.group_mark)
    fraction = fraction.rstrip("0")
    text = f"{grouped}{tongue.decimal_mark}{fraction}" if fraction else grouped
    return f"{MINUS}{text}" if value < 0 else text


def rounded(value: Decimal, places: int) -> Decimal:
    """A value for reading only, to so many places at most; never the start of another sum."""
    return round(value, places)


def quantity(value: Decimal | int, unit: Unit, tongue: Tongue = ENGLISH) -> str:
    """A number and its unit, which no line break may part: "1,500 micrograms", "0.5 mL", "10%"."""
    if unit is Unit.PERCENT:
        return f"{number(value, tongue)}%"
    one, several = _IN_WORDS.get(unit, (unit.value, unit.value))
    return f"{number(value, tongue)}{NBSP}{tongue.say(one if value == 1 else several)}"


def mass(mg: Decimal, tongue: Tongue = ENGLISH) -> str:
    """An amount of drug in the unit that needs fewest decimals: micrograms below 1 mg, grams when they are
    whole.
    """
    if mg < 1:
        return quantity(mg * MICROGRAMS_A_MG, Unit.MICROGRAM, tongue)
    if mg % 1000 == 0:
        return quantity(mg / 1000, Unit.G, tongue)
    return quantity(mg, Unit.MG, tongue)


def readable(amount: Decimal) -> Decimal:
    """An amount to four significant digits: for reading only, never the start of another sum."""
    return amount if not amount else round(amount, 3 - amount.adjusted())


def drug_amount(amount: Decimal, unit: Unit, tongue: Tongue = ENGLISH) -> str:
    """An amount of drug: a mass in the unit that needs fewest decimals, or units in full."""
    if unit is Unit.UNIT:
        return quantity(amount, unit, tongue)
    return mass(amount * _MG_IN[unit], tongue)


_MG_IN = {Unit.MICROGRAM: Decimal("0.001"), Unit.MG: Decimal(1), Unit.G: Decimal(1000)}


def strength(per_ml: Decimal, unit: Unit, tongue: Tongue = ENGLISH) -> str:
    """Amount per mL, in the very unit of the bottle, so that the two can be compared; never a ratio, never a slash."""
    return _labelled(gettext_noop("%(amount)s per mL"), quantity(per_ml, unit, tongue), tongue)


def body_weight(weight_g: Decimal, tongue: Tongue = ENGLISH) -> str:
    """An animal's weight: grams, and kilograms from 10 kg on."""
    if weight_g >= 10000:
        return quantity(weight_g / 1000, Unit.KG, tongue)
    return quantity(weight_g, Unit.G, tongue)


def every(hours: int, tongue: Tongue = ENGLISH) -> str:
    """How often, in words: never a Latin abbreviation."""
    if hours == 1:
        return tongue.say(gettext_noop("every hour"))
    if hours == HOURS_A_DAY:
        return tongue.say(gettext_noop("once a day"))
    if hours == HOURS_A_WEEK:
        return tongue.say(gettext_noop("once a week"))
    if hours % HOURS_A_DAY == 0:
        span = quantity(hours // HOURS_A_DAY, Unit.DAY, tongue)
    else:
        span = quantity(hours, Unit.HOUR, tongue)
    return tongue.say(gettext_noop("every %(span)s")) % {"span": span}


def tablets(count: Decimal, tongue: Tongue = ENGLISH) -> str:
    """A number of tablets with fractions in words: "half a tablet", "1 and a half tablets"."""
    whole, part = divmod(count, 1)
    if part not in _PARTS:
        raise ValueError(f"Tablets are given whole, or in halves and quarters, not {count}.")
    alone, beside = _PARTS[part]
    if not part:
        text = gettext_noop("%(whole)s tablet") if whole == 1 else gettext_noop("%(whole)s tablets")
        return tongue.say(text) % {"whole": number(whole, tongue)}
    return tongue.say(beside if whole else alone) % {"whole": number(whole, tongue)}


_PARTS = {
    Decimal("0"): ("", ""),
    Decimal("0.25"): (
        gettext_noop("a quarter of a tablet"),
        gettext_noop("%(whole)s and a quarter tablets"),
    ),
    Decimal("0.5"): (gettext_noop("half a tablet"), gettext_noop("%(whole)s and a half tablets")),
    Decimal("0.75"): (
        gettext_noop("three quarters of a tablet"),
        gettext_noop("%(whole)s and three quarter tablets"),
    ),
}

_DAYS = (
    gettext_noop("Mon"),
    gettext_noop("Tue"),
    gettext_noop("Wed"),
    gettext_noop("Thu"),
    gettext_noop("Fri"),
    gettext_noop("Sat"),
    gettext_noop("Sun"),
)
_MONTHS = (
    gettext_noop("Jan"),
    gettext_noop("Feb"),
    gettext_noop("Mar"),
    gettext_noop("Apr"),
    gettext_noop("May"),
    gettext_noop("Jun"),
    gettext_noop("Jul"),
    gettext_noop("Aug"),
    gettext_noop("Sep"),
    gettext_noop("Oct"),
    gettext_noop("Nov"),
    gettext_noop("Dec"),
)


def day(on: date, tongue: Tongue = ENGLISH) -> str:
    """A date that nobody can read as another one: weekday, day, month as text, year: "Fri 09-Apr-2027"."""
    weekday, month = tongue.say(_DAYS[on.weekday()]), tongue.say(_MONTHS[on.month - 1])
    return f"{weekday}{NBSP}{on.day:02d}-{month}-{on.year:04d}"


def clock(at: time) -> str:
    """A time by the 24-hour clock: "08:00"."""
    return f"{at.hour:02d}:{at.minute:02d}"


def stated(text: str | None, tongue: Tongue = ENGLISH) -> str:
    """A text, or that it was not recorded: never a blank."""
    return text if text and text.strip() else tongue.say(NOT_RECORDED)


# Pieces that free text may not bring into a medication line, what to write instead, and why they are here: ISMP's list of
# error-prone abbreviations, symbols and dose designations. Words that every animal nurse writes (SC, IM) are left alone.
_ERROR_PRONE = (
    (r"(?i:\bmcg\b)|[µμ]g", gettext_noop("micrograms")),
    (r"\b(?:I\.?U\.?|i\.?u\.?)(?!\w)|(?<=\d)\s?[Uu]\b", gettext_noop("units")),
    (r"(?i:\bcc\b)", gettext_noop("mL")),
    (r"(?i:\bq\.?o\.?d\b\.?|\beod\b)", gettext_noop("every 2 days")),
    (r"\b(?:qd|QD|q\.d|sid|SID|s\.i\.d|od|OD|o\.d)\b\.?", gettext_noop("once a day")),
    (r"\b(?:bid|BID|b\.i\.d)\b\.?", gettext_noop("every 12 hours")),
    (r"\b(?:tid|TID|t\.i\.d)\b\.?", gettext_noop("every 8 hours")),
    (r"\b(?:qid|QID|q\.i\.d)\b\.?", gettext_noop("every 6 hours")),
    (r"(?i:\bq\s?\d+\s?h\b)", gettext_noop("every … hours")),
    (r"\d+\.\d*0(?!\d)", gettext_noop("no zero at the end after a point: 5, not 5 point 0")),
    (r"(?<!\d)\.\d", gettext_noop("a zero before the point: 0.5")),
    (r"\d\s?/\s?\d|[½¼¾]", gettext_noop("fractions in words: half, a quarter")),
    (r"(?i:\b(?:mg|g|micrograms?|units?)\s?/\s?(?:kg|ml)\b)", gettext_noop("“per” in place of the stroke")),
    (r"@", gettext_noop("at")),
    (r"[<>]", gettext_noop("“less than” or “more than”")),
    (r"\+", gettext_noop("and")),
)


def error_prone(text: str, tongue: Tongue = ENGLISH) -> list[tuple[str, str]]:
    """Pieces of a free text that have been misread as another dose, each with what to write instead."""
    found = ((re.search(pattern, text), instead) for pattern, instead in _ERROR_PRONE)
    return [(piece.group().strip(), tongue.say(instead)) for piece, instead in found if piece]


# Letters that tell two names apart, for the place where names are picked and nowhere else (a medication line is lower case):
# lists of look-alike names by ISMP and FDA, from memory.
TALL_MAN = {"ceftazidime": "cefTAZidime", "hydromorphone": "HYDROmorphone", "tramadol": "traMADol"}


def drug_name(name: str) -> str:
    """A generic name as a line shows it: in full and lower case; short forms such as "B12" keep their capitals."""
    return " ".join(_lower(word) for word in name.split())


def _lower(word: str) -> str:
    letters = re.sub(r"[^A-Za-z]", "", word)
    is_shouted = letters.isupper() and len(letters) > 4 and not any(c.isdigit() for c in word)
    is_name = len(letters) > 2 and word[:1].isupper() and word[1:] == word[1:].lower()
    return word.lower() if is_shouted or is_name else word


class Part(StrEnum):
    """What a piece of a medication line is. The drug and the dose are shown bold; no piece is parted from
    its label.
    """

    DRUG = "drug"
    BRAND = "brand"
    STRENGTH = "strength"
    DILUTION = "dilution"
    DOSE = "dose"
    AMOUNT = "amount"
    ROUTE = "route"
    EVERY = "every"
    COURSE = "course"
    KEEPING = "keeping"
    NOTE = "note"

    @property
    def is_bold(self) -> bool:
        return self in {Part.DRUG, Part.DOSE}


@dataclass(frozen=True, slots=True)
class Medication:
    """What a medication line says. The strength is in the unit of the bottle, before any dilution.

    Exactly one of `volume_ml` (to draw up) and `tablet_count` is given. `doses` None: until further word.
    `dilution_parts`: one part of the bottle in so many parts altogether. `discard_days`: after opening; None says nothing.
    """

    drug: str
    dose: Decimal
    route: Route
    every_hours: int
    doses: int | None
    dose_unit: Unit = Unit.MG
    strength_unit: Unit = Unit.MG
    strength_per_ml: Decimal | None = None
    volume_ml: Decimal | None = None
    strength_per_tablet: Decimal | None = None
    tablet_count: Decimal | None = None
    brand: str = ""
    dilution_parts: int = 1
    discard_days: int | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if (self.volume_ml is None) == (self.tablet_count is None):
            raise ValueError("A dose is either drawn up or given in tablets: state one of them.")
        if not self.drug.strip():
            raise ValueError("A medication line needs the name of the drug.")
        if (self.dose_unit is Unit.UNIT) != (self.strength_unit is Unit.UNIT):
            raise ValueError("Dose and strength are both in units, or both in mass.")


def medication_parts(given: Medication, tongue: Tongue = ENGLISH) -> tuple[tuple[Part, str], ...]:
    """The pieces of a medication line, in reading order: drug, strength, DOSE, what to draw up, route, how
    often, course.
    """
    pieces = (
        (Part.DRUG, drug_name(given.drug)),
        (Part.BRAND, f"({given.brand.strip().upper()})" if given.brand.strip() else ""),
        (Part.STRENGTH, _strength(given, tongue)),
        (Part.DILUTION, _dilution(given, tongue)),
        (
            Part.DOSE,
            _labelled(gettext_noop("DOSE %(amount)s"), drug_amount(given.dose, given.dose_unit, tongue), tongue),
        ),
        (Part.AMOUNT, _amount(given, tongue)),
        (Part.ROUTE, tongue.say(ROUTES[given.route])),
        (Part.EVERY, "" if given.doses == 1 else every(given.every_hours, tongue)),
        (Part.COURSE, _course(given, tongue)),
        (Part.KEEPING, discard_after(given.discard_days, tongue) if given.discard_days is not None else ""),
        (Part.NOTE, given.note.strip()),
    )
    return tuple((part, text) for part, text in pieces if text)


def medication_line(given: Medication, tongue: Tongue = ENGLISH) -> str:
    """A medication line as plain text, its pieces parted by semicolons."""
    first, *rest = medication_parts(given, tongue)
    line = first[1]
    for part, text in rest:
        line += f" {text}" if part is Part.BRAND else f"; {text}"
    return line


def _labelled(text: str, amount: str, tongue: Tongue) -> str:
    return (tongue.say(text) % {"amount": amount}).replace(" ", NBSP)


def _strength(given: Medication, tongue: Tongue) -> str:
    if given.strength_per_ml is not None:
        return strength(given.strength_per_ml, given.strength_unit, tongue)
    if given.strength_per_tablet is not None:
        amount = quantity(given.strength_per_tablet, given.strength_unit, tongue)
        return _labelled(gettext_noop("tablets of %(amount)s"), amount, tongue)
    return ""


def _dilution(given: Medication, tongue: Tongue) -> str:
    """How the bottle is made weaker, and the strength that is then drawn up."""
    if given.dilution_parts == 1:
        return ""
    text = _labelled(
        gettext_noop("diluted 1 part to %(amount)s parts in all"), number(given.dilution_parts, tongue), tongue
    )
    if given.strength_per_ml is None:
        return text
    return f"{text}, {strength(readable(given.strength_per_ml / given.dilution_parts), given.strength_unit, tongue)}"


def discard_after(days: int | None, tongue: Tongue = ENGLISH) -> str:
    """What becomes of an opened bottle; when nobody knows, that is said (never a blank)."""
    if days is None:
        return tongue.say(gettext_noop("after opening: not known, read the label"))
    return tongue.say(gettext_noop("discard %(span)s after opening")) % {"span": quantity(days, Unit.DAY, tongue)}


def _amount(given: Medication, tongue: Tongue) -> str:
    if given.volume_ml is not None:
        return _labelled(gettext_noop("draw up %(amount)s"), quantity(given.volume_ml, Unit.ML, tongue), tongue)
    return _labelled(gettext_noop("give %(amount)s"), tablets(given.tablet_count or Decimal(0), tongue), tongue)


def _course(given: Medication, tongue: Tongue) -> str:
    if given.doses is None:
        return tongue.say(gettext_noop("until the hospital says stop"))
    if given.doses == 1:
        return tongue.say(gettext_noop("one dose only"))
    return tongue.say(gettext_noop("%(doses)s doses in all")) % {"doses": number(given.doses, tongue)}
