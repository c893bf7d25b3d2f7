"""What the words of an old spreadsheet may mean here: species, causes, outcomes, sexes, life stages. Proposals, for a person to judge."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from rapidfuzz import fuzz, process

from hospital.admissions.models import Cause, LifeStage, Sex, Species
from hospital.admissions.reference import searchable
from hospital.imports.columns import WORDS, plain
from hospital.imports.files import Table
from hospital.outcomes.models import Outcome
from hospital.rules.cells import folded, is_blank

REFUSE, AS_WORDS = "refuse", "words"
SURE = 90  # of 100: from here a proposal is chosen beforehand
WORTH_SHOWING = 60
MOST_SHOWN = 8
# For rows of which only the kind of animal is known: the group's own scientific name, not a species. Names of the International
# Code of Zoological Nomenclature's taxa; which of our groups each fits, from memory.
TAXA = {
    "animal": "Animalia", "bird": "Aves", "mammal": "Mammalia", "reptile": "Reptilia", "amphibian": "Amphibia",
    "chelonian": "Testudines", "snake": "Serpentes", "lizard": "Sauria", "crocodilian": "Crocodylia", "bat": "Chiroptera",
    "turtle-marine": "Chelonioidea", "macropod": "Macropodidae", "deer": "Cervidae", "mustelid": "Mustelidae", "hedgehog": "Erinaceidae",
}  # fmt: skip
# Words that people write. Common practice, no source.
SAID = {
    "cause": {
        "road-vehicle": "hit by car|hit by vehicle|road traffic|road traffic accident|rta|rtc|car|vehicle strike|vehicle collision|road",
        "cat-attack": "cat|cat attack|catted|cat caught|caught by cat|cat bite",
        "dog-attack": "dog|dog attack|dog bite|caught by dog",
        "orphan": "orphan|orphaned|abandoned|maternal separation|mother dead|lost mother",
        "window-strike": "window|window strike|flew into window|window collision|building collision",
        "fishing-line-or-net": "fishing tackle|fishing line|angling|net|entangled in net",
        "fishing-hook": "hook|swallowed hook|fish hook",
        "oil-or-chemical": "oil|oiled|oil spill|chemical",
        "starved": "starved|starvation|starving|emaciated",
        "fell-from-nest": "fell from nest|fallen from nest|out of nest",
        "shot": "shot|gunshot|shooting|air rifle",
    },
    "outcome": {
        Outcome.Kind.RELEASED: "released|release|r|rel|returned to wild|return to wild|return to wild habitat|"
        "set free|freed|released at site",
        Outcome.Kind.DIED: "died|died in care|d|dead|death|found dead in cage|died overnight|died in transit",
        Outcome.Kind.EUTHANASED: "euthanased|euthanasia|euthanised|euthanized|put to sleep|pts|e|put down|humanely destroyed",
        Outcome.Kind.TRANSFERRED: "transferred|transfer|t|moved on|passed on|to other hospital|sent to another hospital",
        Outcome.Kind.HELD: "held|held permanently|permanent captivity|non releasable|kept|sanctuary",
        Outcome.Kind.ESCAPED: "escaped|escape|absconded",
        Outcome.Kind.DEAD_ON_ARRIVAL: "dead on arrival|doa|dead on admission|arrived dead",
    },
    "sex": {Sex.FEMALE: "female|f|♀|fem|hen|vixen|doe|sow|cow", Sex.MALE: "male|m|♂|cock|drake|stag|boar|bull|dog fox",
            Sex.UNKNOWN: "unknown|u|not known|unsexed|unk|x|undetermined|not recorded"},
    "life_stage": {
        LifeStage.NEONATE: "neonate|newborn|hatchling|pup|chick|nestling|pinkie|pinky|cub",
        LifeStage.JUVENILE: "juvenile|juv|j|young|fledgling|fledgeling|immature|kit|cygnet|yearling",
        LifeStage.SUBADULT: "subadult|sub adult|sub-adult",
        LifeStage.ADULT: "adult|ad|a|mature|breeding adult", LifeStage.AGED: "aged|old|geriatric",
        LifeStage.UNKNOWN: "unknown|u|not known|unk|not recorded",
    },
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Word:
    """A word of the file: how it stands there, in how many rows, what it may mean, and which meaning is chosen beforehand."""

    field: str
    folded: str
    shown: str
    rows: int
    choices: list[tuple[str, str]] = field(default_factory=list)
    likely: str = ""


def words_in(table: Table, columns: Sequence[str], wanted: str) -> list[tuple[str, str, int]]:
    """The column's words, folded and as they first stand there, with the number of rows: the commonest first."""
    if wanted not in columns:
        return []
    place = columns.index(wanted)
    counts: Counter[str] = Counter()
    stands: dict[str, str] = {}
    for _number, row in table.rows:
        for cell in pieces(row[place] if place < len(row) else "", wanted):
            key = folded(cell)
            counts[key] += 1
            stands.setdefault(key, " ".join(cell.split()))
    return [(key, stands[key], rows) for key, rows in counts.most_common()]


