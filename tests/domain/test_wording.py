"""How numbers and medication lines are written. M1 to M17 number the rules of ISMP and of the NHS guides."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, time
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hospital.rules.wording import (
    NBSP,
    ROUTES,
    TALL_MAN,
    Medication,
    Part,
    Route,
    Tongue,
    Unit,
    body_weight,
    clock,
    day,
    discard_after,
    drug_amount,
    drug_name,
    error_prone,
    every,
    mass,
    medication_line,
    medication_parts,
    number,
    quantity,
    readable,
    rounded,
    stated,
    strength,
    tablets,
)

D = Decimal
GERMAN = Tongue(
    say={"every %(span)s": "alle %(span)s", "hours": "Stunden"}.get, decimal_mark=",", group_mark="."
)
ORDER = Medication(
    drug="meloxicam",
    brand="Examplor",
    dose=D("0.9"),
    strength_per_ml=D(5),
    volume_ml=D("0.18"),
    route=Route.UNDER_SKIN,
    every_hours=24,
    doses=5,
)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("5.0", "5"),  # M1: no trailing zero
        ("5.10", "5.1"),
        (".5", "0.5"),  # M2: a leading zero
        ("1000", "1,000"),  # M4: groups from 1,000
        ("1234567.50", "1,234,567.5"),
        ("999", "999"),
        ("0", "0"),
        ("0.00", "0"),
        ("1E+3", "1,000"),
        ("1E-7", "0.0000001"),
        ("-3.50", "−3.5"),
        ("100", "100"),
        ("1200.00", "1,200"),
    ],
)
def test_numbers_have_a_leading_zero_no_trailing_zero_and_no_exponent(value, written):
    assert number(D(value)) == written


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [
        ("0.5", Unit.ML, "0.5 mL"),  # M3: a space that no line break parts
        ("1", Unit.MICROGRAM, "1 microgram"),  # M6: in full
        ("50", Unit.MICROGRAM, "50 micrograms"),
        ("4000", Unit.UNIT, "4,000 units"),
        ("1", Unit.MINUTE, "1 minute"),
        ("90", Unit.MINUTE, "90 minutes"),
        ("4.60", Unit.KG, "4.6 kg"),
        ("10", Unit.PERCENT, "10%"),
        ("25.5", Unit.CELSIUS, "25.5 °C"),
    ],
)
def test_a_unit_follows_its_number_in_full_and_on_the_same_line(value, unit, written):
    assert quantity(D(value), unit) == written.replace(" ", NBSP)


@pytest.mark.parametrize(
    ("mg", "written"),
    [
        ("0.05", "50 micrograms"),  # M5: the unit that needs no decimals
        ("0.999", "999 micrograms"),
        ("0.0005", "0.5 micrograms"),
        ("1", "1 mg"),
        ("1.25", "1.25 mg"),
        ("75", "75 mg"),
        ("1500", "1,500 mg"),
        ("2000", "2 g"),
    ],
)
def test_a_dose_is_written_in_the_unit_that_needs_fewest_decimals(mg, written):
    assert mass(D(mg)) == written.replace(" ", NBSP)


@pytest.mark.parametrize(
    ("amount", "unit", "written"),
    [
        ("162.4", Unit.MICROGRAM, "162.4 micrograms"),
        ("2500", Unit.MICROGRAM, "2.5 mg"),
        ("0.05", Unit.MG, "50 micrograms"),
        ("3", Unit.G, "3 g"),
        ("1", Unit.UNIT, "1 unit"),
        ("0.5", Unit.UNIT, "0.5 units"),
        ("12000", Unit.UNIT, "12,000 units"),
    ],
)
def test_an_amount_of_drug_is_a_mass_or_units_in_full(amount, unit, written):  # M5, M6
    assert drug_amount(D(amount), unit) == written.replace(" ", NBSP)


def test_units_are_never_turned_into_a_mass():
    with pytest.raises(KeyError):
        drug_amount(D(1), Unit.ML)


@pytest.mark.parametrize(
    ("per_ml", "unit", "written"),
    [("0.3", Unit.MG, "0.3 mg per mL"), ("300", Unit.MICROGRAM, "300 micrograms per mL"), ("10", Unit.UNIT, "10 units per mL")],
)
def test_a_strength_is_written_as_on_the_bottle_and_in_one_piece(per_ml, unit, written):  # M9, M10
    assert strength(D(per_ml), unit) == written.replace(" ", NBSP)


@pytest.mark.parametrize(
    ("amount", "shown"), [("0.126984", "0.1270"), ("1234.56", "1235"), ("0.00012345", "0.0001234"), ("0", "0"), ("20", "20")]
)
def test_a_figure_for_reading_has_four_significant_digits(amount, shown):
    assert readable(D(amount)) == D(shown)


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("Meloxicam", "meloxicam"),  # M11: generic names are lower case
        ("MELOXICAM", "meloxicam"),
        ("Amoxicillin-clavulanate", "amoxicillin-clavulanate"),
        ("vitamin B12", "vitamin B12"),
        ("Vitamin E", "vitamin E"),
        ("calcium EDTA", "calcium EDTA"),
        (" oxytetracycline,  long-acting ", "oxytetracycline, long-acting"),
        ("ceftiofur crystalline-free acid " * 3, ("ceftiofur crystalline-free acid " * 3).strip()),  # M10: never cut
    ],
)
def test_a_generic_name_is_lower_case_and_whole(typed, shown):
    assert drug_name(typed) == shown


def test_tall_letters_are_for_picking_only_and_spell_the_same_name():  # M14
    assert all(tall.lower() == name for name, tall in TALL_MAN.items())
    assert not any(char.isupper() for char in drug_name(next(iter(TALL_MAN))))


@pytest.mark.parametrize(
    ("text", "piece", "instead"),
    [
        ("give 50 mcg", "mcg", "micrograms"),  # M6
        ("50 µg", "µg", "micrograms"),
        ("10 IU", "IU", "units"),
        ("10 I.U. more", "I.U.", "units"),
        ("10U", "U", "units"),
        ("2 cc", "cc", "mL"),
        ("QD", "QD", "once a day"),  # M7
        ("s.i.d. with food", "s.i.d.", "once a day"),
        ("QOD", "QOD", "every 2 days"),
        ("bid", "bid", "every 12 hours"),
        ("T.I.D.", None, None),  # capitals with points: nobody writes it so, and it is left to the reader
        ("tid", "tid", "every 8 hours"),
        ("qid", "qid", "every 6 hours"),
        ("q12h", "q12h", "every … hours"),
        ("5.0 mL", "5.0", "no zero at the end after a point: 5, not 5 point 0"),  # M1
        ("0.50 mL", "0.50", "no zero at the end after a point: 5, not 5 point 0"),
        (".5 mL", ".5", "a zero before the point: 0.5"),  # M2
        ("1/2 tablet", "1/2", "fractions in words: half, a quarter"),  # M8, M15
        ("½ tablet", "½", "fractions in words: half, a quarter"),
        ("5 mg/mL", "mg/mL", "“per” in place of the stroke"),  # M9
        ("@ night", "@", "at"),  # M15
        ("if < 5", "<", "“less than” or “more than”"),
        ("food + water", "+", "and"),
        ("Left arm first, in 0.5 mL of saline at 10.5 degrees", None, None),
        ("SC, over the shoulder", None, None),
        ("Ask Sid or Tobias", None, None),
        ("Ucalyptus, an acid, succulent", None, None),
        ("10 units in 1,000 mL", None, None),
    ],
)
def test_what_has_been_misread_elsewhere_is_found_in_free_text(text, piece, instead):
    """ISMP's list of error-prone abbreviations, symbols and dose designations."""
    assert error_prone(text) == ([(piece, instead)] if piece else [])


