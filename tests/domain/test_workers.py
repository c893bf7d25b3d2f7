"""Work in several processes: every piece answered, a process that dies loses only its piece, and none is left behind.

The pieces are Python expressions that the other process works out, so that each can be made to fail in its own way.
"""

import multiprocessing
import os
import time
from collections import deque

import pytest

from handover.plans.workers import Lost, worked_off

JOB = "builtins:eval"
DIE = "__import__('os')._exit(3)"
KILLED = "__import__('os').kill(__import__('os').getpid(), 9)"
SLEEP = "__import__('time').sleep(60)"

# The runner of the tests has threads of its own; Python 3.12 and later warn of that. The command has none.
pytestmark = pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork.*:DeprecationWarning")


def pieces(*expressions):
    return deque((each,) for each in expressions)


def answers(*expressions, count=2, **how):
    return {piece[0]: answer for piece, answer in worked_off(JOB, pieces(*expressions), count, **how)}


@pytest.mark.parametrize("count", [1, 2, 5])
def test_every_piece_is_answered(count):
    expressions = [f"{n} * {n}" for n in range(20)]

    assert answers(*expressions, count=count) == {f"{n} * {n}": n * n for n in range(20)}


def test_the_work_is_done_in_other_processes():
    found = set(answers("__import__('os').getpid()", "0 or __import__('os').getpid()", count=2).values())

    assert os.getpid() not in found


def test_with_one_worker_it_is_done_here():
    assert answers("__import__('os').getpid()", count=1) == {"__import__('os').getpid()": os.getpid()}


@pytest.mark.parametrize("count", [1, 2])
def test_an_error_loses_its_piece_and_says_why(count):
    assert answers("1 / 0", "1 + 1", count=count) == {"1 / 0": Lost("ZeroDivisionError: division by zero"), "1 + 1": 2}


@pytest.mark.parametrize(("last_words", "why"), [(DIE, "exit status 3"), (KILLED, "signal 9")])
def test_a_process_that_dies_loses_its_piece_alone_and_is_replaced(last_words, why):
    expressions = [f"{n} + 0" for n in range(6)]

    found = answers(*expressions[:3], last_words, *expressions[3:], count=2)

    assert found.pop(last_words) == Lost(why, has_died=True)
    assert found == {f"{n} + 0": n for n in range(6)}


def test_all_processes_may_die_and_the_rest_is_still_done():
    found = answers(DIE, KILLED, f"{DIE} or 1", "1 + 1", count=2)

    assert found["1 + 1"] == 2
    assert sum(isinstance(answer, Lost) for answer in found.values()) == 3


def test_pieces_may_be_added_while_answers_come():
    waiting, found = pieces("1 + 1"), []
    for (expression,), answer in worked_off(JOB, waiting, 2):
        found.append(answer)
        if expression == "1 + 1":
            waiting.extend(pieces("2 + 2", "3 + 3"))

    assert sorted(found) == [2, 4, 6]


def test_a_process_that_starts_from_nothing_finds_its_way_in():
    assert answers("6 * 7", "7 * 7", start_method="spawn") == {"6 * 7": 42, "7 * 7": 49}


def test_ending_early_leaves_no_process_behind():
    work = worked_off(JOB, pieces("1 + 1", SLEEP, SLEEP), 2)
    next(work)
    began = time.monotonic()
    work.close()

    assert multiprocessing.active_children() == []
    assert time.monotonic() - began < 30  # not the minute that they would have slept
