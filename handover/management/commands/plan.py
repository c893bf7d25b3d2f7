"""Plan problems from a file. Needs no database."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser

from handover.schedule.plan import BAD_INPUT, main


class Command(BaseCommand):
    help = (
        "Plan the problem, or list of problems, in a JSON file (- for standard input) and print the answer as JSON. "
        "Exit status 0: planned; 1: a conflict; 2: input that cannot be read, or an answer that cannot be written."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="a JSON file, or - for standard input")

    def handle(self, *, file: str, **options: object) -> None:
        answer, status = main(_read(file))
        try:
            self.stdout.write(answer)
            self.stdout.flush()
        except OSError as wrong:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # else Python tries again when it ends
            raise CommandError(f"The answer cannot be written: {wrong.strerror}.", returncode=BAD_INPUT) from None
        if status:
            sys.exit(status)


def _read(file: str) -> str:
    try:
        raw = _standard_input() if file == "-" else Path(file).read_bytes()
        return raw.decode("utf-8-sig")
    except OSError as wrong:
        raise CommandError(f"{file} cannot be read: {wrong.strerror}.", returncode=BAD_INPUT) from None
    except UnicodeDecodeError:
        raise CommandError(f"{file} is not text in UTF-8.", returncode=BAD_INPUT) from None


def _standard_input() -> bytes:
    if sys.stdin is None:  # closed by whoever started the command
        raise CommandError("Standard input is closed: there is no problem to read.", returncode=BAD_INPUT)
    return sys.stdin.buffer.read()