def test_an_opened_bottle_is_never_left_blank():  # M17
    assert discard_after(None) == "after opening: not known, read the label"
    assert discard_after(5).replace(NBSP, " ") == "discard 5 days after opening"
    assert discard_after(1).replace(NBSP, " ") == "discard 1 day after opening"


@pytest.mark.parametrize(
    ("weight_g", "written"), [("8.4", "8.4 g"), ("4600.0", "4,600 g"), ("11250", "11.25 kg")]
)
def test_a_body_weight_is_in_grams_and_from_10_kg_in_kilograms(weight_g, written):
    assert body_weight(D(weight_g)) == written.replace(" ", NBSP)


@pytest.mark.parametrize(
    ("hours", "written"),
    [
        (1, "every hour"),
        (8, "every 8 hours"),
        (12, "every 12 hours"),
        (24, "once a day"),  # M7: never a Latin abbreviation
        (36, "every 36 hours"),
        (48, "every 2 days"),
        (72, "every 3 days"),
        (168, "once a week"),
        (336, "every 14 days"),
    ],
)
def test_how_often_is_said_in_words(hours, written):
    assert every(hours).replace(NBSP, " ") == written


@pytest.mark.parametrize(
    ("count", "written"),
    [
        ("0.5", "half a tablet"),  # M8: fractions in words
        ("0.25", "a quarter of a tablet"),
        ("0.75", "three quarters of a tablet"),
        ("1", "1 tablet"),
        ("1.5", "1 and a half tablets"),
        ("2.25", "2 and a quarter tablets"),
        ("3.75", "3 and three quarter tablets"),
        ("2", "2 tablets"),
    ],
)
def test_parts_of_tablets_are_words(count, written):
    assert tablets(D(count)) == written


