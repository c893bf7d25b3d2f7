"""Send the letters that are due: once for a timer, or again and again. Several may run at once, on one computer or on many."""

from __future__ import annotations

import os
import signal
import sys
import threading
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, close_old_connections, connection

from handover.duty.actions import pass_on_unseen
from handover.letters.reminders import write_reminders
from handover.letters.words import WRITERS
from hospital.audit.acting import acting
from hospital.clock import now
from hospital.mail.models import Letter
from hospital.mail.sending import send_due

NEEDS_A_PERSON = 1


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser) -> None:
        how = parser.add_mutually_exclusive_group()
        how.add_argument("--once", action="store_true", help="send what is due and end (what it does without being told)")
        how.add_argument("--loop", action="store_true", help="go on until it is stopped: Ctrl+C or a polite kill")
        parser.add_argument("--every", type=int, default=15, help="seconds between two rounds of --loop (15)")
        parser.add_argument("--with-parent", type=int, metavar="PID", help="with --loop: end when the program that started it ends")

    def handle(self, *, loop: bool, every: int, with_parent: int | None, **options: Any) -> None:
        if not 1 <= every <= 3600:
            raise CommandError(f"--every must be a whole number of seconds from 1 to 3600, not {every}.")
        self.stop = threading.Event()
        if threading.current_thread() is threading.main_thread():
            for name in (signal.SIGTERM, signal.SIGINT):
                signal.signal(name, lambda *_: self.stop.set())
        if loop:
            self.go_on(every, with_parent)
        elif self.round().get(Letter.State.FAILED):
            sys.exit(NEEDS_A_PERSON)

    def go_on(self, every: int, parent: int | None) -> None:
        while not self.stop.is_set() and parent in (None, os.getppid()):
            close_old_connections()
            try:
                self.round()
            except DatabaseError as fault:  # a database that starts anew: the next round finds it again
                self.stderr.write(f"The database cannot be read or written: {fault}")
                connection.close()
            self.stop.wait(every)

    def round(self) -> dict[str, int]:
        """Write what is due by the clock, then send."""
        with acting(None, "sendmail"):
            pass_on_unseen(now())
            write_reminders(now())
            ended = send_due(WRITERS, is_stopped=self.stop.is_set)
        if ended:
            self.stdout.write(", ".join(f"{count} {state}" for state, count in sorted(ended.items())))
            self.stdout.flush()
        return ended
