"""What a column of an old spreadsheet can mean, and the likeliest meaning of a heading."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from django.utils.translation import gettext_lazy as _
from rapidfuzz import fuzz

KEEP, LEAVE_OUT = "keep", "leave_out"
FIELDS = {
    KEEP: _("Keep as it stood"),
    LEAVE_OUT: _("Leave out, keep nothing of it"),
    "former_number": _("Former case number"),
    "case_number": _("Case number of this system"),
    "name": _("Animal's name"),
    "species": _("Species"),
    "admitted": _("Admitted on"),
    "found_on": _("Found on"),
    "found_place": _("Where found, in words"),
    "latitude": _("Where found: latitude"),
    "longitude": _("Where found: longitude"),
    "uncertainty_m": _("Where found: how exact, in metres"),
    "cause": _("Cause"),
    "circumstances": _("What happened"),
    "sex": _("Sex"),
    "life_stage": _("Life stage"),
    "microchip": _("Microchip"),
    "ring": _("Ring or band"),
    "weight": _("Weight on admission"),
    "weight_end": _("Weight at the end"),
    "outcome": _("Outcome"),
    "ended": _("Ended on"),
    "released": _("Released on"),
    "transferred": _("Transferred on"),
    "died": _("Died on"),
    "euthanased": _("Euthanased on"),
    "end_place": _("Where it went, in words"),
    "end_reason": _("Reason for the outcome"),
}
MANY = {KEEP, LEAVE_OUT, "found_place", "circumstances"}  # the others are the meaning of one column at most
DAYS = ("admitted", "found_on", "ended", "released", "transferred", "died", "euthanased")
NUMBERS = ("weight", "weight_end", "latitude", "longitude", "uncertainty_m")
WEIGHTS = ("weight", "weight_end")
WORDS = ("species", "cause", "outcome", "sex", "life_stage")
# Headings that people write. Common practice, no source.
HEADINGS = {
    "former_number": "id|case|case no|case number|case id|"
    "patient id|patient no|patient number|animal id|record no|record number|reference|ref|"
    "accession|accession number|admission number|admission no|incident number|number|no|former numbers",
    "case_number": "case number here",
    "name": "name|animal name|patient name|called",
    "species": "species|animal|animal type|type of animal|animal group|"
    "animal group parent|common name|kind of animal|taxon|scientific name",
    "admitted": "admitted|admitted on|admit date|admission date|date admitted|date of admission|"
    "intake date|date in|arrival|arrived on|date|"
    "date received|date time of call|call date|admission",
    "found_on": "found on|date found|found date|rescue date|rescued on",
    "found_place": "found at|found place|place found|where found|location|location found|collection site|site|rescue location|town|borough|"
    "crossing|street|address found|origin",
    "latitude": "latitude|lat|decimal latitude|y",
    "longitude": "longitude|lon|long|lng|decimal longitude|x",
    "uncertainty_m": "uncertainty m|coordinate uncertainty in meters|accuracy m|uncertainty",
    "cause": "cause|reason|reason for admission|reason for admit|reason for intake|cause of admission|cause of injury|injury cause|"
    "admission reason|presenting problem|why",
    "circumstances": "circumstances|history|what happened|story|final description",
    "sex": "sex|gender",
    "life_stage": "life stage|age|age class|stage|age group",
    "microchip": "microchip|chip|chip number|microchip number",
    "ring": "ring|band|ring number|band number",
    "weight": "weight|admit weight|weight in|admission weight|intake weight|weight on admission|"
    "weight g|weight kg|weightgr|weight admitted g",
    "weight_end": "release weight|weight out|weight at release|final weight|weight end g",
    "outcome": "outcome|outcome type|disposition|result|fate|final outcome|how it ended|status",
    "ended": "outcome date|outcome on|date of outcome|disposition date|date out|ended on|closed|closed on|discharged|discharge date",
    "released": "released|released on|release date|date released|date of release",
    "transferred": "transferred|transferred on|transfer date|date transferred",
    "died": "died|died on|date of death|death date|date died",
    "euthanased": "euthanased|euthanised|euthanized|euthanased on|euthanasia date",
    "end_place": "release site|released at|release place|release location|outcome place|transferred to|where it went",
    "end_reason": "outcome reason|reason for outcome|reason for euthanasia",
    # Whoever found it: an old file is no ground for keeping how to reach them.
    LEAVE_OUT: "finder|finder name|finder phone|finder email|finder address|finder postcode|"
    "finders name|found by|rescuer|rescuer name|caller|"
    "caller name|caller phone|reported by|phone|telephone|mobile|email|e mail|contact|contact number|postcode of finder|member of public",
}  # fmt: skip
_KNOWN = [(words, field) for field, all_words in HEADINGS.items() for words in all_words.split("|")]
LIKELY = 88  # of 100: below, a heading is not guessed at


def plain(heading: str) -> str:
    """A heading as it is compared: lower case, words apart, no signs."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", heading)
    return " ".join(re.findall(r"[^\W_]+", apart.casefold()))


def guesses(headings: Sequence[str]) -> list[str]:
    """The likeliest meaning of each heading; a meaning that only one column can have goes to the likeliest column."""
    scored = [(score, place, field) for place, heading in enumerate(headings) for score, field in _likely(plain(heading))]
    meant: dict[int, str] = {}
    taken: set[str] = set()
    for _score, place, field in sorted(scored, key=lambda each: (-each[0], each[1])):
        if place not in meant and (field in MANY or field not in taken):
            meant[place] = field
            taken.add(field)
    return [meant.get(place, KEEP) for place in range(len(headings))]


def _likely(heading: str) -> Iterable[tuple[float, str]]:
    best: dict[str, float] = {}
    for words, field in _KNOWN:
        if heading == words:
            score = 100.0 + len(words) / 1000  # of two columns with fitting headings the one that says more
        elif len(words) > 3 and len(heading) > 3:
            score = fuzz.ratio(heading, words)
        else:
            continue
        best[field] = max(score, best.get(field, 0))
    return [(score, field) for field, score in best.items() if score >= LIKELY]


def unit_in(heading: str) -> str:
    """The unit of weight that a heading names; empty when it names none."""
    words = plain(heading).split()
    for unit, names in {
        "kg": {"kg", "kgs", "kilogram", "kilograms"},
        "g": {"g", "gr", "gram", "grams", "weightgr"},
        "lb": {"lb", "lbs"},
        "oz": {"oz"},
    }.items():
        if names & set(words):
            return unit
    return ""