def test_a_third_of_a_tablet_is_refused():
    with pytest.raises(ValueError, match="halves and quarters"):
        tablets(D("0.33"))


def test_a_date_has_its_weekday_and_its_month_as_text():  # M16
    assert day(date(2027, 4, 9)) == f"Fri{NBSP}09-Apr-2027"


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@pytest.mark.parametrize(("month", "name"), [*enumerate(MONTHS, 1)])
def test_months_have_their_english_names(month, name):
    assert f"-{name}-" in day(date(2027, month, 1))


def test_weekdays_have_their_english_names():
    week = [day(date(2027, 2, 1 + number))[:3] for number in range(7)]  # 1 February 2027 was a Monday

    assert week == ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]


def test_a_time_is_by_the_24_hour_clock():
    assert (clock(time(8, 5)), clock(time(20, 0))) == ("08:05", "20:00")


@pytest.mark.parametrize(
    ("text", "written"),
    [("left wing", "left wing"), ("", "Not recorded"), (None, "Not recorded"), (" ", "Not recorded")],
)
def test_what_is_missing_is_said_to_be_missing(text, written):  # M17
    assert stated(text) == written


def test_a_medication_line_has_its_pieces_in_reading_order():
    assert medication_line(ORDER).replace(NBSP, " ") == (
        "meloxicam (EXAMPLOR); 5 mg per mL; DOSE 900 micrograms; draw up 0.18 mL; "
        "by injection under the skin; once a day; 5 doses in all"
    )


def test_drug_and_dose_are_the_bold_pieces():  # M11, M12
    assert [text.replace(NBSP, " ") for part, text in medication_parts(ORDER) if part.is_bold] == [
        "meloxicam",
        "DOSE 900 micrograms",
    ]


def test_no_label_is_parted_from_its_value():  # M10
    for part, text in medication_parts(ORDER):
        if part in {Part.STRENGTH, Part.DOSE, Part.AMOUNT}:
            assert " " not in text


def test_tablets_are_given_not_drawn_up():
    order = replace(
        ORDER, brand="", dose=D("12.5"), strength_per_ml=None, volume_ml=None, strength_per_tablet=D(25),
        tablet_count=D("0.5"), route=Route.MOUTH, every_hours=12, doses=10, note="in food",
    )  # fmt: skip

    assert medication_line(order).replace(NBSP, " ") == (
        "meloxicam; tablets of 25 mg; DOSE 12.5 mg; give half a tablet; by mouth; "
        "every 12 hours; 10 doses in all; in food"
    )


def test_units_are_never_abbreviated():
    order = replace(ORDER, drug="oxytocin", dose=D(2), strength_per_ml=D(10), dose_unit=Unit.UNIT, strength_unit=Unit.UNIT)

    assert "10 units per mL; DOSE 2 units" in medication_line(order).replace(NBSP, " ")


def test_a_dilution_says_its_parts_and_the_strength_that_is_drawn_up():
    line = medication_line(replace(ORDER, dilution_parts=20, discard_days=5, note="shake")).replace(NBSP, " ")

    assert "5 mg per mL; diluted 1 part to 20 parts in all, 0.25 mg per mL; DOSE 900 micrograms; draw up 0.18 mL" in line
    assert line.endswith("5 doses in all; discard 5 days after opening; shake")
    assert "diluted 1 part to 3 parts in all, 1.667 mg per mL" in medication_line(
        replace(ORDER, dilution_parts=3)
    ).replace(NBSP, " ")


