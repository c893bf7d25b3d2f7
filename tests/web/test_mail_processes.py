"""Senders as they really run: processes beside each other on one database, killed with the signal that nobody can catch.

The mail server stands outside of what is killed and counts. It kills at the two worst moments: just before it takes a letter, and
just after, before the sender can note it. A control shows that the test sees a loss: a sender that notes first loses every letter of
the first kind. Killing a process says nothing of a power cut.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from django.conf import settings

from tests.smtp import mail_server
from tests.web.test_replan_processes import ROOT, new_database

pytestmark = pytest.mark.xdist_group("mail-processes")
LETTERS, KILLS = 40, 8

# Two senders at a time, one in place of each that was killed, until no letter waits; first calm, then with kills, then the control.
SENDERS = """
import json, os, sys, time, types, uuid
from datetime import timedelta
import django
django.setup()
from django.core.mail.utils import DNS_NAME
from django.core.management import call_command
from django.db import connection
call_command("migrate", verbosity=0)
from hospital.clock import now
from hospital.mail import sending
from hospital.mail.actions import write
from hospital.mail.models import Letter
from hospital.mail.sending import Words, message, send_due
from tests import make

LETTERS = int(sys.argv[1])
hospital = make.hospital()
carer = make.carer("Carl Carer", hospital).person
writers = dict.fromkeys(["calm", "kill", "control"], lambda letter: Words(letter.key, "Text"))
OURS = os.getpid()
lease_of = lambda pid: uuid.UUID(int=pid)
sending.uuid = types.SimpleNamespace(uuid4=lambda: lease_of(os.getpid()))

def note_first(letter, writers, to_server):
    letter.subject = letter.key
    sending._end(letter, "sent")
    to_server.send_messages([message(letter)])
    return "sent"

def sender(kind):
    DNS_NAME._fqdn = str(os.getpid())
    while os.getppid() == OURS and Letter.objects.filter(kind=kind, state="waiting").exists():
        send_due(writers)
        if fault := Letter.objects.filter(kind=kind, state="waiting", tries__gt=0).values_list("error", flat=True).first():
            sys.exit(fault)  # here every letter is taken at the first try
        time.sleep(0.05)
    os._exit(0)

def start(kind):
    connection.close()
    pid = os.fork()
    if pid == 0:
        sender(kind)
    return pid

states = {}
honest = sending._send
for kind in ("calm", "kill", "control"):
    sending._send = note_first if kind == "control" else honest
    for n in range(LETTERS):
        write(kind, n, hospital=hospital, to=carer, facts={}, is_urgent=True)
    running = {start(kind), start(kind)}
    while running:
        pid, status = os.wait()
        running.discard(pid)
        if os.WIFSIGNALED(status):  # the lease of the dead runs out at once: the test need not wait for it
            Letter.objects.filter(lease=lease_of(pid)).update(lease_until=now() - timedelta(seconds=1))
            running.add(start(kind))
        elif status:
            raise SystemExit(f"A sender ended with {status}")
    states[kind] = sorted(set(Letter.objects.filter(kind=kind).values_list("state", flat=True)))
keys = {kind: list(Letter.objects.filter(kind=kind).values_list("key", flat=True)) for kind in states}
print(json.dumps({"states": states, "keys": keys}))
"""


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """What the database says of forty letters a time, and what the mail server says."""
    folder = tmp_path_factory.mktemp("post")
    address, clear = f"sqlite:///{folder / 'hospital.sqlite3'}", None
    if settings.DATABASES["default"]["ENGINE"].endswith("postgresql"):
        address, clear = new_database()
    with mail_server({"kill": KILLS, "control": KILLS}) as server:
        environment = os.environ | {
            "DATABASE_URL": address, "DATA_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "hospital.settings",
            "EMAIL_URL": f"smtp://127.0.0.1:{server.server_address[1]}",
        }  # fmt: skip
        run = [sys.executable, "-c", SENDERS, str(LETTERS)]
        done = subprocess.run(run, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=600)
    if clear:
        clear()
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1]) | {"server": server}


def test_two_senders_at_once_send_every_letter_exactly_once(told):
    server = told["server"]

    assert sorted(server.taken["calm"]) == sorted(told["keys"]["calm"])
    assert len(server.senders["calm"]) == 2, "both took part, else nothing was tried"


def test_no_letter_is_lost_to_senders_killed_at_the_worst_moments(told):
    server = told["server"]

    assert server.killed["kill"] == ["before", "after"] * (KILLS // 2)
    assert set(server.taken["kill"]) == set(told["keys"]["kill"])
    assert told["states"]["kill"] == ["sent"]


def test_a_letter_is_sent_twice_only_if_its_sender_died_between_taken_and_noted(told):
    taken = told["server"].taken["kill"]

    doubled = len(taken) - len(set(taken))

    assert doubled == told["server"].killed["kill"].count("after")


def test_a_sender_that_notes_first_would_lose_letters_and_this_test_sees_it(told):
    lost = set(told["keys"]["control"]) - set(told["server"].taken["control"])

    assert told["states"]["control"] == ["sent"]
    assert len(lost) == told["server"].killed["control"].count("before") == KILLS // 2
