"""Who is told of a worrying report, and when the next one is. Clocks of Europe/London: forward on 28 March 2027 and back on
31 October 2027, both at 01:00 UTC (IANA time zone database). The rule itself is ours; no source."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from handover.schedule.duty import ROUNDS, Step, Turn, next_to_tell, on_duty

LONDON = ZoneInfo("Europe/London")
INES, TOBIAS, RUTH = 1, 2, 3
DAY, NIGHT = (time(8), time(20)), (time(20), time(8))
TURNS = [Turn(INES, *DAY), Turn(TOBIAS, *NIGHT), Turn(RUTH, time(0), time(0))]
TEN = timedelta(minutes=10)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def told(*steps):
    return [Step(person, at(moment)) for person, moment in steps]


def test_the_first_of_the_list_who_is_on_duty_is_told_at_once():
    assert next_to_tell([], TURNS, TEN, at("2027-01-05 12:00"), LONDON) == INES
    assert next_to_tell([], TURNS, TEN, at("2027-01-05 23:00"), LONDON) == TOBIAS


def test_the_next_is_told_when_the_time_of_the_first_is_over_and_not_before():
    steps = told((INES, "2027-01-05 12:00"))

    assert next_to_tell(steps, TURNS, TEN, at("2027-01-05 12:09"), LONDON) is None
    assert next_to_tell(steps, TURNS, TEN, at("2027-01-05 12:10"), LONDON) == RUTH


def test_after_the_last_it_begins_again_and_ends_after_so_many_rounds():
    steps, moment, order = [], at("2027-01-05 12:00"), []
    while (person := next_to_tell(steps, TURNS, TEN, moment, LONDON)) is not None:
        order.append(person)
        steps.append(Step(person, moment))
        moment += TEN

    assert order == [INES, RUTH] * ROUNDS


@pytest.mark.parametrize(
    ("moment", "person"),
    [("19:59", INES), ("20:00", TOBIAS), ("23:59", TOBIAS), ("00:00", TOBIAS), ("07:59", TOBIAS), ("08:00", INES)],
)
def test_a_night_turn_goes_over_midnight(moment, person):
    assert on_duty(TURNS, at(f"2027-01-05 {moment}"), LONDON)[0] == person


def test_a_turn_over_midnight_belongs_to_the_weekday_on_which_it_begins():
    friday_night = [Turn(TOBIAS, *NIGHT, frozenset({4})), Turn(RUTH, time(0), time(0))]

    assert on_duty(friday_night, at("2027-01-08 23:00"), LONDON) == [TOBIAS, RUTH]
    assert on_duty(friday_night, at("2027-01-09 03:00"), LONDON) == [TOBIAS, RUTH]
    assert on_duty(friday_night, at("2027-01-08 03:00"), LONDON) == [RUTH]


def test_hours_are_those_of_the_hospitals_clocks_in_summer():
    assert on_duty(TURNS, at("2027-07-05 19:30"), LONDON)[0] == TOBIAS
    assert on_duty(TURNS, at("2027-07-05 07:30"), LONDON)[0] == INES


def test_an_hour_that_the_clocks_skip_gives_nobody_an_hour_less_to_answer():
    half_past_twelve = datetime(2027, 3, 28, 0, 30, tzinfo=LONDON)
    an_hour_later = datetime(2027, 3, 28, 2, 30, tzinfo=LONDON)

    assert next_to_tell([Step(TOBIAS, half_past_twelve)], TURNS, timedelta(minutes=61), an_hour_later, LONDON) is None
    assert next_to_tell([Step(TOBIAS, half_past_twelve)], TURNS, timedelta(minutes=60), an_hour_later, LONDON) == RUTH


def test_an_hour_that_the_clocks_show_twice_gives_nobody_an_hour_more():
    first, second = (datetime(2027, 10, 31, 1, 30, fold=fold, tzinfo=LONDON) for fold in (0, 1))

    assert next_to_tell([Step(TOBIAS, first)], TURNS, timedelta(minutes=60), second, LONDON) == RUTH


def test_in_an_hour_that_nobody_has_the_whole_list_is_told():
    assert on_duty([Turn(INES, *DAY), Turn(RUTH, *DAY)], at("2027-01-05 23:00"), LONDON) == [INES, RUTH]


def test_an_empty_list_tells_nobody():
    assert next_to_tell([], [], TEN, at("2027-01-05 12:00"), LONDON) is None


def test_a_person_with_two_turns_at_once_is_told_once_a_round():
    twice = [Turn(INES, *DAY), Turn(INES, time(0), time(0)), Turn(RUTH, *DAY)]

    assert on_duty(twice, at("2027-01-05 12:00"), LONDON) == [INES, RUTH]
