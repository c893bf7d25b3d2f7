"""Words of an examination, fitted to the body of the animal. Trade words are common practice, no source, unless one is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

SYSTEMS = {
    "eyes": _("Eyes"),
    "mouth": _("Ears, nose, mouth"),
    "skin": _("Coat and skin"),
    "heart": _("Heart and circulation"),
    "breathing": _("Lungs and breathing"),
    "gut": _("Gut and belly"),
    "cloaca": _("Urinary and sex organs"),
    "bones": _("Muscles, bones, joints"),
    "nerves": _("Nerves and balance"),
}
_REPTILE = {"mouth": _("Ears, nostrils, mouth"), "cloaca": _("Vent and sex organs")}
# What is called otherwise, or is there besides, on another body plan.
OTHERWISE: dict[str, dict[str, Promise]] = {
    "bird": {"mouth": _("Ears, nostrils, beak, mouth"), "skin": _("Feathers and skin"), "cloaca": _("Vent"), "crop": _("Crop")},
    "chelonian": _REPTILE | {"skin": _("Shell and skin")},
    "lizard": _REPTILE | {"skin": _("Skin and scales")},
    "snake": _REPTILE | {"skin": _("Skin and scales"), "mouth": _("Nostrils, pits, mouth"), "bones": _("Muscles, spine, ribs")},
    "frog": {"skin": _("Skin"), "mouth": _("Nostrils, mouth, tongue"), "cloaca": _("Vent")},
    "bat": {"skin": _("Wing membranes, coat and skin"), "bones": _("Wing and leg bones, joints")},
}


def systems_of(body_plan: str) -> dict[str, Promise]:
    """The body systems that are gone through on such a body, in the order from nose to tail."""
    return SYSTEMS | OTHERWISE.get(body_plan, {})


@dataclass(frozen=True, slots=True)
class ConditionScale:
    """A scale of body condition; it is stored by name beside each score, because scales differ."""

    group: str
    slug: str
    name: Promise
    low: int
    high: int
    meaning: Promise
    source: str
    how_known: str


SCALES = (
    ConditionScale(
        "animal", "five", _("1 to 5"), 1, 5, _("1 wasted, 3 good, 5 fat, by feel over spine, hips and ribs"),
        "Common practice, no source", "",
    ),
    ConditionScale(
        "bird", "keel", _("1 to 5 by keel and breast muscle"), 1, 5, _("1 wasted, 5 obese; always beside the weight in grams"),
        "LafeberVet, Body Condition Scoring in Birds", "read",
    ),
    ConditionScale(
        "koala", "scapula", _("1 to 10 over the shoulder blade"), 1, 10, _("1 wasted, 10 very good muscle"),
        "Vogelnest & Portas, Current Therapy in Medicine of Australian Mammals, 2019", "memory",
    ),
    ConditionScale(
        "macropod", "tail-base", _("1 to 5 over tail base and pelvis"), 1, 5, _("1 wasted, 5 fat"),
        "Vogelnest & Portas, Current Therapy in Medicine of Australian Mammals, 2019", "memory",
    ),
    ConditionScale(
        "possum-glider", "hips", _("1 to 5 over the hips"), 1, 5, _("1 wasted, 5 fat"),
        "Vogelnest & Portas, Current Therapy in Medicine of Australian Mammals, 2019", "memory",
    ),
)  # fmt: skip


def scale_for(lineage: Sequence[str]) -> ConditionScale:
    """The scale of the nearest group of a lineage (nearest first)."""
    by_group = {scale.group: scale for scale in SCALES}
    return next((by_group[group] for group in lineage if group in by_group), by_group["animal"])


def scale_named(slug: str) -> ConditionScale | None:
    return next((scale for scale in SCALES if scale.slug == slug), None)


# --- the drawing ------------------------------------------------------------------------------------------------------

VIEWS = {"top": _("From above"), "under": _("From below"), "right": _("Right side"), "left": _("Left side")}
VIEWS_OF = dict.fromkeys(("chelonian", "lizard", "snake", "bird", "bat", "frog"), ("top", "under")) | {"quadruped": ("right", "left")}

PLACES = {
    "head": _("Head"), "beak": _("Beak"), "chin": _("Chin"), "throat": _("Throat"), "neck": _("Neck"), "crop": _("Crop"),
    "shoulder": _("Shoulder"), "back": _("Back"), "hip": _("Hip and rump"), "chest": _("Chest and ribs"), "heart": _("At the heart"),
    "keel": _("Keel and breast"), "belly": _("Belly"), "vent": _("Vent"), "tail": _("Tail"),
    "front-third": _("Front third"), "middle-third": _("Middle third"), "hind-third": _("Hind third"),
    "fore": _("Fore limb"), "fore-left": _("Left fore limb"), "fore-right": _("Right fore limb"),
    "hind": _("Hind limb"), "hind-left": _("Left hind limb"), "hind-right": _("Right hind limb"),
    "leg-left": _("Left leg and foot"), "leg-right": _("Right leg and foot"), "foot-left": _("Left foot"), "foot-right": _("Right foot"),
    "wing-left": _("Left wing"), "wing-right": _("Right wing"), "tip-left": _("Left wing tip"), "tip-right": _("Right wing tip"),
    "tail-membrane": _("Tail membrane"), "shell-front": _("Front of the upper shell"), "shell-left": _("Left of the upper shell"),
    "shell-middle": _("Middle of the upper shell"), "shell-right": _("Right of the upper shell"),
    "shell-back": _("Back of the upper shell"),
    "plastron-front": _("Front of the lower shell"), "plastron-middle": _("Middle of the lower shell"),
    "plastron-back": _("Back of the lower shell"), "bridge-left": _("Left bridge"), "bridge-right": _("Right bridge"),
}  # fmt: skip

# Where each place is on each drawing, in thousandths of its width and height: for who cannot or will not point. "left" and
# "right" are the animal's own, so those seen from below lie on the other side.
_SIDE = {
    "head": (860, 300), "neck": (760, 360), "shoulder": (690, 430), "back": (480, 360), "chest": (570, 490), "belly": (450, 570),
    "hip": (270, 430), "fore": (630, 740), "hind": (230, 740), "tail": (110, 400),
}  # fmt: skip
REGIONS: dict[tuple[str, str], dict[str, tuple[int, int]]] = {
    ("chelonian", "top"): {
        "head": (500, 120), "fore-left": (160, 320), "fore-right": (840, 320), "shell-front": (500, 300), "shell-left": (320, 540),
        "shell-middle": (500, 540), "shell-right": (680, 540), "shell-back": (500, 790), "hind-left": (240, 800), "hind-right": (760, 800),
        "tail": (500, 930),
    },
    ("chelonian", "under"): {
        "head": (500, 120), "throat": (500, 200), "fore-right": (160, 320), "fore-left": (840, 320), "plastron-front": (500, 370),
        "bridge-right": (280, 540), "plastron-middle": (500, 540), "bridge-left": (720, 540), "plastron-back": (500, 700),
        "hind-right": (240, 800), "hind-left": (760, 800), "vent": (500, 870), "tail": (500, 930),
    },
    ("lizard", "top"): {
        "head": (500, 100), "neck": (500, 195), "back": (500, 370), "fore-left": (270, 320), "fore-right": (730, 320),
        "hind-left": (270, 540), "hind-right": (730, 540), "tail": (500, 760),
    },
    ("lizard", "under"): {
        "throat": (500, 140), "belly": (500, 370), "fore-right": (270, 320), "fore-left": (730, 320), "vent": (500, 545),
        "hind-right": (270, 540), "hind-left": (730, 540), "tail": (500, 760),
    },
    ("snake", "top"): {
        "head": (500, 90), "neck": (440, 195), "front-third": (325, 340), "middle-third": (540, 505), "hind-third": (680, 650),
        "tail": (400, 905),
    },
    ("snake", "under"): {
        "chin": (500, 90), "heart": (390, 240), "front-third": (325, 340), "middle-third": (540, 505), "hind-third": (680, 650),
        "vent": (500, 832), "tail": (400, 905),
    },
    ("bird", "top"): {
        "head": (500, 130), "neck": (500, 230), "back": (500, 420), "wing-left": (260, 340), "wing-right": (740, 340),
        "tip-left": (70, 570), "tip-right": (930, 570), "tail": (500, 790),
    },
    ("bird", "under"): {
        "beak": (500, 65), "crop": (500, 245), "keel": (500, 400), "belly": (500, 540), "wing-right": (260, 340), "wing-left": (740, 340),
        "tip-right": (70, 570), "tip-left": (930, 570), "leg-right": (410, 670), "leg-left": (590, 670), "vent": (500, 630),
        "tail": (500, 820),
    },
    ("bat", "top"): {
        "head": (500, 180), "back": (500, 400), "wing-left": (270, 340), "wing-right": (730, 340), "tip-left": (60, 220),
        "tip-right": (940, 220), "tail-membrane": (500, 700),
    },
    ("bat", "under"): {
        "throat": (500, 215), "chest": (500, 320), "belly": (500, 470), "wing-right": (270, 340), "wing-left": (730, 340),
        "tip-right": (60, 220), "tip-left": (940, 220), "foot-right": (420, 640), "foot-left": (580, 640), "tail-membrane": (500, 720),
    },
    ("frog", "top"): {
        "head": (500, 180), "back": (500, 420), "fore-left": (270, 430), "fore-right": (730, 430), "hind-left": (250, 690),
        "hind-right": (750, 690),
    },
    ("frog", "under"): {
        "throat": (500, 220), "belly": (500, 440), "fore-right": (270, 430), "fore-left": (730, 430), "hind-right": (250, 690),
        "hind-left": (750, 690), "vent": (500, 600),
    },
    ("quadruped", "right"): _SIDE,
    ("quadruped", "left"): {key: (1000 - x, y) for key, (x, y) in _SIDE.items()},
}  # fmt: skip


def nearest_place(body_plan: str, view: str, x: int, y: int) -> Promise | str:
    """The name of the place nearest to a point of a drawing, in thousandths of its width and height; "" without a drawing."""
    places = REGIONS.get((body_plan, view), {})
    nearest = min(places, key=lambda key: (places[key][0] - x) ** 2 + (places[key][1] - y) ** 2, default="")
    return PLACES[nearest] if nearest else ""
