"""Serve the demonstration: an invented hospital with a few years of cases, on this machine only."""

from __future__ import annotations

import hashlib
import os
import shutil
import socket
import subprocess
import sys
import tomllib
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

PANGO = "apt-get install -y --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"


class Command(BaseCommand):
    help = __doc__
    requires_system_checks = []

    def add_arguments(self, parser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--fresh", action="store_true", help="throw the demonstration's data away and make them anew"
        )
        parser.add_argument("--only-prepare", action="store_true", help="make everything ready, but do not serve")

    def handle(self, *, port: int, fresh: bool, only_prepare: bool, **options) -> None:
        refuse_taken_port(port)
        refuse_missing_pango()
        if fresh:
            throw_away(Path(settings.DATA_DIR))
        self.prepare()
        self.greet(port)
        if not only_prepare:
            serve(port)

    def prepare(self) -> None:
        from hospital.sites.models import Hospital

        call_command("migrate", verbosity=0)
        call_command("createcachetable", verbosity=0)
        call_command("check", databases=["default"], verbosity=0)
        if not Hospital.objects.exists():
            self.stdout.write("Making the demonstration's data (one to two minutes, once)...")
            self.stdout.flush()
            call_command("loadreference", verbosity=0)
            call_command("loadprotocols", verbosity=0)
            call_command("loaddemo", verbosity=0)
        draw_outlines()
        collect_static_files()

    def greet(self, port: int) -> None:
        from hospital.people.models import Person

        self.stdout.write(f"\nThe demonstration is at  http://127.0.0.1:{port}/  (stop it with Ctrl+C)\n\nSign in as:")
        for person in Person.objects.order_by("pk").prefetch_related("memberships__hospital"):
            held = sorted({f"{m.get_role_display().lower()} at {m.hospital.name}" for m in person.memberships.all()})
            self.stdout.write(f"  {person.email:<34} {person.name:<20} {', '.join(held)}")
        self.stdout.write(f"Password for all of them: {demo_password()}")
        self.stdout.write(f"Mail is printed below instead of sent: codes to sign in, invitations. Passkeys: http://localhost:{port}/\n")
        self.stdout.flush()


def demo_password() -> str:
    people = settings.BASE_DIR / "fixtures" / "demo" / "people.toml"
    return tomllib.loads(people.read_text())["password"]


def refuse_taken_port(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            raise CommandError(
                f"Port {port} is taken by another program. Choose another: python3 manage.py demo --port {port + 1}"
            ) from None


def refuse_missing_pango() -> None:
    try:
        import weasyprint  # noqa: F401
    except OSError:
        raise CommandError(f"The handover packs need Pango. On Debian or Ubuntu: sudo {PANGO}") from None


def throw_away(folder: Path) -> None:
    """Remove what the demonstration made in its own folder, and nothing else."""
    for name in ("hospital.sqlite3", "hospital.sqlite3-wal", "hospital.sqlite3-shm"):
        (folder / name).unlink(missing_ok=True)
    shutil.rmtree(folder / "media", ignore_errors=True)


def draw_outlines() -> None:
    """Give each hospital the outline of the invented estuary, for the map on which a place is picked."""
    from hospital.sites.models import Hospital
    from hospital.sites.queries import outline_file

    for hospital in Hospital.objects.all():
        outline_file(hospital).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(settings.BASE_DIR / "fixtures" / "demo" / "estuary_outline.geojson", outline_file(hospital))


def collect_static_files() -> None:
    """Hash and compress the static files, unless they are the ones collected last time."""
    root = Path(settings.STATIC_ROOT)
    stamp = root.with_name("static.stamp")
    digest = hashlib.sha256()
    for app in ("hospital", "handover"):
        for file in sorted((settings.BASE_DIR / app / "static").rglob("*")):
            if file.is_file():
                digest.update(file.name.encode() + file.read_bytes())
    if not (root.exists() and stamp.exists() and stamp.read_text() == digest.hexdigest()):
        call_command("collectstatic", interactive=False, clear=True, verbosity=0)
        stamp.write_text(digest.hexdigest())


def serve(port: int) -> None:
    """Become the web server: the one that a hospital would run, on the loopback address."""
    environment = os.environ | {"SITE_URL": f"http://127.0.0.1:{port}", "DATA_DIR": str(settings.DATA_DIR)}
    bind = ["--bind", f"127.0.0.1:{port}", "--workers", "2", "--threads", "4", "--log-level", "warning"]
    os.chdir(settings.BASE_DIR)
    # Letters go while the demonstration is served: printed here, and read on the coordinator's page "Post".
    subprocess.Popen([sys.executable, "manage.py", "sendmail", "--loop", "--with-parent", str(os.getpid())], env=environment)
    os.execve(sys.executable, [sys.executable, "-m", "gunicorn", "hospital.wsgi", *bind], environment)
