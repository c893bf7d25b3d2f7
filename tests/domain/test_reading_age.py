"""English words for carers can be read by an 11-year-old: measured by a library, group by group.

Both measures give a school year of the United States, of which the sixth is age 11 to 12: Flesch-Kincaid from syllables (Kincaid
and others, 1975, from memory), the automated index from letters (Smith and Senter, 1967, from memory). The library counts
syllables by rules of thumb, so a group is judged by all its words together, one text by a wider bound, and by both measures.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from pathlib import Path

import pytest
import readability

from handover.labels.care import ANSWERS, BECAUSE, REASONS, SIGNS
from handover.logs.models import MISHAPS

ROOT = Path(__file__).resolve().parents[2]
FILES = ROOT / "fixtures" / "reference"
CARERS_TEMPLATES = [
    *sorted((ROOT / "templates" / "logs").glob("*.html")),
    *sorted((ROOT / "templates" / "offline").glob("*.html")),
    *sorted((ROOT / "templates" / "packs").glob("_*.html")),
]
FOR_STAFF = {
    "_water.html",
    "water.html",
    "_worrying.html",
    "worrying.html",
    "_card.html",
    "_water_card.html",
    "_ladder.html",
    "_pack_form.html",
}
# Names that a carer must meet because the hospital, the label and the law use them; each counts as a short word.
CLINICAL = (
    "antibiotic", "antibiotics", "amphibian", "bacteria", "calcium", "chlamydia", "disinfect", "disinfectant", "electrolyte",
    "hedgehog", "hibernate", "hibernation", "humidity", "hospital", "injection", "licensed", "medical", "medicine", "medicines",
    "parasites",
    "plumage", "radiograph", "salmonella", "temperature", "thermometer", "thermostat", "ultraviolet", "veterinary", "vitamin",
)  # fmt: skip
GROUP_AT_MOST = 6.0
TEXT_AT_MOST = 11.0


def grade(texts: Iterable[str]) -> float:
    """The harder of both grades of these texts taken together."""
    lines = [line for text in texts for line in sentences(text)]
    grades = readability.getmeasures(lines, lang="en")["readability grades"]
    return max(grades["Kincaid"], grades["ARI"])


def sentences(text: str) -> list[str]:
    """One sentence a line, words parted by blanks, as the library asks for it; places left open count as a short word."""
    text = re.sub(r"%\(\w+\)s %%|%\(\w+\)[sd]|%[sa]\b|\{\{.*?\}\}|\{%.*?%\}|<[^>]+>", " it ", text)
    text = re.sub(rf"\b({'|'.join(CLINICAL)})\b", "name", text, flags=re.IGNORECASE)
    parts = re.split(r"(?<=[.!?:;])\s+", re.sub(r"\s+", " ", text).strip())
    return [" ".join(re.findall(r"[\w’'°%/-]+", part)) + " ." for part in parts if re.search(r"\w", part)]


def rows(name: str, key: str) -> list[dict]:
    return tomllib.loads((FILES / name).read_text())[key]


def words_of(file: Path) -> list[str]:
    """What a template says, sentences only: a label of one or two words has no reading age."""
    text = file.read_text()
    said = re.findall(r'{% translate "([^"]+)"', text) + re.findall(r"{% blocktranslate[^%]*%}(.*?){% endblocktranslate %}", text, re.S)
    return [part for each in said for part in re.split(r"{% plural %}", each) if len(part.split()) > 3]


def groups() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {
        "answers": [str(each) for words in (ANSWERS, SIGNS, MISHAPS) for each in words.values()],
        "why the water": [str(each) for each in REASONS.values()],
        "why the answer": [str(each % {"figure": 2, "limit": 3, "signs": "bleeding"}) for each in BECAUSE.values()],
        "carers' pages": [words for file in CARERS_TEMPLATES if file.name not in FOR_STAFF for words in words_of(file)],
    }
    found["what is done and brought"] = [row[key] for row in rows("events.toml", "event") for key in ("what", "bring") if row[key]]
    found["what to do at home"] = [row["instruction"] for row in rows("protocols.toml", "rule") if _is_home(row)]
    for row in rows("advice.toml", "advice"):
        found.setdefault(f"advice: {row['topic']}", []).append(row["text"])
    return found


def _is_home(row: dict) -> bool:
    """Whether a carer reads the rule's instruction: what is done at home, once or every so many days."""
    return bool(row.get("instruction")) and row.get("event") in AT_HOME


AT_HOME = {row["slug"] for key in ("event", "routine") for row in rows("events.toml", key) if row.get("place", "home") == "home"}
GROUPS = groups()


def test_the_measure_knows_hard_from_easy():
    """The library's own grade of a sentence for small children and of one from a statute, both ours."""
    assert grade(["The cat sat on the mat. It ate a fish."]) < 2
    assert grade(["Notwithstanding the aforementioned provisions, administrative authorities retain discretionary responsibility."]) > 15


@pytest.mark.parametrize("group", sorted(GROUPS))
def test_a_group_of_words_is_read_at_eleven(group):
    assert round(grade(GROUPS[group]), 1) <= GROUP_AT_MOST


@pytest.mark.parametrize("group", sorted(GROUPS))
def test_no_text_of_a_group_is_far_harder_than_the_others(group):
    hard = {text: round(grade([text]), 1) for text in GROUPS[group] if len(text.split()) > 7}

    assert {text: years for text, years in hard.items() if years > TEXT_AT_MOST} == {}
