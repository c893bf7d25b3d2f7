"""Graded water time by the shipped ladders: tables worked by hand, and a second reading of the rules beside ours.

The ladders are those of fixtures/reference/water_protocols.toml. No table of days is published anywhere; which source each
ladder has, or that it is common practice without one, stands there row by row.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handover.schedule.library import NOT_CONTENT
from handover.schedule.watertime import Clearance, Sign, WaterLog, WaterProtocol, allowances

ROWS = tomllib.loads((Path(__file__).parents[2] / "fixtures" / "reference" / "water_protocols.toml").read_text(encoding="utf-8"))["water"]
SHIPPED = {row["id"]: WaterProtocol.from_json({k: v for k, v in row.items() if k not in NOT_CONTENT}) for row in ROWS}
LIMB, SHELL, BIRD = "turtle-freshwater.water.limb-fixation", "turtle-freshwater.water.shell-repair", "waterbird.water"
CLOSED_ON = date(2027, 3, 1)


def day(number: int) -> date:
    return CLOSED_ON + timedelta(number)


# One letter for each day from the first with water on: c clean, - no report, s too short, m a mild sign, x a severe sign,
# C cleared by the hospital at the first step, then clean. The minutes are those of these days and of the day after.
TABLES = [
    (LIMB, "cccccc", [30, 30, 30, 45, 45, 45, 60]),
    (LIMB, "cc-ccc", [30, 30, 30, 30, 30, 30, 45]),
    (LIMB, "ccsccc", [30, 30, 30, 30, 30, 30, 45]),
    (LIMB, "-s-s-s", [30, 30, 30, 30, 30, 30, 30]),
    (LIMB, "ccccccm", [30, 30, 30, 45, 45, 45, 60, 45]),
    (LIMB, "cccmccc", [30, 30, 30, 45, 30, 30, 30, 45]),
    (LIMB, "ccmccc", [30, 30, 30, 30, 30, 30, 45]),
    (LIMB, "cccxccc", [30, 30, 30, 0, 0, 0, 0, 0]),
    (LIMB, "cccxCccc", [30, 30, 30, 0, 30, 30, 30, 45, 45]),
    (LIMB, "cccx--Ccc", [30, 30, 30, 0, 0, 0, 30, 30, 30, 45]),
    (LIMB, "cccccccccccc", [30, 30, 30, 45, 45, 45, 60, 60, 60, 60, 60, 60, 60]),
    (SHELL, "ccccccm", [15, 15, 15, 30, 30, 30, 60, 15]),
    (SHELL, "cccm", [15, 15, 15, 30, 15]),
    (SHELL, "cccccccccccccccccc", [*[15] * 3, *[30] * 3, *[60] * 3, *[120] * 3, *[360] * 3, *[720] * 4]),
    (BIRD, "cccc", [15, 30, 60, 120, 240]),
    (BIRD, "c-csc", [15, 30, 30, 60, 60, 120]),
    (BIRD, "ccmc", [15, 30, 60, 30, 60]),
]


@pytest.mark.parametrize(("name", "letters", "wanted"), TABLES)
def test_the_ladder_gives_the_minutes_that_were_worked_out_by_hand(name, letters, wanted):
    protocol = SHIPPED[name]
    logs, clearances = [], []
    for n, letter in enumerate(letters):
        on = day(protocol.dry_days + n)
        used = {"c": wanted[n], "C": wanted[n], "s": 1, "m": wanted[n], "x": 0}.get(letter)
        signs = {"m": {Sign.WOUND_RED}, "x": {Sign.BANDAGE_LOST}}.get(letter, set())
        logs += [] if letter == "-" else [WaterLog(on, used, frozenset(signs))]
        clearances += [Clearance(on)] if letter == "C" else []

    days = allowances(
        protocol, closed_on=CLOSED_ON, logs=logs, clearances=clearances,
        first=CLOSED_ON, last=day(protocol.dry_days + len(letters)),
    )  # fmt: skip

    assert [each.minutes for each in days] == [*[0] * protocol.dry_days, *wanted]


def test_a_turtle_that_goes_well_climbs_in_the_time_of_the_reference():
    """Rows 59 to 65 of the reference: 2 to 7 days a step, full-time water 10 to 42 days after the first (common practice)."""
    protocol = SHIPPED[SHELL]

    climb = protocol.clean_days * protocol.last_step

    assert 2 <= protocol.clean_days <= 7
    assert 10 <= climb <= 42


# --- a second reading of the rules, from their wording alone ---

SEVERE = frozenset({Sign.WOUND_OPEN, Sign.LISTING})
MILD = frozenset({Sign.WOUND_SOFT})
LAST = 22


def by_the_book(protocol: WaterProtocol, logs: Iterable[WaterLog], cleared: Mapping[int, int]) -> Iterator[int]:
    """Minutes for each day: dry days, clean days, steps down, stops and clearances; read off the stated rules."""
    step, run, is_stopped = 1, 0, False
    for n in range(LAST + 1):
        told = [log for log in logs if log.on == day(n)]
        signs = {sign for log in told for sign in log.signs}
        used = sum(log.minutes or 0 for log in told)
        if is_stopped and n in cleared:
            step, run, is_stopped = min(cleared[n], len(protocol.ladder)), 0, False
        is_stopped = is_stopped or bool(signs & SEVERE)
        allowed = 0 if is_stopped or n < protocol.dry_days else protocol.ladder[step - 1]
        yield allowed
        if signs & MILD and not signs & SEVERE:
            step, run = max(1, step - protocol.mild_steps_down), 0
        elif allowed and used * 100 >= allowed * protocol.used_share_percent and not signs:
            run += 1
            if run >= protocol.clean_days and step < len(protocol.ladder):
                step, run = step + 1, 0
        elif allowed:
            run = 0


reports = st.lists(
    st.builds(
        lambda n, used, signs: WaterLog(day(n), used, signs),
        st.integers(0, LAST),
        st.none() | st.sampled_from([0, 12, 15, 23, 24, 30, 36, 45, 48, 60, 720]),
        st.sampled_from([frozenset(), frozenset(), frozenset(), frozenset(), MILD, SEVERE]),
    ),
    max_size=40,
)


@settings(max_examples=200, derandomize=True, deadline=None, database=None)
@given(st.sampled_from(sorted(SHIPPED)), reports, st.dictionaries(st.integers(0, LAST), st.integers(1, 4), max_size=2))
def test_a_second_reading_of_the_rules_gives_the_same_minutes(name, logs, cleared):
    protocol = SHIPPED[name]
    struck = {log.on for log in logs if log.signs & SEVERE}
    cleared = {n: step for n, step in cleared.items() if day(n) not in struck}  # same day: told apart by a rule of its own

    days = allowances(
        protocol, closed_on=CLOSED_ON, logs=logs, clearances=[Clearance(day(n), step) for n, step in cleared.items()],
        first=CLOSED_ON, last=day(LAST),
    )  # fmt: skip

    assert [each.minutes for each in days] == list(by_the_book(protocol, logs, cleared))


@settings(max_examples=100, derandomize=True, deadline=None, database=None)
@given(st.sampled_from(sorted(SHIPPED)), reports, st.randoms(use_true_random=False))
def test_reports_that_come_late_give_what_they_would_have_given_in_time(name, logs, random):
    """They arrive one by one, in any order: each page in between shows what was known, the last one what is true."""
    arriving = random.sample(logs, len(logs))
    shown = [course(SHIPPED[name], arriving[:n]) for n in range(len(arriving) + 1)]

    assert shown[-1] == course(SHIPPED[name], logs)
    for n, late in enumerate(arriving):
        before_it = (late.on - CLOSED_ON).days
        assert shown[n][:before_it] == shown[n + 1][:before_it]  # it speaks of no earlier day
        if not late.signs:
            assert all(told.step >= untold.step for told, untold in zip(shown[n + 1], shown[n], strict=True))


def course(protocol: WaterProtocol, logs: Iterable[WaterLog]):
    return allowances(protocol, closed_on=CLOSED_ON, logs=logs, first=CLOSED_ON, last=day(LAST))
