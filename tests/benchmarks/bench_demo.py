"""The demonstration, measured: making it, starting it again, its pages, and a pack beside an empty page.

    python tests/benchmarks/bench_demo.py [--keep FOLDER]

Medians of several rounds in one run. With --keep the demonstration stays in the folder and is used again.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
ROUNDS = 7
PAGES = {
    "coordinator's day": "/today/",
    "fortnight": "/fortnight/",
    "release": "/release/",
    "in care": "/patients/",
    "closed cases": "/patients/closed/",
    "case page": "/patients/{case}/",
    "care plan": "/patients/{case}/plan/",
}


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--keep")
    folder = arguments.parse_args().keep or tempfile.mkdtemp(prefix="bench-demo-")
    for word in ("first", "second"):
        print(f"{word + ' start, packages there':<34} {seconds(lambda: prepare(folder)):6.1f} s")
    os.environ |= {"DJANGO_SETTINGS_MODULE": "hospital.settings", "DATA_DIR": folder, "HOSPITAL_OWN_PYTHON": "1"}
    import django

    django.setup()
    measure_pages()
    measure_pack()


def seconds(do: Callable[[], object]) -> float:
    started = time.perf_counter()
    do()
    return time.perf_counter() - started


def median_ms(do: Callable[[], object]) -> float:
    do()
    return statistics.median(seconds(do) for _ in range(ROUNDS)) * 1000


def prepare(folder: str) -> None:
    command = [sys.executable, "manage.py", "demo", "--only-prepare", "--port", "8911"]
    environment = os.environ | {"DATA_DIR": folder, "HOSPITAL_OWN_PYTHON": "1"}
    subprocess.run(command, cwd=ROOT, env=environment, check=True, stdout=subprocess.DEVNULL)


def measure_pages() -> None:
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from hospital.admissions.models import Patient
    from hospital.people.models import Person

    case = Patient.objects.in_care().get(name="Bramble").case_number
    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(Person.objects.get(email="ines@sedge.example"))
    for name, address in PAGES.items():
        with CaptureQueriesContext(connection) as asked:
            answer = client.get(address.format(case=case))
        assert answer.status_code == 200, (address, answer.status_code)
        queries = len(asked)  # the next request empties the list
        print(f"{name:<34} {median_ms(lambda a=address: client.get(a.format(case=case))):6.0f} ms  {queries:3} queries")


def measure_pack() -> None:
    """The latest pack of one animal, set again from what was kept of it, beside an empty page of the same kind."""
    import weasyprint

    from handover.packs.actions import document
    from handover.packs.models import Pack
    from handover.packs.pdf import print_pdf

    pack = Pack.objects.filter(patient__name="Bramble").select_related("patient__hospital", "made_by").latest("version")
    empty = median_ms(lambda: weasyprint.HTML(string="<html lang=en><title>Empty</title>").write_pdf(pdf_variant="pdf/ua-1"))
    whole = median_ms(lambda: print_pdf(document(pack), paper=pack.paper))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{'empty page by the PDF library':<34} {empty:6.0f} ms")
    print(f"{f'pack of {pack.pages} pages':<34} {whole:6.0f} ms  {whole / empty:.0f} times the empty page")
    print(f"{'its file':<34} {pack.file.size / 1024:6.0f} kB   this process at most {memory:.0f} MB")


if __name__ == "__main__":
    main()
