"""A real browser against the real demonstration: the command a person types, its server, its data."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import tomllib
from contextlib import closing
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking --disable-component-update --disable-sync"
).split()
PHONE = {"width": 360, "height": 780}
DESK = {"width": 1280, "height": 900}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """The command that a person types, on a folder and a port of its own; can be killed and started again."""

    def __init__(self, folder: Path):
        self.folder, self.port = folder, free_port()
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self) -> Server:
        environment = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "SITE_URL")}
        environment |= {"DATA_DIR": str(self.folder), "HOSPITAL_OWN_PYTHON": "1"}
        command = [sys.executable, "manage.py", "demo", "--port", str(self.port)]
        with (self.folder / "log").open("a") as log:
            output = {"stdout": log, "stderr": subprocess.STDOUT}
            self.process = subprocess.Popen(command, cwd=ROOT, env=environment, start_new_session=True, **output)
        _wait_for(f"{self.address}/sign-in/", self.process, self.folder / "log")
        return self

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(20)

    def kill(self) -> None:
        """As a power cut would: nothing is tidied up."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(20)

    def copied_to(self, folder: Path) -> Server:
        """Another hospital with the same data, to do harm to."""
        (folder / "secret_key").write_bytes((self.folder / "secret_key").read_bytes())
        with closing(self.database()) as source, closing(sqlite3.connect(folder / "hospital.sqlite3")) as copy:
            source.backup(copy)
        return Server(folder)

    def database(self) -> sqlite3.Connection:
        return sqlite3.connect(self.folder / "hospital.sqlite3", timeout=20)


def _wait_for(address: str, server: subprocess.Popen, log: Path) -> None:
    for _ in range(1800):
        if server.poll() is not None:
            pytest.fail(f"The demonstration stopped:\n{log.read_text()[-3000:]}")
        try:
            with urlopen(address, timeout=5):
                return
        except (URLError, OSError):
            time.sleep(0.1)
    pytest.fail(f"The demonstration did not answer in time:\n{log.read_text()[-3000:]}")


@pytest.fixture(scope="session")
def demo_server(tmp_path_factory) -> Server:
    """A demonstration made from nothing for this run."""
    server = Server(tmp_path_factory.mktemp("demo"))
    try:
        yield server.start()
    finally:
        server.stop()


@pytest.fixture(scope="session")
def demo(demo_server) -> str:
    return demo_server.address


@pytest.fixture(scope="session")
def chromium() -> Browser:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=CHROMIUM)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def people() -> dict:
    """The demonstration's people, as its own file names them."""
    with (ROOT / "fixtures" / "demo" / "people.toml").open("rb") as file:
        return tomllib.load(file)


@pytest.fixture
def context(chromium, demo) -> BrowserContext:
    """A fresh browser session that fails the test on a script error, a refused resource or another host."""
    context = chromium.new_context(viewport=DESK, base_url=demo, locale="en-GB", timezone_id="Europe/London")
    faults: list[str] = []
    context.on("weberror", lambda error: faults.append(f"script: {error.error}"))
    context.on("console", lambda message: faults.append(message.text) if "Content Security Policy" in message.text else None)
    context.on(
        "request",
        lambda request: faults.append(f"left the site: {request.url}") if not request.url.startswith((demo, "blob:")) else None,
    )
    yield context
    context.close()
    assert faults == []


@pytest.fixture
def page(context) -> Page:
    return context.new_page()


def sign_in(page: Page, email: str, password: str) -> None:
    page.goto("/sign-in/")
    page.get_by_label("E-mail address").fill(email)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in/" not in url)


def email_of(people: dict, key: str) -> str:
    return next(person["email"] for person in people["person"] if person["key"] == key)


def case_of(page: Page, name: str) -> str:
    """The case number of the animal of that name, for somebody of the staff who is signed in."""
    page.goto("/patients/")
    link = page.get_by_role("link", name=name).first.get_attribute("href")
    return link.rstrip("/").split("/")[-1]


def needs_a_day_before_it_is_over(is_there: bool) -> None:
    """A known limit: the demonstration is told up to now, so in the evening everything of the day is done in it."""
    if not is_there:
        pytest.skip("In the evening the demonstration has nothing left of the day: run this in the morning.")
