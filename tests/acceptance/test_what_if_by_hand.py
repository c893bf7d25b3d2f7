"""What would move a date, and what if: one small case worked by hand, from the cost that PLANNING and the README state.

An operation on Friday 26 February 2027. Bandage off 10, usually 14, at most 21 days later (2 points for a day off); sutures
out 12, usually 14, at most 24 days later (3 points). A visit counts 30, a promised date that moves 5. The clinic is closed at
weekends; today is Monday 1 March. Both were promised for Friday 12 March, 14 days after the operation: one visit, 30 points.

Every figure below is that arithmetic, done on paper; weekdays are by the calendar. The case is invented.
"""

from datetime import date

import pytest

from handover.schedule.alternatives import moves, price_of
from handover.schedule.case import Case, Fact, Setup
from handover.schedule.library import Rule
from handover.schedule.plan import Conflict, Planned, plan
from handover.schedule.problem import Closed
from handover.schedule.whatif import CarerAway, ClinicShut, Ground, NotBefore, OnDay, OtherFigures, suppose

SUTURES, BANDAGE = "suture_removal", "bandage_removal"
RULES = (
    Rule(id="b", group="animal", event=BANDAGE, anchor="surgery", min_days=10, usual_days=14, max_days=21, weight=2),
    Rule(id="s", group="animal", event=SUTURES, anchor="surgery", min_days=12, usual_days=14, max_days=24, weight=3),
)


def march(day: int) -> date:
    return date(2027, 3, day)


def ground() -> Ground:
    case = Case(
        lineage=("animal",),
        facts=(Fact("surgery", date(2027, 2, 26)),),
        previous={SUTURES: march(12), BANDAGE: march(12)},
    )
    return Ground(case, RULES, (), Setup(today=march(1), closed={"clinic": Closed(frozenset({5, 6}))}))


def test_the_plan_is_one_visit_on_the_usual_day_of_both():
    problem = ground().instance().problem

    answer = plan(problem)

    assert (answer.days[SUTURES], answer.days[BANDAGE], answer.cost) == (march(12), march(12), 30)


def test_how_far_the_sutures_can_go_and_what_each_day_costs():
    """Days 12 to 24 are 10 to 22 March, without the weekends of 13/14 and 20/21.

    10 March: both go, 2 days off: 30 + 2·3 + 2·2 + 2·5 = 50.   11 March: both, 1 day: 30 + 3 + 2 + 10 = 45.
    15 March: both, 3 days: 30 + 9 + 6 + 10 = 55.               16 March: both, 4 days: 30 + 12 + 8 + 10 = 60.
    22 March: the bandage must be off by 19 March, so it stays: 60 + 10·3 + 5 = 95.
    """
    problem = ground().instance().problem

    found = moves(problem, plan(problem), SUTURES)

    assert [day.day for day in found.possible] == [10, 11, 12, 15, 16, 17, 18, 19, 22]
    assert (found.days_earlier, found.days_later) == (2, 10)
    assert {offer.day.day: offer.price.total for offer in found.offers} == {10: 50, 11: 45, 15: 55, 16: 60, 22: 95}
    assert {offer.day.day: offer.extra for offer in found.offers} == {10: 20, 11: 15, 15: 25, 16: 30, 22: 65}
    assert [offer.moved for offer in found.offers if offer.day == march(11)] == [{BANDAGE: march(11)}]
    assert [offer.moved for offer in found.offers if offer.day == march(22)] == [{}]


def test_a_visit_of_its_own_costs_a_drive_a_promise_and_a_day():
    """The bandage stays on 12 March. Sutures on 11 March: 60 + 3 + 5 = 68; on 15 March: 60 + 9 + 5 = 74. So 38 more."""
    problem = ground().instance().problem

    found = moves(problem, plan(problem), SUTURES)

    assert found.companions == (BANDAGE,)
    assert (found.apart.day, found.apart.price.total, found.apart.extra) == (march(11), 68, 38)
    assert (found.apart.price.visits, found.apart.price.promises, found.apart.price.off_usual) == (2, 1, 3)


@pytest.mark.parametrize(
    ("supposed", "sutures", "bandage", "cost"),
    [
        # Closed on 12 March: both on 11 March (45) are cheaper than both on 15 March (55).
        ([ClinicShut(march(12))], 11, 11, 45),
        # Away 10 to 12 March: both on 15 March, 30 + 9 + 6 + 10.
        ([CarerAway(march(10), march(12))], 15, 15, 55),
        # The same by two suppositions at once.
        ([ClinicShut(march(12)), CarerAway(march(10), march(11))], 15, 15, 55),
        # Fixed for 22 March: see above.
        ([OnDay(SUTURES, march(22))], 22, 12, 95),
        # Not before 16 March: that becomes the day to be near to. Both on it: 30 + 4·2 + 10; apart 60 + 5.
        ([NotBefore(SUTURES, march(16))], 16, 16, 48),
        # Usually 21 days: 19 March. Both there: 30 + 7·2 + 10; both on 18 March: 30 + 6·2 + 3 + 10 = 55.
        ([OtherFigures("s", 18, 21, 24)], 19, 19, 54),
        # A fixed Saturday counts although the clinic is closed: 13 March, both 1 day off; the bandage may come only on
        # an open day, so it stays: 60 + 3 + 5 = 68. It cannot share that day.
        ([OnDay(SUTURES, march(13))], 13, 12, 68),
    ],
)
def test_what_if(supposed, sutures, bandage, cost):
    instance = suppose(ground(), supposed).instance()

    answer = plan(instance.problem)

    assert isinstance(answer, Planned)
    assert (answer.days[SUTURES].day, answer.days[BANDAGE].day, answer.cost) == (sutures, bandage, cost)
    assert price_of(instance.problem, answer.days).total == cost


def test_a_day_too_early_collides_with_its_rule_alone():
    """9 March is 11 days after the operation; the rule asks for 12."""
    answer = plan(suppose(ground(), [OnDay(SUTURES, march(9))]).instance().problem)

    assert isinstance(answer, Conflict)
    assert set(answer.members) == {f"s@{SUTURES}", f"pin:{SUTURES}"}
