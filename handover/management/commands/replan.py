"""Check the plans of live cases: what would change, what is in conflict, what is late."""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from contextlib import contextmanager
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser, OutputWrapper
from django.db import DatabaseError, connection

from handover.plans.nightly import BATCH, Run, check_cases, forget_closed_cases, tallies, written
from handover.plans.summary import as_json, as_text
from hospital.admissions.models import Patient, PatientQuerySet
from hospital.rules import casenumbers

NEEDS_A_PERSON, BAD_INPUT, STOPPED = 1, 2, 130
EVERY_S = 10  # between two lines of progress where there is no terminal


class Command(BaseCommand):
    help = (
        "Plan live cases anew and list what would change, what is in conflict and what is late. Publishes nothing: it only "
        "writes proposals, which the boards show. Stop it at any time and run it again: what has been checked today, and "
        "has not changed since, is passed over. Exit status 0: all as agreed; 1: something needs a person; 2: it could not run; "
        "130: it was stopped."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("cases", nargs="*", metavar="CASE", help="case numbers")
        parser.add_argument("--all", action="store_true", help="every live case of every hospital")
        parser.add_argument("--again", action="store_true", help="plan anew even what was checked today (after an upgrade)")
        parser.add_argument("--json", action="store_true", help="a report in JSON on standard output, for a mailer")
        parser.add_argument("--workers", type=int, default=processors(), help="processes that plan (the number of processors)")
        parser.add_argument("--batch", type=int, default=BATCH, help=f"animals read and written together ({BATCH})")

    def handle(self, *, cases: list[str], all: bool, again: bool, workers: int, batch: int, **options: Any) -> None:
        refuse_bad(cases, all, workers, batch)
        self.run, patients = Run(0), Patient.objects.none()
        try:
            with stopped_by_signals():
                patients = Patient.objects.in_care() if all else named(cases)
                self.plan_anew(patients, options["verbosity"], workers=workers, batch=batch, again=again)
                if all:
                    forget_closed_cases()
                status = self.report(patients, options)
        except KeyboardInterrupt:
            done, total = kept(patients, self.run), self.run.total
            self.stderr.write(f"\nStopped. {done} of {total} cases are checked and kept; run it again to go on.")
            status = STOPPED
        except DatabaseError as wrong:
            raise CommandError(f"The database cannot be read or written: {wrong}", returncode=BAD_INPUT) from wrong
        if status:
            sys.exit(status)

    def plan_anew(self, patients: PatientQuerySet, verbosity: int, **how: Any) -> None:
        progress = Progress(self.stderr if verbosity else None)
        for self.run in check_cases(patients, **how):
            progress.show(self.run)
        progress.end()

    def report(self, patients: PatientQuerySet, options: dict[str, Any]) -> int:
        found, unchecked = tallies(patients, self.run.days), [pk for each in self.run.unchecked for pk in each.patient_ids]
        numbers = dict(Patient.objects.filter(pk__in=unchecked).values_list("pk", "case_number"))
        if options["json"]:
            self.stdout.write(json.dumps(as_json(self.run, found, numbers), indent=2))
        else:
            self.stdout.write(as_text(self.run, found, numbers, with_animals=options["verbosity"] > 0))
        return NEEDS_A_PERSON if unchecked or any(each.needs_a_person for each in found) else 0


def processors() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def refuse_bad(cases: list[str], all: bool, workers: int, batch: int) -> None:
    if all == bool(cases):
        raise CommandError("Name cases, or say --all: one of the two.", returncode=BAD_INPUT)
    for name, number in (("--workers", workers), ("--batch", batch)):
        if not 1 <= number <= 10_000:
            raise CommandError(f"{name} must be a whole number from 1 to 10000, not {number}.", returncode=BAD_INPUT)


def named(cases: list[str]) -> PatientQuerySet:
    """The live cases of these numbers, as a person types them. Refuses the first that is none."""
    found = [_live(case) for case in cases]
    return Patient.objects.in_care().filter(pk__in=[patient.pk for patient in found])


def _live(case: str) -> Patient:
    try:
        number = casenumbers.case_number(casenumbers.sequence_of(case))
    except ValueError as wrong:
        raise CommandError(f"{case}: {wrong}", returncode=BAD_INPUT) from None
    patient = Patient.objects.filter(case_number=number).first()
    if patient is None:
        raise CommandError(f"There is no case {number}.", returncode=BAD_INPUT)
    if patient.closed_on:
        raise CommandError(f"The case {number} was closed on {patient.closed_on}: only live cases are planned.", returncode=BAD_INPUT)
    return patient


def kept(patients: PatientQuerySet, run: Run) -> int:
    """How many of the cases are checked. The database is asked anew: whatever was going on in it was broken off."""
    connection.close()
    return written(patients, run.days)


@contextmanager
def stopped_by_signals():
    """A polite `kill` stops it as Ctrl+C does, which a program started in the background does not hear.

    Signals can be caught in a program's main thread only.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


class Progress:
    """One line that is written over on a terminal; elsewhere a plain line now and then."""

    def __init__(self, out: OutputWrapper | None) -> None:
        self.out, self.began, self.told_at, self.width = out, time.monotonic(), time.monotonic(), 0
        self.is_terminal = out is not None and out.isatty()

    def show(self, run: Run) -> None:
        at = time.monotonic()
        if self.out is None or not run.total:
            return
        if self.is_terminal:
            line = progress_line(run, at - self.began)
            self.out.write("\r" + line.ljust(self.width), ending="")
            self.out.flush()
            self.width = len(line)
        elif at - self.told_at >= EVERY_S or run.done == run.total:
            self.out.write(progress_line(run, at - self.began))
            self.out.flush()
            self.told_at = at

    def end(self) -> None:
        if self.is_terminal and self.width:
            self.out.write("")


def progress_line(run: Run, seconds: float) -> str:
    """Count, rate and rest: "1400 of 10000 cases, 52 a second, 2 min 45 s left"."""
    line = f"{run.done} of {run.total} cases"
    if run.done == run.total:
        return f"{line} in {_duration(seconds)}"
    rate = run.done / seconds if seconds > 0 else 0
    if not rate:
        return line
    return f"{line}, {rate:.0f} a second, {_duration((run.total - run.done) / rate)} left"


def _duration(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"
