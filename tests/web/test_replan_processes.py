"""The night's check as it really runs: a program with processes of its own, on a database that others read, ended half-way.

Each test starts `manage.py replan` on an installation of its own: a file of SQLite, or a new database on the server that
the tests run on.
"""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(__file__).resolve().parents[2]
CASES = 160
ANSWERS = ("patient_id", "kind", "plan_id", "facts", "days", "changes", "late", "conflict", "why")

pytestmark = pytest.mark.xdist_group("replan-processes")


@pytest.fixture(scope="module")
def installation(tmp_path_factory):
    """The environment of an installation with 160 live cases in two hospitals."""
    folder = tmp_path_factory.mktemp("night")
    address, clear = f"sqlite:///{folder / 'hospital.sqlite3'}", None
    if settings.DATABASES["default"]["ENGINE"].endswith("postgresql"):
        address, clear = new_database()
    environment = os.environ | {"DATABASE_URL": address, "DATA_DIR": str(folder), "HOSPITAL_OWN_PYTHON": "1"}
    fill = [sys.executable, "tests/benchmarks/bench_replan.py", str(CASES), "--courses", "12", "--only-fill", "--keep", str(folder)]
    subprocess.run(fill, cwd=ROOT, env=environment, check=True, stdout=subprocess.DEVNULL)
    yield environment
    if clear:
        clear()


def new_database():
    """The address of an empty database beside those of the tests, and what takes it away."""
    import psycopg
    from django.db import connection

    known = connection.settings_dict
    where = {"host": known["HOST"], "port": known["PORT"], "user": known["USER"], "password": known["PASSWORD"] or None}
    name = f"night_{os.getpid()}"

    def run(statement):
        with psycopg.connect(dbname="postgres", autocommit=True, **where) as server:
            server.execute(statement)

    run(f"CREATE DATABASE {name}")
    user = known["USER"] + (f":{known['PASSWORD']}" if known["PASSWORD"] else "")
    address = f"postgres://{user}@{known['HOST']}:{known['PORT']}/{name}"
    return address, lambda: run(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def night(installation):
    """The installation, with no proposals in it."""
    ask(installation, "Proposal.objects.all().delete()")
    return installation


def ask(environment, expression):
    """What the installation's own Django answers, as JSON."""
    script = (
        "import django, json; django.setup(); from handover.plans.models import Proposal; "
        "from hospital.admissions.models import Patient; "
        f"print(json.dumps({expression}, default=str))"
    )
    environment = environment | {"DJANGO_SETTINGS_MODULE": "hospital.settings"}
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, env=environment, check=True, capture_output=True, text=True)
    return json.loads(done.stdout)


def proposals(environment):
    return ask(environment, f"list(Proposal.objects.order_by('patient').values(*{ANSWERS!r}))")


def command(*arguments):
    return [sys.executable, "manage.py", "replan", "--all", "--json", *arguments]


def replan(environment, *arguments):
    done = subprocess.run(command(*arguments), cwd=ROOT, env=environment, capture_output=True, text=True)
    assert (done.returncode, "Traceback" in done.stderr) == (1, False), done.stderr
    return json.loads(done.stdout)


def start(environment, *arguments):
    """The check, running, in a group of its own and hearing Ctrl+C as on a terminal, however the tests were started."""
    return subprocess.Popen(
        command("--batch", "4", *arguments), cwd=ROOT, env=environment, start_new_session=True, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip


def wait_until_some_are_written(environment, at_least=4):
    """Asks the database itself, and often: the whole run may take no longer than a second."""
    deadline = time.monotonic() + 240
    with closing(opened(environment["DATABASE_URL"])) as database:
        while time.monotonic() < deadline:
            if database.execute("SELECT count(*) FROM handover_proposal").fetchone()[0] >= at_least:
                return
            time.sleep(0.01)
    raise AssertionError("nothing was written in four minutes")


def opened(address):
    if address.startswith("sqlite:///"):
        return sqlite3.connect(address.removeprefix("sqlite:///"))
    import psycopg

    return psycopg.connect(address, autocommit=True)


def test_several_processes_find_what_one_finds_and_a_second_run_finds_nothing_to_do(night):
    first = replan(night, "--workers", "2", "--batch", "30")
    by_two = proposals(night)
    second = replan(night, "--workers", "2")
    one = replan(night, "--workers", "1", "--again")

    kinds = {each["kind"] for each in by_two}
    assert first["checked"] == len(by_two) == CASES
    assert (first["unchanged_since_earlier_check"], second["unchanged_since_earlier_check"]) == (0, CASES)
    assert len(kinds) > 1
    assert proposals(night) == by_two
    assert one["hospitals"] == second["hospitals"] == first["hospitals"]
    assert [each["hospital"] for each in first["hospitals"]] == ["second", "test"]


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_stopped_politely_it_says_how_far_it_came_and_goes_on_from_there(night, how):
    running = start(night, "--workers", "2")
    wait_until_some_are_written(night)
    os.killpg(running.pid, signal.SIGINT) if how == signal.SIGINT else running.send_signal(how)
    out, beside = running.communicate(timeout=120)
    kept = ask(night, "Proposal.objects.count()")
    resumed = replan(night, "--workers", "2")

    assert running.returncode == 130
    assert out == ""
    assert f"Stopped. {kept} of {CASES} cases are checked and kept; run it again to go on." in beside
    assert "Traceback" not in beside
    assert 0 < kept < CASES
    assert resumed["unchanged_since_earlier_check"] == kept
    assert resumed["checked"] == CASES


def test_killed_in_the_middle_it_loses_no_batch_leaves_no_process_and_goes_on(night):
    replan(night, "--again")
    whole = proposals(night)
    ask(night, "Proposal.objects.all().delete()")
    running = start(night, "--workers", "2")
    wait_until_some_are_written(night)
    running.kill()  # signal 9, to the one that writes: the others must notice by themselves
    running.communicate(timeout=120)
    kept = ask(night, "Proposal.objects.count()")
    resumed = replan(night)

    assert nobody_is_left(running.pid)
    assert 0 < kept < CASES
    assert kept % 4 == 0  # whole batches: each hospital's number of cases is a multiple of four
    assert resumed["unchanged_since_earlier_check"] == kept
    assert proposals(night) == whole


def nobody_is_left(group):
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline:
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.2)
    return False


def test_a_process_that_dies_loses_nothing_and_the_run_goes_on(night):
    running = start(night, "--workers", "2")
    wait_until_some_are_written(night)
    worker = children_of(running.pid)[0]
    os.kill(worker, signal.SIGKILL)
    out, beside = running.communicate(timeout=400)

    report = json.loads(out)
    assert report["checked"] == CASES
    assert report["could_not_be_checked"] == []
    assert {each["kind"] for each in proposals(night)} <= {"agreed", "changed", "first", "conflict"}
    assert "Traceback" not in beside


def children_of(pid):
    listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=True)
    return [int(line) for line in listed.stdout.split()]


def test_a_database_that_is_not_there_is_told_in_a_sentence(tmp_path):
    environment = os.environ | {
        "DATABASE_URL": f"sqlite:///{tmp_path / 'empty.sqlite3'}", "DATA_DIR": str(tmp_path), "HOSPITAL_OWN_PYTHON": "1",
    }  # fmt: skip
    done = subprocess.run(command(), cwd=ROOT, env=environment, capture_output=True, text=True)

    assert done.returncode == 2
    assert "The database cannot be read or written" in done.stderr
    assert "Traceback" not in done.stderr