def pieces(cell: str, wanted: str) -> list[str]:
    """A cell's words: several causes may stand in one, with semicolons between."""
    parts = cell.split(";") if wanted == "cause" else [cell]
    return [part for part in parts if not is_blank(part)]


def proposals(table: Table, columns: Sequence[str], chosen: Mapping[str, Mapping[str, str]]) -> list[Word]:
    """Every word that needs a meaning, with the meaning chosen before or the likeliest."""
    known = Known()
    found = []
    for wanted in WORDS:
        for key, stands, rows in words_in(table, columns, wanted):
            choices, likely = known.meanings(wanted, key)
            found.append(Word(wanted, key, stands, rows, choices, chosen.get(wanted, {}).get(key, likely)))
    return found


class Known:
    """The meanings that there are here, read once."""

    def __init__(self) -> None:
        self.species = {each.pk: each for each in Species.objects.select_related("group")}
        self.by_name: dict[str, int] = {}
        for each in self.species.values():
            for name in (each.scientific_name, each.common_name, *each.other_names.split(",")):
                self.by_name.setdefault(searchable(name), each.pk)
        self.by_name.pop("", None)
        groups = {each.group_id: each.group for each in self.species.values()}
        self.groups = [
            (f"group:{slug}", group_words(slug)) for slug in TAXA if slug in groups or slug in ("animal", "reptile", "mammal", "chelonian")
        ]
        self.causes = [(each.slug, each.name) for each in Cause.objects.all()]

    def meanings(self, wanted: str, key: str) -> tuple[list[tuple[str, str]], str]:
        """The choices for a word, and the one that is likely enough to be chosen beforehand (empty: a person must say)."""
        if wanted == "species":
            return self._species(key)
        if wanted == "cause":
            return self._causes(key)
        kinds = {"outcome": Outcome.Kind, "sex": Sex, "life_stage": LifeStage}[wanted].choices
        likely = said(wanted, key) or AS_WORDS
        return [*kinds, (AS_WORDS, _("Not one of these: keep the word"))], str(likely)

    def _species(self, key: str) -> tuple[list[tuple[str, str]], str]:
        asked = searchable(key)
        near = process.extract(asked, self.by_name.keys(), scorer=fuzz.WRatio, limit=40, score_cutoff=WORTH_SHOWING)
        ranked = sorted(near, key=lambda each: (-fuzz.token_sort_ratio(asked, each[0]), -each[1]))
        shown: dict[str, str] = {}
        for name, _score, _place in ranked:
            species = self.species[self.by_name[name]]
            shown.setdefault(f"species:{species.pk}", f"{species.common_name} ({species.scientific_name})")
        is_sure = bool(ranked) and fuzz.token_sort_ratio(asked, ranked[0][0]) >= SURE
        likely = next(iter(shown)) if is_sure else self._group_named(asked)
        return [*list(shown.items())[:MOST_SHOWN], *self.groups, (REFUSE, _("Refuse these rows"))], likely

    def _group_named(self, asked: str) -> str:
        """A group that the word is the name of, ours or the scientific one."""
        names = {meaning: {meaning.removeprefix("group:"), TAXA[meaning.removeprefix("group:")].lower()} for meaning, _words in self.groups}
        return next((meaning for meaning, called in names.items() if asked in called), "")

    def _causes(self, key: str) -> tuple[list[tuple[str, str]], str]:
        names = dict(self.causes)
        near = process.extractOne(key, names, scorer=fuzz.token_sort_ratio, processor=folded, score_cutoff=SURE)
        likely = near[2] if near else said("cause", key) or AS_WORDS
        return [*self.causes, (AS_WORDS, _("Not one of these: keep the words"))], likely

    def species_named(self, words: str) -> int | None:
        """The species of exactly this common, scientific or other name."""
        return self.by_name.get(searchable(words))


def said(wanted: str, key: str) -> str:
    """What a word that people write means; empty for one that is not among them."""
    return next((str(kind) for kind, words in SAID[wanted].items() if {key, plain(key)} & set(words.split("|"))), "")


def group_words(slug: str) -> str:
    """How an animal is called of which only the group is known."""
    return _("%(taxon)s, species not recorded") % {"taxon": TAXA[slug]}
