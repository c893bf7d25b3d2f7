"""A throw-away PostgreSQL cluster for one test run: on the loopback address, in a temporary folder, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

QUICK = "-c fsync=off -c full_page_writes=off -c synchronous_commit=off"


def programs() -> Path | None:
    """The folder of initdb and pg_ctl of the newest installed server; Debian keeps it off PATH."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).parent if on_path else None


@contextmanager
def cluster() -> Iterator[str]:
    """Yield a DATABASE_URL. PostgreSQL refuses to run as root, so root hands it to the user `postgres` or `nobody`."""
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    as_user = _unprivileged(folder)
    data, log, port = folder / "data", folder / "log", _free_port()

    def run(*command: object) -> None:
        subprocess.run([*as_user, *map(str, command)], check=True, cwd=folder, stdout=subprocess.DEVNULL)

    try:
        run(
            programs() / "initdb",
            "-D",
            data,
            "-U",
            "test",
            "--auth=trust",
            "--no-sync",
            "-E",
            "UTF8",
            "--locale=C.UTF-8",
        )
        run(
            programs() / "pg_ctl",
            "-D",
            data,
            "-l",
            log,
            "-w",
            "-o",
            f"-k {folder} -h 127.0.0.1 -p {port} {QUICK}",
            "start",
        )
        yield f"postgres://test@127.0.0.1:{port}/postgres"
        run(programs() / "pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def _unprivileged(folder: Path) -> list[str]:
    if os.getuid() != 0:
        return []
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    who = names.get("postgres") or names["nobody"]
    os.chown(folder, who.pw_uid, who.pw_gid)
    return ["setpriv", f"--reuid={who.pw_uid}", f"--regid={who.pw_gid}", "--clear-groups"]
