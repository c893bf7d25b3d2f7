"""The published command, run as anybody would run it: exit statuses, lists, standard input, and never a traceback."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PLANNED = {
    "today": "2027-03-01",
    "horizon_days": 60,
    "events": [{"id": "closure", "place": "clinic", "done": "2027-02-26"}, {"id": "sutures", "place": "clinic"}],
    "lags": [{"id": "R1", "from": "closure", "to": "sutures", "min": 10, "usual": 12, "max": 14}],
    "closed": {"clinic": {"weekdays": [5, 6]}},
    "costs": {"visit": 30, "move": 5},
}
CONFLICT = PLANNED | {"closed": {"clinic": {"weekdays": [0, 1, 2, 3, 4, 5, 6]}}}
BAD = PLANNED | {"horizon_days": -1}


def run(*arguments: str, given: object = None, raw: bytes | None = None, **others) -> subprocess.CompletedProcess:
    """Run the command, with a value as JSON or bytes as they are on standard input. Whatever happens: no traceback."""
    said = raw if raw is not None else json.dumps(given).encode()
    command = [sys.executable, "manage.py", "plan", *arguments]
    done = subprocess.run(command, cwd=ROOT, input=said, stdout=others.get("stdout", subprocess.PIPE), stderr=subprocess.PIPE, timeout=60)
    assert b"Traceback" not in (done.stdout or b"") + done.stderr
    return done


def test_a_plan_goes_out_with_status_0(tmp_path):
    file = tmp_path / "problem.json"
    file.write_text(json.dumps(PLANNED))

    done = run(str(file))

    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout) == {
        "status": "planned",
        "cost": 30,
        "days": {"closure": "2027-02-26", "sutures": "2027-03-10"},
        "windows": {"sutures": ["2027-03-08", "2027-03-12"]},
        "visits": [{"day": "2027-03-10", "events": ["sutures"]}],
        "why": {"sutures": {"earliest": ["R1"], "latest": ["R1"]}},
    }


def test_a_conflict_goes_out_with_status_1():
    done = run("-", given=CONFLICT)

    assert (done.returncode, done.stderr) == (1, b"")
    assert json.loads(done.stdout) == {"status": "conflict", "conflict": ["closed:clinic"]}


def test_bad_input_goes_out_with_status_2_and_one_sentence():
    done = run("-", given=BAD)

    assert (done.returncode, done.stderr) == (2, b"")
    assert json.loads(done.stdout) == {
        "status": "bad input",
        "field": "horizon_days",
        "error": "horizon_days must be a whole number of days from 0 to 3650, not -1.",
    }


@pytest.mark.parametrize(
    ("given", "status", "statuses"),
    [
        ([], 0, []),
        ([PLANNED, PLANNED], 0, ["planned", "planned"]),
        ([PLANNED, CONFLICT], 1, ["planned", "conflict"]),
        ([CONFLICT, BAD, PLANNED, 7], 2, ["conflict", "bad input", "planned", "bad input"]),
    ],
)
def test_a_list_in_gives_a_list_out_and_the_worst_status(given, status, statuses):
    done = run("-", given=given)

    assert done.returncode == status
    assert [answer["status"] for answer in json.loads(done.stdout)] == statuses


def test_a_bad_problem_in_a_list_says_which_it_is():
    done = run("-", given=[PLANNED, BAD])

    assert json.loads(done.stdout)[1]["field"] == "[1].horizon_days"


@pytest.mark.parametrize(
    "raw",
    [b"", b"{", b"\x00", b"[" * 200_000, b'{"today": NaN}', rb'{"\ud800": 1}', json.dumps("plan").encode()],
    ids=["nothing", "half", "a null byte", "deeply nested", "not a number", "half a character", "a word"],
)
def test_no_text_brings_a_traceback(raw):
    done = run("-", raw=raw)

    assert done.returncode == 2
    assert json.loads(done.stdout)["status"] == "bad input"


def test_a_byte_order_mark_does_no_harm():
    done = run("-", raw=b"\xef\xbb\xbf" + json.dumps(PLANNED).encode())

    assert done.returncode == 0


def test_bytes_that_are_no_text_are_refused():
    done = run("-", raw=b"\xff\xfe{}")

    assert (done.returncode, done.stdout, done.stderr) == (2, b"", b"CommandError: - is not text in UTF-8.\n")


@pytest.mark.parametrize("name", ["missing.json", "."])
def test_a_file_that_cannot_be_read_is_named(tmp_path, name):
    done = run(str(tmp_path / name))

    assert (done.returncode, done.stdout) == (2, b"")
    assert b"cannot be read" in done.stderr
    assert str(tmp_path).encode() in done.stderr


def test_without_a_file_the_usage_is_shown():
    done = run()

    assert done.returncode == 2
    assert b"usage:" in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only some systems have a device that is always full")
def test_a_full_disk_is_told():
    with open("/dev/full", "wb") as full:
        done = run("-", given=PLANNED, stdout=full)

    assert (done.returncode, done.stderr) == (2, b"CommandError: The answer cannot be written: No space left on device.\n")


def test_closed_standard_input_is_told():
    closed = f'"{sys.executable}" manage.py plan - <&-'
    done = subprocess.run(["sh", "-c", closed], cwd=ROOT, capture_output=True, timeout=60)

    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr == b"CommandError: Standard input is closed: there is no problem to read.\n"
