"""The picture of imports, the visible top level, and the habits that a machine can check."""

import ast
import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from django.core.management import call_command
from django.urls import get_resolver

from hospital.people.models import Role

ROOT = Path(__file__).resolve().parents[2]
VISIBLE = {
    "README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml", "requirements.lock",
    "hospital", "handover", "templates", "tests", "fixtures",
}  # fmt: skip


def tracked(*patterns: str) -> list[Path]:
    listed = subprocess.run(["git", "ls-files", *patterns], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / line for line in listed.stdout.splitlines()]


def views():
    """(address, name, view) of every address."""

    def walk(patterns, prefix, space):
        for entry in patterns:
            address = prefix + str(entry.pattern)
            if hasattr(entry, "url_patterns"):
                yield from walk(entry.url_patterns, address, entry.namespace or space)
            else:
                yield address, f"{space}:{entry.name}" if space else entry.name, entry.callback

    return list(walk(get_resolver().url_patterns, "", ""))


def test_the_top_level_holds_what_it_should_and_nothing_else():
    visible = {path.relative_to(ROOT).parts[0] for path in tracked()}

    assert {name for name in visible if not name.startswith(".")} <= VISIBLE


def test_every_page_has_a_way_to_it():
    """An address that no template and no view names can only be typed: for a person the page is not there."""
    named = [path for folder in ("templates", "hospital", "handover") for path in (ROOT / folder).rglob("*.*")]
    text = "\n".join(path.read_text() for path in named if path.suffix in (".html", ".py") and path.name != "urls.py")

    named_in_text = set(re.findall(r"""["']([a-z]+:[a-z-]+)["']""", text))

    assert sorted({name for _, name, _ in views() if ":" in name} - named_in_text) == []


def test_imports_follow_the_picture():
    linter = Path(sys.executable).with_name("lint-imports")

    done = subprocess.run([linter, "--no-cache"], cwd=ROOT, capture_output=True, text=True)

    assert done.returncode == 0, done.stdout


def test_ruff_finds_nothing():
    done = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "--no-cache", "."], cwd=ROOT, capture_output=True, text=True
    )

    assert done.returncode == 0, done.stdout


def test_types_of_the_pure_parts_are_strict():
    done = subprocess.run([sys.executable, "-m", "mypy", "--cache-dir", os.devnull], cwd=ROOT, capture_output=True, text=True)

    assert done.returncode == 0, done.stdout


@pytest.mark.django_db
def test_no_migration_is_missing():
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_locks_name_no_address_and_hash_everything():
    for lock in (ROOT / "requirements.lock", ROOT / "tests" / "requirements.lock"):
        text = lock.read_text()

        assert "://" not in text
        assert len(re.findall(r"^\S+==", text, re.M)) <= text.count("--hash=sha256:")


def test_the_test_lock_holds_the_very_versions_of_the_product_lock():
    pins = [
        dict(re.findall(r"^(\S+)==(\S+)", (ROOT / lock).read_text(), re.M))
        for lock in ("requirements.lock", "tests/requirements.lock")
    ]

    assert pins[0].items() <= pins[1].items()


@pytest.mark.parametrize(("address", "name", "view"), [pytest.param(*v, id=v[1]) for v in views()])
def test_every_view_says_whose_it_is(address, name, view):
    sign_in = {f"people:{name}" for name in ("sign-in", "sign-out", "ask-for-code", "enter-code", "by-passkey", "join", "choose-language")}
    open_to_all = sign_in | {"codes:type", "codes:log", "codes:answer", "feeds:feed", "setup:first"}  # the secret is in the address

    allowed = getattr(view, "allowed_roles", None)

    assert name in open_to_all or (allowed and allowed <= set(Role)), f"{address} carries no roles"


def test_no_page_carries_inline_script_or_style():
    guilty = [
        f"{path.relative_to(ROOT)}: {found.group()}"
        for path in tracked("templates")
        if path.suffix == ".html" and not path.name.startswith("500")
        for found in re.finditer(r"<script(?![^>]*\bsrc=)[^>]*>|<style\b|\bstyle=|\bon[a-z]+=\"", path.read_text())
    ]

    assert guilty == []


def test_every_part_says_what_it_needs():
    parts = [p for p in tracked("templates/*/_*.html") if not {"icons", "flags", "django"} & set(p.parts)]

    assert [str(p.relative_to(ROOT)) for p in parts if not p.read_text().lstrip().startswith("{# needs:")] == []


# An amount of medicine reaches a reader through hospital.rules.wording only: the one formatter, tested rule by rule.
AMOUNTS = r"(?:dose_amount|dose_per_kg|strength_per_ml|volume_ml|syringe_ml|stock_ml|dispense_ml|exact_ml|per_kg|per_kg_top|capacity_ml)"
SAFE = r"(?:drug_amount|as_written|per_ml|millilitres|percent|unlocalize)"
UNIT_WORDS = r"(?:mg|mcg|µg|micrograms?|ml|mL|cc|IU|units?)"
FORMATTERS = {Path("hospital/rules/wording.py"), Path("hospital/rules/doses.py")}  # the second speaks to developers


@pytest.mark.parametrize(
    "made_by_hand",
    [r"\{\{ *[\w.]*\b" + AMOUNTS + r" *(?:\}\}|\|(?!" + SAFE + r"))", r"\}\}(?:\s|&nbsp;)*" + UNIT_WORDS + r"\b"],
    ids=["a bare amount", "a unit behind a figure"],
)
def test_no_template_builds_a_medicine_line_by_hand(made_by_hand):
    found = [
        f"{path.relative_to(ROOT)}: {piece.group()}"
        for path in tracked("templates")
        if path.suffix in (".html", ".svg") and path.is_file()
        for piece in re.finditer(made_by_hand, path.read_text())
    ]

    assert found == []


def test_no_code_builds_a_medicine_line_by_hand():
    found = [
        f"{path.relative_to(ROOT)}:{text.lineno}"
        for path in tracked("hospital/*.py", "handover/*.py")
        if path.is_file() and path.relative_to(ROOT) not in FORMATTERS and "migrations" not in path.parts
        for text in ast.walk(ast.parse(path.read_text()))
        if _glues_a_unit(text)
    ]

    assert found == []


def _glues_a_unit(node: ast.AST) -> bool:
    """f"{dose} mg", or "%(dose)s mg": a figure that is given its unit outside the formatter."""
    if isinstance(node, ast.JoinedStr):
        after = [b.value for a, b in pairwise(node.values) if isinstance(a, ast.FormattedValue) and isinstance(b, ast.Constant)]
        return any(re.match(rf"\s*{UNIT_WORDS}\b", text) for text in after)
    is_text = isinstance(node, ast.Constant) and isinstance(node.value, str)
    return is_text and bool(re.search(rf"(?:%\(\w+\)[sd]|%[sd]|\{{\w*\}})\s*{UNIT_WORDS}\b", node.value))


@pytest.mark.parametrize("line", ['f"{dose} mg"', '"%(dose)s mL"', '"{} units".format(dose)', 'f"give {n}micrograms now"'])
def test_a_line_made_by_hand_would_be_found(line):
    assert any(_glues_a_unit(node) for node in ast.walk(ast.parse(line)))
