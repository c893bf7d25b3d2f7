"""Boards of a hospital with 500 animals in care: queries and milliseconds a page, on a database of its own.

    python tests/benchmarks/bench_boards.py [animals] [--keep FOLDER]

Every animal has an operation, a bandage, weekly rechecks (every tenth lacks them), a published plan, a carer or a cage,
two weeks of reports, or in the house a medicine twice a day. With --keep the database stays in the folder and is used again.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
import uuid
from datetime import timedelta
from decimal import Decimal
from io import StringIO
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
ROUNDS = 5
CARERS = 60
REPORTS = 14
PAGES = ["boards:today", "boards:fortnight", "boards:late", "boards:quiet", "boards:conflicts", "releases:candidates", "ward:sheet"]
KINDS = [  # species, procedure, material, bandage
    ("Emys orbicularis", "limb-fixation", "nylon", "limb-fixation"),
    ("Cygnus olor", "wound-closure", "nylon", "body-wrap"),
    ("Erinaceus europaeus", "wound-closure", "polyglactin", "body-wrap"),
    ("Tyto alba", "fracture-fixation", "nylon", "figure-of-eight"),
    ("Vulpes vulpes", "wound-closure", "nylon", "body-wrap"),
]


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("animals", nargs="?", type=int, default=500)
    arguments.add_argument("--keep")
    given = arguments.parse_args()
    folder = given.keep or tempfile.mkdtemp(prefix="bench-boards-")
    start(folder)
    from hospital.people.models import Person

    if not Person.objects.exists():
        fill(given.animals)
    measure(Person.objects.get(email="vet@example.org"))


def start(folder: str) -> None:
    os.environ |= {"DJANGO_SETTINGS_MODULE": "hospital.settings", "DATA_DIR": folder}
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
    call_command("migrate", verbosity=0)


def fill(animals: int) -> None:
    """One transaction: it is the reading that is measured."""
    from django.core.management import call_command
    from django.db import transaction

    from handover.protocols.actions import adopt_group
    from handover.protocols.models import LibraryRow
    from hospital.admissions.models import TaxonGroup
    from hospital.clock import now
    from tests import make

    began = time.perf_counter()
    with transaction.atomic():
        call_command("loadreference", stdout=StringIO())
        call_command("loadprotocols", stdout=StringIO())
        place = make.hospital()
        vet = make.person("Vera Vet", place, "vet", "coordinator")
        vet.email = "vet@example.org"
        vet.save()
        for group in TaxonGroup.objects.filter(pk__in=LibraryRow.objects.values("group")):
            adopt_group(group, hospital=place, by=vet, at=now())
        carers = [make.carer(f"Carer{n} Number{n}", place, room_for=30) for n in range(CARERS)]
        for number in range(animals):
            admit(number, vet, carers)
    print(f"{animals} animals made in {time.perf_counter() - began:.0f} s")


def admit(number: int, vet, carers) -> None:
    from handover.plans.actions import publish
    from hospital.admissions.models import Species, Weight
    from hospital.clock import now, pretending, today
    from tests import make

    name, procedure, material, bandage = KINDS[number % len(KINDS)]
    age = 3 + number * 7 % 40
    patient = make.patient(vet, species=Species.objects.get(scientific_name=name), days_ago=age)
    done_on = today() - timedelta(days=age - 1)
    operation = patient.procedures.create(kind=procedure, done_on=done_on, site="left", surgeon=vet, recorded_by=vet)
    about = {"procedure": operation, "site": "left"}
    patient.closures.create(closed_on=done_on, material=material, count=5, **about)
    patient.bandages.create(kind=bandage, applied_on=done_on, **about)
    home = None if number % 4 == 0 else carers[number % CARERS]
    placement = make.placement(patient, home, days_ago=age - 2, ward="Room 1" if home is None else "")
    for back in range(0, age, 3):
        at = now() - timedelta(days=back)
        Weight.objects.create(patient=patient, weighed_at=at, weight_g=Decimal(800 - back), weighed_by=vet)
    if home is None:
        course = make.order(patient, every_hours=12, doses=14, first_dose_at=now() - timedelta(hours=40))
        for hours in (40, 28, 16):
            course.doses_given.create(patient=patient, given_at=now() - timedelta(hours=hours), given_by=vet)
    if home:
        report(patient, placement, home, min(age - 2, REPORTS))
    with pretending(now() - timedelta(days=age - 1)):
        publish(patient, by=vet)
    if number % 10:
        see_weekly(patient, vet, age)
        publish_again(patient, vet)


def see_weekly(patient, vet, age: int) -> None:
    from hospital.clock import today

    bandage = patient.bandages.get()
    for days_ago in range(age - 8, -1, -7):
        on = today() - timedelta(days=days_ago)
        patient.examinations.create(kind="recheck", examined_on=on, examined_by=vet)
        bandage.changes.create(patient=patient, changed_on=on, changed_by=vet)


def publish_again(patient, vet) -> None:
    from django.core.exceptions import ValidationError

    from handover.plans.actions import publish

    try:
        publish(patient, by=vet)
    except ValidationError:  # nothing has changed since
        pass


def report(patient, placement, home, days: int) -> None:
    from handover.logs.models import LogEntry
    from hospital.clock import now, today

    for back in range(days):
        at = now() - timedelta(days=back, hours=1)
        LogEntry.objects.create(
            key=uuid.uuid4(), payload_hash="0", patient=patient, placement=placement, author=home.person,
            on=today() - timedelta(days=back), made_at=at, received_at=at, eaten="all",
            answer="phone_now" if patient.pk % 90 == 0 and back == 0 else "fine",
        )  # fmt: skip


def measure(vet) -> None:
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(vet)
    print(f"{'page':24}{'queries':>8}{'SQL ms':>8}{'median ms':>11}{'kB':>8}")
    for name in PAGES:
        url, times = reverse(name), []
        with CaptureQueriesContext(connection) as captured:
            answer = client.get(url)
        asked = list(captured)
        assert answer.status_code == 200, (name, answer.status_code)
        for _ in range(ROUNDS):
            began = time.perf_counter()
            client.get(url)
            times.append((time.perf_counter() - began) * 1000)
        sql_ms = sum(float(query["time"]) for query in asked) * 1000
        print(f"{name:24}{len(asked):>8}{sql_ms:>8.0f}{statistics.median(times):>11.0f}{len(answer.content) / 1000:>8.0f}")


if __name__ == "__main__":
    main()
