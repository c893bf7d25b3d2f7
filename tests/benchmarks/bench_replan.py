"""The night's check of every live case: cases a second, minutes, memory, and where the time goes. SQLite, a database of its own.

    python tests/benchmarks/bench_replan.py [cases] [--workers N] [--keep FOLDER] [--profile]

Some 120 courses of care are told row by row (nine kinds of animal, one to three procedures, bandages, medicines, weekly
rechecks, pins, holds, carers who go away) and published; the rest are copies of them with keys of their own. It runs the
command as a person would, once on nothing and once more on what the first run left. With --keep the database stays in
the folder and is used again; --profile prints the costliest functions of 400 cases in this process.
"""

from __future__ import annotations

import argparse
import copy
import cProfile
import json
import os
import pstats
import random
import re
import resource
import subprocess
import sys
import tempfile
import time
import uuid
from collections import Counter
from contextlib import contextmanager
from datetime import timedelta
from io import StringIO
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
COURSES = 120
STRIDE = 100_000  # the copies' keys are the originals' plus so many
CARERS = 40  # of the courses told; every set of copies lives with carers of its own, some two animals with each
KINDS = [  # species, procedure, closure material, bandage, implant
    ("Emys orbicularis", "shell-repair", "nylon", "shell-dressing", "shell-bridge"),
    ("Emys orbicularis", "limb-fixation", "nylon", "limb-fixation", None),
    ("Cygnus olor", "wound-closure", "nylon", "body-wrap", "drain"),
    ("Tyto alba", "fracture-fixation", "polydioxanone", "figure-of-eight", "intramedullary-pin"),
    ("Erinaceus europaeus", "wound-closure", "polyglactin", None, None),
    ("Vulpes vulpes", "wound-closure", "staples", "body-wrap", None),
    ("Testudo hermanni", "prolapse-repair", "polydioxanone", None, None),
    ("Turdus merula", "wing-strapping", None, "figure-of-eight", None),
    ("Cygnus olor", "hook-removal", "nylon", "foot", "feeding-tube"),
]
NAMED_BY_KEY = re.compile(r"\b(procedure|closure|bandage|implant|course)-(\d+)")


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("cases", nargs="?", type=int, default=10_000)
    arguments.add_argument("--workers", type=int)
    arguments.add_argument("--keep")
    arguments.add_argument("--courses", type=int, default=COURSES, help="how many are told; the others are copies")
    arguments.add_argument("--only-fill", action="store_true")
    arguments.add_argument("--profile", action="store_true")
    given = arguments.parse_args()
    folder = given.keep or tempfile.mkdtemp(prefix="bench-replan-")
    start(folder)
    from hospital.admissions.models import Patient

    if not Patient.objects.exists():
        fill(given.cases, given.courses)
    if given.profile:
        profile()
    elif not given.only_fill:
        measure(folder, given.workers)


def start(folder: str) -> None:
    os.environ |= {"DJANGO_SETTINGS_MODULE": "hospital.settings", "DATA_DIR": folder, "HOSPITAL_OWN_PYTHON": "1"}
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


# --- many cases ---------------------------------------------------------------------------------------------------


def fill(cases: int, courses: int = COURSES) -> None:
    """Rows in two transactions: it is the reading that is measured."""
    from django.core.management import call_command
    from django.db import transaction

    from tests import make

    began, chance = time.perf_counter(), random.Random(20270301)
    with transaction.atomic():
        call_command("loadreference", stdout=StringIO())
        call_command("loadprotocols", stdout=StringIO())
        places = [make.hospital(), make.hospital(name="Second Hospital", slug="second")]
        vets = [make.person("Vera Vet", place, "vet", "coordinator") for place in places]
        for place, vet in zip(places, vets, strict=True):
            adopt_everything(place, vet)
        carers = [make.carer(f"Carer{n} Number{n}", places[n % 2], room_for=400) for n in range(CARERS)]
        for n, carer in enumerate(carers):
            go_away(carer, n)
        for number in range(min(courses, cases)):
            tell(number, chance, vets[number % 2], carers[number % 2 :: 2])
    print(f"{min(courses, cases)} courses told in {time.perf_counter() - began:.0f} s", flush=True)
    with transaction.atomic(), without_audit():
        copy_cases(cases)
    print(f"{cases} cases made in {time.perf_counter() - began:.0f} s", flush=True)


def adopt_everything(place, vet) -> None:
    from handover.protocols.models import Adoption, LibraryRow
    from hospital.clock import now

    plain = ("kind", "slug", "group_id", "content", "source", "how_known")
    rows = LibraryRow.objects.filter(is_alternative=False).values(*plain)
    Adoption.objects.bulk_create([Adoption(hospital=place, adopted_by=vet, adopted_at=now(), **row) for row in rows])


