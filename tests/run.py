"""Run all tests: first what touches the database on PostgreSQL, then everything on SQLite, the browser's included.

`python3 manage.py test` comes here. With arguments, pytest gets them as they are: `python3 manage.py test tests/domain -x`.
"""

from __future__ import annotations

import ctypes.util
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable

from tests import postgres

# What pip cannot bring: how to see that it is there, and the Debian package that brings it.
SYSTEM: list[tuple[str, Callable[[], object], list[str]]] = [
    (
        "Pango, which sets the packs",
        lambda: ctypes.util.find_library("pangoft2-1.0"),
        ["libpango-1.0-0", "libpangoft2-1.0-0"],
    ),
    (
        "HarfBuzz subsetting, which makes packs faster",
        lambda: ctypes.util.find_library("harfbuzz-subset"),
        ["libharfbuzz-subset0"],
    ),
    ("Chromium, for the browser's tests", lambda: shutil.which("chromium"), ["chromium"]),
    ("PostgreSQL's server", postgres.programs, ["postgresql"]),
    ("pdftotext and pdftoppm, which read packs back", lambda: shutil.which("pdftoppm"), ["poppler-utils"]),
    ("qpdf, which checks that packs are whole", lambda: shutil.which("qpdf"), ["qpdf"]),
]


AT_ONCE = ("-n", str(os.cpu_count() or 2), "--dist", "loadgroup")


def main(arguments: list[str]) -> int:
    install_what_is_missing()
    if arguments:
        return pytest(*arguments)
    started = time.monotonic()
    with postgres.cluster() as url:
        on_postgresql = pytest("tests/web", *AT_ONCE, DATABASE_URL=url)
    on_sqlite = pytest("tests/domain", "tests/acceptance", "tests/web", "tests/browser", *AT_ONCE)
    print(
        f"PostgreSQL: {verdict(on_postgresql)}. SQLite and browser: {verdict(on_sqlite)}. {time.monotonic() - started:.0f} s."
    )
    return on_postgresql or on_sqlite


def verdict(status: int) -> str:
    return "all passed" if status == 0 else "FAILED"


def pytest(*arguments: str, **environment: str) -> int:
    """pytest's exit status; no test found counts as a failure.

    Python's development mode costs a tenth to a fifth of the time: once, where every test runs, is enough.
    """
    developing = [] if environment else ["-X", "dev"]
    command = [sys.executable, *developing, "-m", "pytest", "-q", *arguments]
    print("$ pytest", *arguments, "on", "PostgreSQL" if environment else "SQLite", flush=True)
    return subprocess.run(command, env=os.environ | {"DJANGO_ALLOW_ASYNC_UNSAFE": "true"} | environment).returncode


def install_what_is_missing() -> None:
    missing = [(what, packages) for what, is_there, packages in SYSTEM if not is_there()]
    if not missing:
        return
    names = [name for _, packages in missing for name in packages]
    line = "apt-get install -y --no-install-recommends " + " ".join(names)
    print(f"Missing: {'; '.join(what for what, _ in missing)}.", flush=True)
    if not may_install():
        raise SystemExit(f"Install what the tests need, then run them again: sudo {line}")
    prefix = [] if os.getuid() == 0 else ["sudo", "-n"]
    quiet = {"stdout": subprocess.DEVNULL, "env": os.environ | {"DEBIAN_FRONTEND": "noninteractive"}}
    subprocess.run([*prefix, "apt-get", "update", "-qq"], **quiet)
    if subprocess.run([*prefix, *line.split(), "-qq"], **quiet).returncode:
        raise SystemExit(f"The tests need packages that could not be installed. Try: sudo {line}")


def may_install() -> bool:
    if not shutil.which("apt-get"):
        return False
    return os.getuid() == 0 or subprocess.run(["sudo", "-n", "true"], capture_output=True).returncode == 0
