"""How far a job came: two numbers in a small file, because a job that writes holds the database until it ends."""

from __future__ import annotations

import os
import time
import uuid
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

EVERY_S = 0.4  # a page asks every second or two
QUIET_S = 90  # a job that says nothing for so long has stopped: nothing in one step takes half as long


@dataclass(frozen=True, slots=True)
class Progress:
    done: int = 0
    total: int = 0
    is_quiet: bool = False  # it has said nothing for too long

    @property
    def percent(self) -> int:
        return min(100, 100 * self.done // self.total) if self.total else 0


def _file(key: uuid.UUID) -> Path:
    return Path(settings.MEDIA_ROOT) / "jobs" / str(key)


class Teller:
    """What a job calls to say how far it is; it writes at most a few times a second."""

    def __init__(self, key: uuid.UUID):
        self.file, self.told_at = _file(key), 0.0
        self.file.parent.mkdir(parents=True, exist_ok=True)

    def __call__(self, done: int, total: int) -> None:
        if time.monotonic() - self.told_at < EVERY_S and done < total:
            return
        self.told_at = time.monotonic()
        beside = self.file.with_suffix(".new")
        beside.write_text(f"{done} {total}")
        os.replace(beside, self.file)


def progress_of(key: uuid.UUID) -> Progress:
    try:
        done, total = _file(key).read_text().split()
        age_s = time.time() - _file(key).stat().st_mtime
    except (OSError, ValueError):
        return Progress()
    return Progress(int(done), int(total), age_s > QUIET_S)


def forget(key: uuid.UUID) -> None:
    _file(key).unlink(missing_ok=True)
