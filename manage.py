#!/usr/bin/env python3
"""Make the environment on first use, then hand over to Django.

Needs only Python 3.11 to 3.13 with venv and pip. The packages come from the lock file, with their hashes checked,
into .venv beside this file; a stamp says which lock it was made from, so the second start takes no time.

    python3 manage.py demo     serve the demonstration on this machine
    python3 manage.py test     set up what the tests need, then run all of them
    python3 manage.py ...      any other Django command

Set HOSPITAL_OWN_PYTHON=1 to use the Python you started as it is.
"""
import hashlib
import os
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
VENV = os.path.join(HERE, ".venv")
VENV_PYTHON = os.path.join(VENV, "Scripts" if os.name == "nt" else "bin", "python")
LOCK = os.path.join(HERE, "requirements.lock")
TEST_LOCK = os.path.join(HERE, "tests", "requirements.lock")
OLDEST, NEWEST = (3, 11), (3, 13)


def stop(sentence):
    """End with one clear line, never a traceback."""
    sys.stderr.write(sentence + "\n")
    raise SystemExit(1)


def refuse_wrong_python():
    if not OLDEST <= sys.version_info[:2] <= NEWEST:
        stop(
            "This needs Python 3.11, 3.12 or 3.13; this is Python %d.%d. "
            "Install one of them and start again with it, for example: python3.12 manage.py %s"
            % (sys.version_info[0], sys.version_info[1], " ".join(sys.argv[1:2]) or "demo")
        )


def digest(path):
    with open(path, "rb") as file:
        return hashlib.sha256(file.read()).hexdigest()


def is_made_from(lock):
    """Whether .venv was made from this lock, by this version of Python."""
    try:
        with open(stamp_of(lock)) as file:
            return file.read() == stamp_text(lock)
    except OSError:
        return False


def stamp_of(lock):
    return os.path.join(VENV, os.path.basename(os.path.dirname(lock)) + "-lock.stamp" if lock == TEST_LOCK else "lock.stamp")


def stamp_text(lock):
    return "%d.%d %s" % (sys.version_info[0], sys.version_info[1], digest(lock))


def make_environment(lock):
    sys.stderr.write("Making the environment from %s (first use, or the lock changed)...\n" % os.path.relpath(lock, HERE))
    clear = [] if os.path.exists(VENV_PYTHON) and same_python() else ["--clear"]
    if subprocess.call([sys.executable, "-m", "venv"] + clear + [VENV]) != 0:
        stop("Could not make .venv. On Debian or Ubuntu: sudo apt-get install -y python3-venv")
    install = [VENV_PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input"]
    if subprocess.call(install + ["--require-hashes", "-r", lock]) != 0:
        stop(
            "The packages in %s could not be fetched. The first use needs a network that reaches the Python package "
            "index; connect, then run the same command again." % os.path.relpath(lock, HERE)
        )
    with open(stamp_of(lock), "w") as file:
        file.write(stamp_text(lock))


def same_python():
    answer = subprocess.run([VENV_PYTHON, "-c", "import sys; print('%d.%d' % sys.version_info[:2])"], capture_output=True, text=True)
    return answer.stdout.strip() == "%d.%d" % sys.version_info[:2]


def enter_environment(wants_tests):
    """Start again inside .venv, making it first when it is missing or older than the lock."""
    if os.environ.get("HOSPITAL_OWN_PYTHON"):
        return
    inside = os.path.realpath(sys.prefix) == os.path.realpath(VENV)
    needed = [TEST_LOCK] if wants_tests else [LOCK, TEST_LOCK]
    if not any(is_made_from(lock) for lock in needed):
        if inside:
            stop("The lock file changed: run this with the Python outside .venv once: python3 manage.py %s" % sys.argv[1])
        make_environment(needed[0])
    if not inside:
        os.execv(VENV_PYTHON, [VENV_PYTHON, os.path.join(HERE, "manage.py")] + sys.argv[1:])


def main():
    refuse_wrong_python()
    wants_tests = sys.argv[1:2] == ["test"]
    enter_environment(wants_tests)
    os.chdir(HERE)
    if wants_tests:
        sys.path.insert(0, HERE)
        from tests.run import main as run_tests

        raise SystemExit(run_tests(sys.argv[2:]))
    if sys.argv[1:2] == ["demo"]:  # beside a real hospital's data, never among them
        os.environ.setdefault("DATA_DIR", os.path.join(HERE, ".data", "demo"))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "hospital.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