def test_a_line_without_a_strength_says_the_dilution_alone():
    line = medication_line(replace(ORDER, strength_per_ml=None, dilution_parts=20)).replace(NBSP, " ")

    assert "meloxicam (EXAMPLOR); diluted 1 part to 20 parts in all; DOSE" in line


def test_a_single_dose_has_no_interval():
    line = medication_line(replace(ORDER, doses=1))

    assert line.endswith("one dose only")
    assert "once a day" not in line


def test_an_open_end_is_said():
    assert medication_line(replace(ORDER, doses=None)).endswith("until the hospital says stop")


@pytest.mark.parametrize(
    "wrong",
    [{"volume_ml": None}, {"tablet_count": D(1)}, {"drug": "  "}, {"dose_unit": Unit.UNIT}],
    ids=["neither", "both", "nameless", "units and mass"],
)
def test_a_line_that_would_be_unclear_is_refused(wrong):
    with pytest.raises(ValueError, match=r"\.$"):
        replace(ORDER, **wrong)


def test_every_route_has_words():
    assert set(ROUTES) == set(Route)


def test_another_language_brings_its_words_and_marks():
    assert number(D("1234.5"), GERMAN) == "1.234,5"
    assert every(12, GERMAN).replace(NBSP, " ") == "alle 12 Stunden"


def test_a_figure_for_reading_has_so_many_places_at_most():
    assert number(rounded(D("0.126984"), 2)) == "0.13"


@pytest.mark.parametrize("value", [0.5, D("NaN"), D("Infinity")])
def test_only_exact_numbers_are_written(value):
    with pytest.raises(TypeError, match="decimals"):
        number(value)


amounts = st.decimals(D("0.0001"), D("100000"), places=4)
units = st.sampled_from([(Unit.MICROGRAM, Unit.MG), (Unit.MG, Unit.MG), (Unit.G, Unit.MICROGRAM), (Unit.UNIT, Unit.UNIT)])


def medication(units, **fields):
    return Medication(dose_unit=units[0], strength_unit=units[1], **fields)


orders = st.builds(
    medication,
    units=units,
    drug=st.sampled_from(["meloxicam", "ceftazidime", "enrofloxacin"]),
    dose=amounts,
    route=st.sampled_from(Route),
    every_hours=st.integers(1, 200),
    doses=st.none() | st.integers(1, 200),
    strength_per_ml=st.none() | amounts,
    volume_ml=amounts,
    dilution_parts=st.integers(1, 1000),
    discard_days=st.none() | st.integers(0, 400),
)
FAST = settings(max_examples=30, deadline=None)


@FAST
@given(st.decimals(D(-10) ** 7, D(10) ** 7, places=6))
def test_a_number_reads_back_as_itself_and_obeys_every_rule(value):
    written = number(value)

    assert D(written.replace(",", "").replace("−", "-")) == value
    assert re.fullmatch(r"−?(\d|[1-9]\d{0,2}(,\d{3})*)(\.\d*[1-9])?", written)


@FAST
@given(amounts)
def test_a_mass_is_never_misread_by_a_factor(mg):
    figure, unit = mass(mg).split(NBSP)

    in_mg = {"microgram": D("0.001"), "micrograms": D("0.001"), "mg": D(1), "g": D(1000)}[unit]
    assert D(figure.replace(",", "")) * in_mg == mg


@FAST
@given(orders)
def test_no_medication_line_has_an_error_prone_piece(order):
    """ISMP: no trailing zero, no bare point, no µg, mcg, cc, IU, U, QD, BID, no slash, @, +, > or <."""
    line = medication_line(order)

    assert not re.search(r"\d\.\d*0(?!\d)|(?<!\d)\.\d|\d\.(?!\d)", line)
    assert not re.search(r"[µμ/@+<>]|mcg|\b(cc|IU|U|QD|QOD|OD|BID|TID|ml)\b", line)
    assert not re.search(r"\d{4}", re.sub(r"\.\d+", "", line))
    assert not re.search(r"\d (mg|mL|g|micrograms?|units?|hours?|days?)", line)
    assert f"DOSE{NBSP}" in line
    assert error_prone(line.replace(NBSP, " ")) == []
    assert line.startswith(order.drug)
