"""Twenty people at one bottle: on a database file of SQLite, or a new database on the server that the tests run on.

The law that is checked is that of a bottle: what went in is what came out and what is left. It is added up here, from the lines,
without the register's own sums.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from django.conf import settings

from tests.web.test_replan_processes import ROOT, new_database

pytestmark = pytest.mark.xdist_group("register-at-once")

# Each thread draws `DRAWS` times from one bottle that holds too little for all, and says what became of each try.
CROWD = """
import json, threading
import django
django.setup()
from decimal import Decimal
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import close_old_connections, connection
call_command("migrate", verbosity=0)
call_command("createcachetable", verbosity=0)
from hospital.clock import now
from hospital.register import actions
from hospital.register.models import RegisterPage
from hospital.register.queries import fault_of
from tests import make

PEOPLE, DRAWS = 20, 3
hospital = make.hospital()
people = [make.person(f"Nurse{n} Crowd", hospital, "nurse") for n in range(PEOPLE)]
vet = make.person("Vera Vet", hospital, "vet")
patient = make.patient(vet)
page, other = (make.register_page(hospital, vet, location=place) for place in ("Safe", "Theatre"))
make.stock(page, "10", by=vet, witness=people[0])
told, start = [], threading.Barrier(PEOPLE)

def draw(n):
    start.wait()
    for number in range(DRAWS):
        try:
            if n % 5 == 4:
                actions.transfer(
                    *((page,) if number % 2 == 0 else (other,)), by=people[n], amount=Decimal("0.25"), done_at=now(),
                    to_page=other if number % 2 == 0 else page, other_party="", witness=vet)
            else:
                actions.use(page, by=people[n], patient=patient, drawn=Decimal("0.25"), given=Decimal("0.2"),
                            wasted=Decimal("0.05"), done_at=now(), witness=vet)
            told.append("")
        except ValidationError as refusal:
            told.append(" ".join(refusal.messages))
        except Exception as error:
            told.append(f"UNFORESEEN {error!r}")
    connection.close()

threads = [threading.Thread(target=draw, args=(n,)) for n in range(PEOPLE)]
[each.start() for each in threads]
[each.join() for each in threads]
lines = {p.location: list(p.lines.order_by("number").values_list("number", "moved_thousandths", "balance_thousandths", "kind"))
         for p in (page, other)}
faults = [str(fault_of(p)) for p in (page, other)]
# Past all actions: twenty insert the very same next line, as a program that forgot to hold the page would.
from hospital.register.models import RegisterLine
from hospital.rules.register import link
last = other.lines.order_by("-number").first()
raw = []
def insert(n):
    line = RegisterLine(hospital=hospital, page=other, number=last.number + 1, kind="received", moved_thousandths=1,
        balance_thousandths=last.balance_thousandths + 1, done_at=now(), entered_at=now(), recorded_by=people[n],
        recorded_by_name=people[n].name, previous_hash=last.hash)
    line.hash = link(line.previous_hash, line.text())
    start.wait()
    try:
        RegisterLine.objects.bulk_create([line])
        raw.append(True)
    except django.db.Error:
        raw.append(False)
    connection.close()
threads = [threading.Thread(target=insert, args=(n,)) for n in range(PEOPLE)]
[each.start() for each in threads]
[each.join() for each in threads]
print(json.dumps({"told": told, "lines": lines, "faults": faults, "raw": sum(raw), "after": str(fault_of(other))}))
"""


@pytest.fixture(scope="module")
def crowd(tmp_path_factory) -> dict:
    """What became of sixty tries of twenty people at once."""
    folder = tmp_path_factory.mktemp("crowd")
    address, clear = f"sqlite:///{folder / 'hospital.sqlite3'}", None
    if settings.DATABASES["default"]["ENGINE"].endswith("postgresql"):
        address, clear = new_database()
    environment = os.environ | {"DATABASE_URL": address, "DATA_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "hospital.settings"}
    done = subprocess.run([sys.executable, "-c", CROWD], cwd=ROOT, env=environment, capture_output=True, text=True)
    if clear:
        clear()
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def test_what_went_in_is_what_came_out_and_what_is_left(crowd):
    for lines in crowd["lines"].values():
        balance = 0
        for _, moved, after, _ in lines:
            balance += moved
            assert after == balance
            assert balance >= 0
    moved = [moved for lines in crowd["lines"].values() for _, moved, _, kind in lines if kind != "transferred"]
    assert sum(moved) == sum(lines[-1][2] for lines in crowd["lines"].values())


def test_no_number_is_missing_or_there_twice(crowd):
    for lines in crowd["lines"].values():
        assert [number for number, *_ in lines] == list(range(1, len(lines) + 1))


def test_each_try_either_wrote_all_its_lines_or_none_and_the_losers_are_told_in_a_sentence(crowd):
    won, lost = crowd["told"].count(""), [words for words in crowd["told"] if words]

    # 10 mL hold 40 draws of 0.25 mL; 48 tries draw for good, the others carry between safe and theatre.
    assert lost
    assert all("is left here, so" in words and words.endswith("count it.") for words in lost), lost[0]
    assert won + len(lost) == 60
    written = [kind for lines in crowd["lines"].values() for *_, kind in lines]
    assert written.count("given") == written.count("wasted")
    assert written.count("given") + written.count("transferred") // 2 == won
    assert crowd["faults"] == ["None", "None"]


def test_of_twenty_who_insert_the_same_line_past_all_actions_one_wins(crowd):
    assert (crowd["raw"], crowd["after"]) == (1, "None")
