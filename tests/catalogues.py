"""The words that carers meet, and their translations: what the sources ask for, held against hospital/locale.

    python -m tests.catalogues        # with the Python in .venv: say what is missing, write the compiled catalogues anew

Strings are found by reading the sources as Django's own makemessages does, but without the gettext programs.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

ROOT = Path(__file__).resolve().parents[1]
LOCALE = ROOT / "hospital" / "locale"
LANGUAGES = ("de", "es", "fr")
# What a carer sees, on paper, on the phone, and before signing in. Pages of staff are in English.
CARERS_READ = [
    "templates/packs/*.html", "templates/logs/*.html", "templates/offline/*.html",
    "templates/people/*.html", "templates/codes/*.html", "templates/placements/accept.html",
    "templates/placements/my_away.html", "templates/placements/_my_away_form.html", "templates/placements/decline.html",
    "templates/questions/_*.html", "templates/questions/questions.html", "templates/mail/choose.html", "templates/feeds/*.html",
    "templates/base_carer.html", "templates/base_error.html",
    "templates/4*.html", "templates/500.html", "templates/_*.html", "templates/django/forms/*.html", "templates/widgets/*.html",
    "handover/packs/*.py", "handover/logs/*.py", "handover/offline/*.py", "handover/codes/*.py",
    "handover/labels/care.py", "handover/labels/changes.py", "handover/feeds/ical.py", "handover/letters/words.py",
    "handover/questions/forms.py", "handover/questions/actions.py", "hospital/mail/forms.py", "hospital/mail/sending.py",
    "handover/plans/news.py", "hospital/rules/wording.py", "hospital/medications/wording.py", "hospital/feeding/wording.py",
    "hospital/people/forms.py", "hospital/pictures.py", "hospital/pages.py",
]  # fmt: skip
STAFF_READ = {
    "templates/packs/_pack_form.html", "templates/people/invit*.html",
    "templates/logs/_card.html", "templates/logs/_water.html", "templates/logs/_worrying.html",
    "templates/questions/_card.html", "templates/questions/_task.html",
    "templates/logs/worrying.html", "templates/logs/water.html", "templates/_both_versions.html", "templates/_pagination.html",
    "handover/packs/forms.py", "handover/packs/actions.py",
}  # fmt: skip
# Of files that carers and staff share: what only staff meet, or only carers.
OF_STAFF = re.compile(
    r"_ERROR_PRONE|need_line|sums_line|ENTRIES|SUPPOSED"
    r"|set_water|allow_water|WaterForm|mark_seen|record_bandage_off|_failed"
)
CARERS_CHOICES = {
    "hospital/admissions/models.py": {"Sex", "LifeStage", "Kind"},
    "hospital/feeding/models.py": {"FluidRoute"},
    "handover/protocols/models.py": {"Topic"},
    "hospital/people/models.py": {"PAPERS", "PRINT_SIZES"},
    "hospital/people/menus.py": {"_person_links"},
}
MENU = ["My animals", "My days away"]
CALLS = {"_", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "ngettext_lazy"}
STRING = r"""u?r?("(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')"""
IN_TEMPLATE = re.compile(rf"\b(n?gettext)\(\s*{STRING}(?:\s*,\s*{STRING})?")


def wanted() -> dict[tuple[str, ...], str]:
    """Every message that a carer may meet, one form or two, with a file that asks for it."""
    found: dict[tuple[str, ...], str] = {(text,): "hospital/people/menus.py" for text in MENU}
    for pattern in CARERS_READ:
        for file in sorted(ROOT.glob(pattern)):
            name = file.relative_to(ROOT).as_posix()
            if not any(file.match(each) for each in STAFF_READ):
                found |= dict.fromkeys(_in_template(file) if file.suffix == ".html" else _in_python(file), name)
    for name, only in CARERS_CHOICES.items():
        found |= dict.fromkeys(_in_python(ROOT / name, only), name)
    return found


def _in_template(file: Path) -> Iterator[tuple[str, ...]]:
    from django.utils.translation.template import templatize

    for match in IN_TEMPLATE.finditer(templatize(file.read_text(encoding="utf-8"))):
        texts = [ast.literal_eval(text) for text in match.groups()[1:] if text]
        yield tuple(texts if match[1] == "ngettext" else texts[:1])


def _in_python(file: Path, only: set[str] | None = None) -> Iterator[tuple[str, ...]]:
    for part in _parts(ast.parse(file.read_text(encoding="utf-8")), only):
        for node in ast.walk(part):
            if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) in CALLS:
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                texts = [arg.value for arg in node.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)]
                if texts:
                    yield tuple(texts[: 2 if name.startswith("ngettext") else 1])


def _parts(tree: ast.AST, only: set[str] | None) -> Iterator[ast.AST]:
    """The statements of a module that count: all that are not of staff, or only those of these names, at any depth."""
    for node in ast.iter_child_nodes(tree):
        name = getattr(node, "name", "") or " ".join(t.id for t in getattr(node, "targets", []) if isinstance(t, ast.Name))
        if only is None:
            if not (name and OF_STAFF.fullmatch(name)):
                yield node
        elif name in only:
            yield node
        elif isinstance(node, ast.ClassDef):
            yield from _parts(node, only)


def folder(language: str) -> Path:
    return LOCALE / language / "LC_MESSAGES"


def catalogue(language: str) -> Catalog:
    with (folder(language) / "django.po").open("rb") as file:
        return read_po(file, locale=language)


def compiled(language: str) -> bytes:
    target = BytesIO()
    write_mo(target, catalogue(language))
    return target.getvalue()


def missing(language: str) -> list[str]:
    """What a carer would meet in English, and what is only guessed."""
    said = catalogue(language)
    return [key[0] for key in wanted() if not _is_said(said.get(key[0]), len(key))]


def _is_said(message, forms: int) -> bool:
    if message is None or message.fuzzy:
        return False
    return bool(message.string) if forms == 1 and isinstance(message.string, str) else all(message.string)


def main() -> None:
    for language in LANGUAGES:
        for text in missing(language):
            print(f"{language}: {text}")
        (folder(language) / "django.mo").write_bytes(compiled(language))


if __name__ == "__main__":
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "hospital.settings")
    main()
