"""The pictures of the red flags: one for each that a carer can meet, told apart without colour, with words beside it."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from handover.labels.care import SIGNS
from handover.logs.flags import call_now, call_today, picture_of, pictured, signs_for
from handover.logs.models import MISHAPS
from handover.schedule.watertime import Sign

TEMPLATES = Path(__file__).resolve().parents[2] / "templates"
NAMES = [*(str(sign) for sign in Sign), *MISHAPS]
DUCK, TURTLE = ("waterfowl", "bird", "animal"), ("turtle-freshwater", "chelonian", "reptile", "animal")


def drawing(name: str) -> ET.Element:
    return ET.fromstring((TEMPLATES / picture_of(name)).read_text())


@pytest.mark.parametrize("name", NAMES)
def test_every_flag_has_a_picture_that_needs_no_colour(name):
    """One ink, that of the text: what is printed black on white, photocopied or shown by night is the same drawing."""
    file = (TEMPLATES / picture_of(name)).read_text()

    assert drawing(name).get("aria-hidden") == "true"  # the words beside it are what is read aloud
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', file)) <= {"none", "currentColor"}
    assert min(float(width) for width in re.findall(r'stroke-width="([\d.]+)"', file)) >= 2


def test_no_two_flags_look_the_same():
    drawn = {name: "".join(ET.tostring(part, encoding="unicode") for part in drawing(name)) for name in NAMES}

    assert len(set(drawn.values())) == len(NAMES)


def test_every_picture_stands_beside_its_words():
    assert pictured(["bleeding", "escaped"]) == [
        ("flags/_bleeding.html", str(SIGNS[Sign.BLEEDING])),
        ("flags/_escaped.html", str(MISHAPS["escaped"])),
    ]


def test_only_what_can_be_seen_on_the_animal_is_shown():
    dry_turtle = call_now(TURTLE, has_water=False, has_bandage=False)
    bandaged_duck = call_now(DUCK, has_water=True, has_bandage=True)

    assert "listing" not in dry_turtle
    assert "bandage_lost" not in dry_turtle
    assert {"listing", "soaked_plumage", "bandage_lost", "weak", "died"} <= set(bandaged_duck)
    assert "wet_patch" in call_today(DUCK, has_water=True, has_bandage=False)
    assert not set(call_now(DUCK, has_water=True, has_bandage=True)) & set(call_today(DUCK, has_water=True, has_bandage=True))


def test_the_form_asks_no_sign_twice():
    asked = signs_for(DUCK, has_water=True)

    assert Sign.WEAK not in asked
    assert Sign.BANDAGE_LOST not in asked
    assert Sign.SOAKED_PLUMAGE in asked
