"""Reading the cells of an old spreadsheet. Days against python-dateutil, an independent reader; weights against NIST SP 811."""

from datetime import date, time
from decimal import Decimal

import pytest
from dateutil import parser
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.cells import Comma, DayOrder, comma_of, grams, is_blank, order_of, read_day, read_number

TODAY = date(2027, 1, 5)
DAYS = st.dates(date(1970, 1, 1), TODAY)
FORMS = ["%Y-%m-%d", "%Y/%m/%d", "%d %B %Y", "%d-%b-%Y", "%B %d, %Y", "%d/%m/%Y", "%d.%m.%Y"]


@given(on=DAYS, form=st.sampled_from(FORMS))
def test_a_day_is_read_as_an_independent_reader_reads_it(on, form):
    text = on.strftime(form)

    read, at = read_day(text, DayOrder.DAY_FIRST, latest=TODAY)

    assert (read, at) == (parser.parse(text, dayfirst=not text[:4].isdigit()).date(), None)


@given(DAYS)
def test_month_first_is_read_so_when_it_is_said(on):
    assert read_day(on.strftime("%m/%d/%Y"), DayOrder.MONTH_FIRST, latest=TODAY)[0] == on


def test_a_day_that_fits_both_orders_is_not_guessed():
    with pytest.raises(ValueError, match="two ways"):
        read_day("03/04/2019", None, latest=TODAY)


@pytest.mark.parametrize("text", ["31/02/2019", "soon", "2019-13-01", "00/01/2019", "1/1/1800"])
def test_what_is_no_day_is_refused_with_a_sentence(text):
    with pytest.raises(ValueError, match=r"“.*\."):
        read_day(text, DayOrder.DAY_FIRST, latest=TODAY)


def test_a_year_of_two_digits_never_lies_ahead():
    years = [read_day(f"20-Nov-{short}", None, latest=TODAY)[0].year for short in ("03", "26", "28")]

    assert years == [2003, 2026, 1928]


def test_a_time_of_day_is_kept():
    assert read_day("01/02/2009 03:01", DayOrder.DAY_FIRST, latest=TODAY) == (date(2009, 2, 1), time(3, 1))
    assert read_day("2/1/2009 3:01 PM", DayOrder.MONTH_FIRST, latest=TODAY) == (date(2009, 2, 1), time(15, 1))


@pytest.mark.parametrize(
    ("cells", "order", "asks"),
    [
        (["13/01/2020", "02/03/2020"], DayOrder.DAY_FIRST, False),
        (["01/13/2020", "02/03/2020"], DayOrder.MONTH_FIRST, False),
        (["02/03/2020"], None, True),
        (["13/01/2020", "01/13/2020"], None, True),
        (["2020-03-02", "3 March 2020", "02/02/2020"], None, False),
    ],
)
def test_the_order_of_day_and_month_is_proved_by_the_column_or_asked_for(cells, order, asks):
    found = order_of(cells)

    assert (found.order, found.is_in_doubt) == (order, asks)


@pytest.mark.parametrize(
    ("cells", "meaning", "asks"),
    [
        (["7,45", "1,250"], Comma.POINT, False),
        (["1,250.5", "1,250"], Comma.THOUSANDS, False),
        (["1,250"], None, True),
        (["0,250"], Comma.POINT, False),
        (["7.5"], None, False),
    ],
)
def test_what_a_comma_means_is_proved_by_the_column_or_asked_for(cells, meaning, asks):
    found = comma_of(cells)

    assert (found.meaning, found.is_in_doubt) == (meaning, asks)


def test_numbers_are_read_as_they_were_meant():
    assert read_number("1.250,5", Comma.POINT) == read_number("1,250.5", Comma.THOUSANDS) == Decimal("1250.5")
    with pytest.raises(ValueError, match="two ways"):
        read_number("1,250", None)


def test_a_pound_and_an_ounce_weigh_what_the_standard_says():
    """NIST Special Publication 811 (2008), appendix B.8: 1 lb = 0.453 592 37 kg, 1 oz = 0.028 349 523 125 kg."""
    assert grams(Decimal(100), "lb") == Decimal("45359.2")
    assert grams(Decimal(100), "oz") == Decimal("2835.0")


@pytest.mark.parametrize("cell", ["", "  ", "NA", "n/a", "NULL", "-"])
def test_what_people_write_for_nothing_is_blank(cell):
    assert is_blank(cell)
