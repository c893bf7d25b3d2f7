"""How long an old spreadsheet of 30,000 rows takes, and how much memory: dry run, writing and undoing, with the audit's triggers.

    taskset -c 0,1 .venv/bin/python tests/benchmarks/bench_import.py          # a scratch database; --rows 3000 for a smaller one
"""

import argparse
import os
import random
import resource
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
WORDS = ("Barn owl", "Hedgehog", "Mute swan", "Red fox", "Tawny owl", "barn owll", "Bird")
ENDS = ("Released", "Died", "PTS", "Transferred", "Rehomed", "")


def table(rows: int) -> bytes:
    """Invented rows from a fixed seed: twenty-two columns wide, as the widest of the open files are."""
    chance = random.Random(2017)
    known = "Case no;Date in;Species;Sex;Weight (g);Reason;Where found;Latitude;Longitude;Date out;Outcome"
    lines = [";".join([known, *(f"Old {n}" for n in range(11))])]
    for number in range(rows):
        admitted = date(2010, 1, 1) + timedelta(days=chance.randrange(5000))
        ended = admitted + timedelta(days=chance.randrange(90))
        words = (
            f"{number}", f"{admitted:%d/%m/%Y}", chance.choice(WORDS), chance.choice("MFU"), str(chance.randrange(20, 9000)),
            chance.choice(("Hit by car", "Orphaned", "?", "Fell over")), f"Place {chance.randrange(400)}",
            f"54.{chance.randrange(99999):05}", f"-3.{chance.randrange(99999):05}", f"{ended:%d/%m/%Y}",
            chance.choice(ENDS), *(f"word {chance.randrange(99)}" for _ in range(11)),
        )  # fmt: skip
        lines.append(";".join(words))
    return "\n".join(lines).encode()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=30_000)
    rows = parser.parse_args().rows
    os.environ["DATA_DIR"] = tempfile.mkdtemp(prefix="bench-import-")
    os.environ["DJANGO_SETTINGS_MODULE"] = "hospital.settings"
    import django

    django.setup()
    from django.core.files.base import ContentFile
    from django.core.management import call_command

    for command in ("migrate", "createcachetable", "loadreference"):
        call_command(command, verbosity=0)
    from hospital.imports import actions
    from hospital.imports.models import Import
    from hospital.imports.queries import table_of
    from hospital.imports.words import proposals
    from hospital.jobs.actions import ask, run
    from tests import make

    by = make.person("Cora Coordinator", make.hospital(), "coordinator")

    def timed(name, do):
        began = time.perf_counter()
        answer = do()
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{name:<28} {time.perf_counter() - began:7.1f} s   {peak_mb:6.0f} MB at most so far", flush=True)
        return answer

    def work(kind):
        job = run(ask(kind, of.hospital, subject=of.key, by=by, begins=False).key)
        assert job.state == job.State.DONE, job.note

    content = table(rows)
    print(f"{rows} rows, {len(content) / 1e6:.1f} MB, on {len(os.sched_getaffinity(0))} cores")
    of = timed("upload and guess", lambda: actions.upload(by.memberships.get().hospital, by=by, file=ContentFile(content, "old.csv")))
    of = actions.say_columns(of, seen_version=of.version, columns=of.columns, **of.reading)
    words: dict = {}
    for word in timed("propose meanings of words", lambda: proposals(table_of(of), of.columns, {})):
        words.setdefault(word.field, {})[word.folded] = word.likely
    of = actions.say_words(of, seen_version=of.version, words=words)
    timed("dry run", lambda: work("check-import"))
    timed("write, in one transaction", lambda: work("write-import"))
    counts = Import.objects.get(pk=of.pk).counts
    print({name: counts[name] for name in ("rows", "new", "here", "refused", "noted")})
    timed("undo", lambda: work("undo-import"))


if __name__ == "__main__":
    main()