def go_away(carer, number: int) -> None:
    from hospital.clock import today
    from hospital.people.models import CarerAway

    if number % 3 == 0:
        leaves = today() + timedelta(days=4 + number % 17)
        CarerAway.objects.create(carer=carer, starts_on=leaves, ends_on=leaves + timedelta(days=2 + number % 5))


def tell(number: int, chance: random.Random, vet, carers) -> None:
    """One course of care from admission to today; published on the second day and, for most, again on the day of the last recheck."""
    from hospital.admissions.models import Species
    from hospital.clock import now, pretending
    from tests import make

    kind = KINDS[number % len(KINDS)]
    age = 3 + number * 7 % 55
    patient = make.patient(vet, species=Species.objects.get(scientific_name=kind[0]), days_ago=age)
    for days_after in sorted(chance.sample(range(1, min(age, 9)), min(chance.choice((1, 1, 1, 2)), min(age, 9) - 1))):
        operate(patient, vet, kind, age - days_after, chance)
    home = None if number % 4 == 0 else chance.choice(carers)
    make.placement(patient, home, days_ago=age - 2, ward="Room 1" if home is None else "")
    for _ in range(chance.choice((0, 1, 1, 2))):
        order(patient, vet, age - chance.randrange(1, 3), chance)
    with pretending(now() - timedelta(days=age - 1)):
        publish(patient, vet)
    last = min(chance.choice((0, 1, 1, 2, 2, 3, 4, 6)), age - 1)  # days since anybody looked
    if number % 8:
        see_weekly(patient, vet, age, last)
        with pretending(now() - timedelta(days=last)):
            publish(patient, vet)
    decide(patient, vet, number)


def operate(patient, vet, kind, days_ago: int, chance: random.Random) -> None:
    from hospital.clock import today

    _, procedure, material, bandage, implant = kind
    on, site = today() - timedelta(days=days_ago), chance.choice(("left", "right", "back"))
    done = patient.procedures.create(
        kind=procedure, done_on=on, site=site, surgeon=vet, recorded_by=vet, anaesthetic=chance.choice(("", "alfaxalone"))
    )
    about = {"procedure": done, "site": site}
    if material:
        patient.closures.create(closed_on=on, material=material, count=5, **about)
    if bandage:
        patient.bandages.create(kind=bandage, applied_on=on, **about)
    if implant:
        patient.implants.create(kind=implant, placed_on=on, **about)


def order(patient, vet, days_ago: int, chance: random.Random) -> None:
    from hospital.clock import now
    from tests import make

    at = now() - timedelta(days=days_ago)
    drug = chance.choice(("Meloxicam", "Enrofloxacin", "Ceftazidime"))
    make.order(patient, by=vet, drug=drug, doses=chance.randrange(4, 15), first_dose_at=at, ordered_at=at)


def see_weekly(patient, vet, age: int, last: int) -> None:
    """Rechecks and bandage changes a week apart, the latest one `last` days ago."""
    from hospital.clock import today

    for days_ago in range(last, age - 3, 7):
        on = today() - timedelta(days=days_ago)
        patient.examinations.create(kind="recheck", examined_on=on, examined_by=vet)
        for bandage in patient.bandages.filter(applied_on__lt=on):
            bandage.changes.create(patient=patient, changed_on=on, changed_by=vet)


def publish(patient, vet) -> None:
    from django.core.exceptions import ValidationError

    from handover.plans import actions

    try:
        actions.publish(patient, by=vet)
    except ValidationError:  # nothing has changed, or the dates collide: an older plan stands, as in life
        pass


def decide(patient, vet, number: int) -> None:
    """A fixed day that is far too early for every 20th, a "not yet" for every 15th."""
    from django.core.exceptions import ValidationError

    from handover.plans.actions import fix_day, hold_back
    from hospital.clock import today

    rows = patient.current_plan.plan.dates.filter(done_on=None) if hasattr(patient, "current_plan") else []
    last = rows[len(rows) - 1].event_id if rows else None
    try:
        if last and number % 20 == 7:
            fix_day(patient, by=vet, event_id=last, on=today() + timedelta(days=1), reason="Asked for")
        elif last and number % 15 == 4:
            hold_back(patient, by=vet, event_id=last, not_before=today() + timedelta(days=40), reason="Too thin")
    except ValidationError:
        pass


@contextmanager
def without_audit():
    """Copies are nobody's doing. The triggers are made anew afterwards."""
    from django.db import connection

    from hospital.audit import triggers

    with connection.cursor() as cursor:
        for name in triggers.names_in(connection):
            table, _, trigger = name.partition(".")
            on = f'"{trigger}_on_{table}"' if connection.vendor == "sqlite" else f'"{trigger}" ON "{table}"'
            cursor.execute(f"DROP TRIGGER {on}")
    yield
    triggers.install(connection)


