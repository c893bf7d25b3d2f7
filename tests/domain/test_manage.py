"""manage.py before there is an environment: each refusal is one line that says what to do."""

import importlib.util
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def manage():
    """manage.py as a module of its own, so that a test may bend it."""
    spec = importlib.util.spec_from_file_location("manage_under_test", ROOT / "manage.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("version", [(2, 7), (3, 10), (3, 14)])
def test_a_wrong_python_is_refused_in_one_line(manage, monkeypatch, capsys, version):
    monkeypatch.setattr(manage, "sys", SimpleNamespace(version_info=version, argv=["manage.py", "demo"], stderr=sys.stderr))

    with pytest.raises(SystemExit):
        manage.refuse_wrong_python()

    said = capsys.readouterr().err
    assert f"{version[0]}.{version[1]}" in said
    assert said.count("\n") == 1


def test_a_right_python_is_let_through(manage):
    assert manage.refuse_wrong_python() is None


def test_the_text_can_be_read_by_an_old_python(manage):
    """No f-string, no walrus, no annotation: an old Python must get as far as the refusal."""
    text = (ROOT / "manage.py").read_text()

    assert 'f"' not in text
    assert ":=" not in text
    assert "->" not in text


def test_no_network_on_first_use_is_one_line(manage, monkeypatch, capsys):
    calls = iter([0, 1])  # the environment is made, the packages cannot be fetched
    monkeypatch.setattr(manage.subprocess, "call", lambda *args, **kwargs: next(calls))

    with pytest.raises(SystemExit):
        manage.make_environment(manage.LOCK)

    assert "network" in capsys.readouterr().err.splitlines()[-1]


def test_a_stamp_of_another_lock_or_python_does_not_count(manage, monkeypatch, tmp_path):
    lock = tmp_path / "requirements.lock"
    lock.write_text("django==5.2")
    monkeypatch.setattr(manage, "VENV", str(tmp_path))
    Path(manage.stamp_of(str(lock))).write_text(manage.stamp_text(str(lock)))
    assert manage.is_made_from(str(lock))

    lock.write_text("django==5.3")

    assert not manage.is_made_from(str(lock))


def test_a_taken_port_is_refused_in_one_line(tmp_path):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        command = [sys.executable, "manage.py", "demo", "--port", str(port)]
        environment = {"DATA_DIR": str(tmp_path), "HOSPITAL_OWN_PYTHON": "1", "PATH": ""}
        done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)

    assert done.returncode == 1
    assert f"--port {port + 1}" in done.stderr
    assert done.stderr.strip().count("\n") == 0
