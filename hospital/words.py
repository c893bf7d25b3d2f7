"""Words of the shipped reference in the reader's language, line by line; and how a day is written there.

The source language is English. What nobody has translated, and what a person of the hospital typed, stays English and
says so with a mark, so that no reader takes a foreign line for a line that was left out.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from functools import cache

from django.conf import settings
from django.utils.formats import date_format
from django.utils.translation import get_language, gettext

from hospital.rules.wording import ENGLISH, Tongue

FOLDER = settings.BASE_DIR / "fixtures" / "reference" / "words"
IN_ENGLISH = "[EN]"
MEASURE = re.compile(r"[0-9]+ (?:mm|cm|g)")
POINTS = {"es": (",", "\N{NO-BREAK SPACE}"), "fr": (",", "\N{NO-BREAK SPACE}"), "de": (",", "\N{NO-BREAK SPACE}")}  # ISO 80000-1, 7.3


def language() -> str:
    """The language of the reader: "en-gb", "es", "fr" or "de"."""
    return get_language() or settings.LANGUAGE_CODE


def is_english() -> bool:
    return language() == settings.LANGUAGE_CODE


def tongue() -> Tongue:
    """The reader's words, decimal mark and mark between groups of three."""
    if is_english():
        return Tongue(say=gettext)
    return Tongue(gettext, *POINTS.get(language(), (ENGLISH.decimal_mark, ENGLISH.group_mark)))


def said(text: str) -> str:
    """A line of the reference, or of a vet, in the reader's language; in English with a mark where there is no translation.

    A list ("left wing, leading edge, 70 mm") is said part by part if every part of it is known.
    """
    if is_english() or not text.strip():
        return text
    known = lines(language())
    parts = [part if MEASURE.fullmatch(part) else known.get(part) for part in text.split(", ")]
    return known.get(text) or (f"{IN_ENGLISH} {text}" if None in parts else ", ".join(parts))


def species_name(scientific: str, common: str) -> str:
    """The common name in the reader's language; where we know none, the scientific one, which is the same in all of them."""
    return common if is_english() else _file(language()).get("species", {}).get(scientific, scientific)


def lines(code: str) -> Mapping[str, str]:
    """All translated lines of a language, by the English line: a line that was changed is not translated any more."""
    return _lines(code)


@cache
def _lines(code: str) -> Mapping[str, str]:
    tables = (table for name, table in _file(code).items() if name != "species" and isinstance(table, dict))
    return {text: words for table in tables for text, words in table.items()}


@cache
def _file(code: str) -> Mapping:
    file = FOLDER / f"{code}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8")) if file.exists() else {}


def lowered(text: str) -> str:
    """A label within a sentence. German keeps the capitals of its nouns; so does a line that stayed English."""
    if language() == "de" or text.startswith(IN_ENGLISH):
        return text
    return text.lower() if is_english() else text[:1].lower() + text[1:]


def dated(on: date | datetime | None, form: str) -> str:
    """A day in one of our forms ("D j M Y"), joined as the reader's language joins it: "5. Januar 2027", "5 de enero de 2027"."""
    return date_format(on, _joined(form, language())) if on else ""


@cache
def _joined(form: str, code: str) -> str:
    """CLDR's forms: a full stop after a German day, "de" between Spanish day, month and year; "l" (weekday) has a comma in both."""
    if code == "de":
        return form.replace("j ", "j. ").replace("l j", "l, j")
    if code == "es":
        return form.replace("j F", r"j \d\e F").replace("F Y", r"F \d\e Y").replace("l j", "l, j")
    return form