def copy_cases(cases: int) -> None:
    """Copies of all rows of the first patients, under keys (and names made of keys) of their own."""
    from handover.plans.models import CurrentPlan, Hold, Pin, Plan, PlannedDate
    from hospital.admissions.models import CaseCounter, Patient, Placement
    from hospital.examinations.models import Examination
    from hospital.medications.models import MedicationOrder
    from hospital.people.models import Carer, CarerAway, Person
    from hospital.procedures.models import Bandage, BandageChange, Closure, Implant, Procedure
    from hospital.rules.casenumbers import case_number

    told = list(Patient.objects.order_by("pk"))
    first_free = CaseCounter.objects.get().last + 1
    tables = (
        Placement, Procedure, Closure, Bandage, BandageChange, Implant, Examination, MedicationOrder, Pin, Hold, Plan,
        PlannedDate, CurrentPlan,
    )  # fmt: skip
    rows = {table: list(table.objects.order_by("pk")) for table in tables}
    carers = list(Carer.objects.select_related("person"))
    away = list(CarerAway.objects.all())
    for turn in range(1, -(-cases // len(told))):
        wanted = told[: min(len(told), cases - turn * len(told))]
        kept, offset = {patient.pk for patient in wanted}, turn * STRIDE
        patients = [copied(patient, offset) for patient in wanted]
        for n, patient in enumerate(patients):
            patient.case_number = case_number(first_free + turn * len(told) + n)
        Patient.objects.bulk_create(patients)
        Person.objects.bulk_create([copied(carer.person, offset, email=f"copy{turn}-{carer.person.email}") for carer in carers])
        Carer.objects.bulk_create([copied(carer, offset) for carer in carers])
        CarerAway.objects.bulk_create([copied(row, offset) for row in away])
        for table in tables:
            table.objects.bulk_create([copied(row, offset) for row in rows[table] if row.patient_id in kept], batch_size=200)
    CaseCounter.objects.update(last=first_free + cases)


def copied(row, offset: int, **fields):
    made = copy.copy(row)
    made._state = copy.copy(row._state)
    made.pk, made._state.adding = row.pk + offset, True
    if hasattr(row, "key"):
        made.key = uuid.uuid4()
    vars(made).update(fields)
    for name in ("patient_id", "procedure_id", "bandage_id", "plan_id", "carer_id", "person_id"):
        if getattr(row, name, None):
            setattr(made, name, getattr(row, name) + offset)
    if hasattr(row, "event_id"):
        made.event_id = renamed(row.event_id, offset)
    if hasattr(row, "problem"):
        for name in ("problem", "answer", "changes"):
            setattr(made, name, json.loads(renamed(json.dumps(getattr(row, name)), offset)))
    return made


def renamed(text: str, offset: int) -> str:
    return NAMED_BY_KEY.sub(lambda found: f"{found[1]}-{int(found[2]) + offset}", text)


# --- measuring ----------------------------------------------------------------------------------------------------


def profile() -> None:
    from handover.plans.proposals import check_batch
    from hospital.admissions.models import Patient
    from hospital.clock import today

    place = Patient.objects.first().hospital
    wanted = Patient.objects.in_care().filter(hospital=place, pk__gt=STRIDE).order_by("pk")[:400].values_list("pk", flat=True)
    watch = cProfile.Profile()
    watch.enable()
    checked = check_batch(wanted, place, today("Europe/London"), again=True)
    watch.disable()
    print(Counter(each.kind for each in checked.found), checked.reading_s, checked.planning_s)
    pstats.Stats(watch).sort_stats("cumulative").print_stats(70)
    pstats.Stats(watch).sort_stats("tottime").print_stats(35)


def measure(folder: str, workers: int | None) -> None:
    from hospital.admissions.models import Patient

    cases = Patient.objects.in_care().count()
    size = Path(folder, "hospital.sqlite3").stat().st_size / 1e6
    print(f"{cases} live cases, {size:.0f} MB of SQLite, {os.cpu_count()} processors")
    for what, more in (("every case", ["--again"]), ("run again, nothing new", [])):
        run(what, cases, [*more, *(["--workers", str(workers)] if workers else [])])


def run(what: str, cases: int, more: list[str]) -> None:
    """Peak memory is the largest single process's; processor seconds are those of all of them, whoever else was busy."""
    command = [sys.executable, "manage.py", "replan", "--all", "--json", *more]
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    took, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    assert done.returncode in (0, 1), done.returncode
    report = json.loads(done.stdout)
    assert report["checked"] == cases
    processor_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    spent = report["seconds"]
    shares = ", ".join(f"{name} {seconds / sum(spent.values()):.0%}" for name, seconds in spent.items())
    counts = sum((Counter(each["counts"]) for each in report["hospitals"]), Counter())
    print(f"{what:<24}{took:7.1f} s = {took / 60:.2f} min, {cases / took:.0f} cases/s; {processor_s:.0f} processor seconds; "
          f"largest process {after.ru_maxrss / 1024:.0f} MB; {shares}")  # fmt: skip
    print(f"{'':<24}{dict(counts)}, late {sum(each['late'] for each in report['hospitals'])}", flush=True)


if __name__ == "__main__":
    main()
