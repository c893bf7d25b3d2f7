"""Files of loggers: what is read, and what is refused with which word."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hospital.rules.logfile import Fault, read_log

ZONE = "Europe/London"  # the IANA time zone database knows when its clocks move
NOW = datetime(2027, 12, 1, tzinfo=UTC)
D = Decimal


def rows(text):
    return [(row.at, row.temperature_c) for row in read_log(text, ZONE, NOW).rows]


def humidities(text):
    return [row.humidity_percent for row in read_log(text, ZONE, NOW).rows]


def faults(text):
    return [(line, fault) for line, fault, _text in read_log(text, ZONE, NOW).refused]


def test_clock_times_are_those_of_the_zone_and_offsets_are_obeyed():
    summer = rows("time,temperature\n2027-06-01 14:30,28.4\n2027-06-01T14:30:00+02:00,28.5\n2027-06-01T10:00:00Z,28.6\n")

    assert summer == [
        (datetime(2027, 6, 1, 13, 30, tzinfo=UTC), D("28.4")),
        (datetime(2027, 6, 1, 12, 30, tzinfo=UTC), D("28.5")),
        (datetime(2027, 6, 1, 10, 0, tzinfo=UTC), D("28.6")),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "2027-06-01 14:30;28,4",
        "2027-06-01 14:30\t28.4",
        '2027-06-01 14:30,"28,4"',
        "\ufeffDate;Time;Temp (°C);Humidity\n2027-06-01;14:30;28,4 °C;80",
        "01.06.2027 14:30;28,4",
        "Date/Time,Temperature\r\n2027-06-01 14:30:00,28.40\r\n",
    ],
)
def test_commas_semicolons_tabs_headers_and_decimal_commas_are_understood(text):
    assert rows(text) == [(datetime(2027, 6, 1, 13, 30, tzinfo=UTC), D("28.4"))]
    assert faults(text) == []


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("2027-06-01 14:30;82,4", Fault.FAHRENHEIT),  # 82.4 °F is 28 °C
        ("2027-06-01 14:30;28,4 °F", Fault.FAHRENHEIT),
        ("2027-06-01 14:30;-40", Fault.OUT_OF_RANGE),
        ("2027-06-01 14:30;NaN", Fault.NO_NUMBER),
        ("2027-06-01 14:30;=1+27", Fault.NO_NUMBER),
        ("2027-06-01 14:30;2e1", Fault.NO_NUMBER),
        ("06/01/2027 14:30;28", Fault.SLASHES),
        ("2027-02-30 14:30;28", Fault.NO_MOMENT),
        ("yesterday;28", Fault.NO_MOMENT),
        ("2028-06-01 14:30;28", Fault.FUTURE),
        ("2027-03-28 01:30;28", Fault.SKIPPED_HOUR),
        ("2027-10-31 01:30;28", Fault.DOUBLE_HOUR),
        ("2027-06-01 14:30;28;80", Fault.COLUMNS),
    ],
)
def test_what_cannot_be_trusted_is_refused_by_line_with_its_reason(line, fault):
    good = "2027-06-01 12:00;28"

    assert faults(f"{good}\n\n{line}") == [(3, fault)]
    assert len(rows(f"{good}\n{line}")) == 1


@pytest.mark.parametrize("head", ["humidity", "Relative humidity (%)", "RH", "rh %"])
def test_a_column_of_humidity_is_read_and_an_empty_cell_says_nothing(head):
    text = f"time;temperature;{head}\n2027-06-01 12:00;28;80,5\n2027-06-01 13:00;28;\n2027-06-01 14:00;28;81 %\n2027-06-01 15:00;28;0%RH"

    assert humidities(text) == [D("80.5"), None, D(81), D(0)]
    assert humidities("time;temperature\n2027-06-01 12:00;28") == [None]


@pytest.mark.parametrize(("cell", "fault"), [("damp", Fault.NO_HUMIDITY), ("101", Fault.HUMIDITY_RANGE), ("-1", Fault.HUMIDITY_RANGE)])
def test_a_row_with_a_humidity_that_cannot_be_is_refused_whole(cell, fault):
    text = f"time;temperature;humidity\n2027-06-01 12:00;28;80\n2027-06-01 13:00;28;{cell}"

    assert faults(text) == [(3, fault)]
    assert humidities(text) == [80]


def test_a_comma_that_separates_and_counts_is_refused_not_guessed():
    assert faults("2027-06-01 12:00,28\n2027-06-01 14:30,28,4") == [(2, Fault.COLUMNS)]


def test_a_header_in_fahrenheit_or_without_a_temperature_refuses_the_file():
    assert faults("time,temp (°F)\n2027-06-01 14:30,40") == [(1, Fault.FAHRENHEIT)]
    assert faults("time,humidity\n2027-06-01 14:30,40") == [(1, Fault.COLUMNS)]


def test_a_moment_that_comes_twice_counts_once():
    twice = "2027-06-01 14:30;28\n2027-06-01 14:30;29\n2027-06-01T13:30:00Z;30"

    assert [c for _at, c in rows(twice)] == [28]
    assert faults(twice) == [(2, Fault.TWICE), (3, Fault.TWICE)]


@given(st.text(max_size=200))
def test_no_text_breaks_the_reader(text):
    found = read_log(text, ZONE, NOW)

    assert all(5 <= row.temperature_c <= 45 and row.at <= NOW for row in found.rows)
