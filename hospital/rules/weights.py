"""Body weight: change, trend, and when a fall asks for a call. Grams, in decimals; days are whole days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from itertools import combinations
from typing import NamedTuple

G_PER_POUND = Decimal("453.59237")  # exact, by the international agreement of 1959
OUNCES_A_POUND = 16

# Bands of the weight-length ratio, for Testudo graeca and T. hermanni only, not gravid: read in an
# encyclopaedia's article on it.
JACKSON_ACCEPTABLE = (Decimal("0.18"), Decimal("0.22"))
JACKSON_OPTIMUM = Decimal("0.21")


class Weighing(NamedTuple):
    on: date
    weight_g: Decimal


class Level(StrEnum):
    """How soon a fall in weight asks for a call."""

    NONE = "none"
    TODAY = "today"
    NOW = "now"


@dataclass(frozen=True, slots=True)
class WeightAlarm:
    """From which fall, in percent and within how many days, a group's carer calls the same day, and at once.

    Days None: against the weight on admission and the one before the newest, whatever their age.
    """

    group: str
    today_percent: Decimal
    today_days: int | None
    now_percent: Decimal
    now_days: int | None
    source: str
    how_known: str


_BIRD_PAGES = ("Companion-bird care pages (thesprucepets.com; fluffnfeathers.com)", "read (secondary)")
_SAMOUR = ("Samour, Avian Medicine, 3rd ed. 2016", "memory")
_RAPTORS = ("Raptor Research and Management Techniques, chapter on rehabilitation", "memory")
_BATS = ("Bat Conservation Trust, Bat Care Guidelines, 2nd ed. 2016", "memory")
_WRIGHT = ("Wright & Whitaker, Amphibian Medicine and Captive Husbandry, 2001", "memory")
_MADER = ("Divers & Stahl, Mader's Reptile and Amphibian Medicine and Surgery, 3rd ed. 2019", "memory")
_VOGELNEST = ("Vogelnest & Portas, Current Therapy in Medicine of Australian Mammals, 2019", "memory")
_BSAVA = ("BSAVA Manual of Wildlife Casualties, 2nd ed. 2016", "memory")
_COMMON = ("Common practice, no single published source", "common practice")


def _alarm(
    group: str, today: int, today_days: int | None, now: int, now_days: int | None, source: tuple[str, str]
) -> WeightAlarm:
    return WeightAlarm(group, Decimal(today), today_days, Decimal(now), now_days, *source)


# Proposals until a hospital's vet adopts or changes them. Of a published range the lower end is taken.
ALARMS = (
    _alarm("animal", 5, None, 10, None, _COMMON),
    _alarm("bird", 5, None, 10, None, _BIRD_PAGES),
    _alarm("passerine", 3, 1, 8, 1, _SAMOUR),
    _alarm("raptor", 5, 7, 10, 7, _RAPTORS),
    _alarm("bat", 5, None, 10, None, _BATS),
    _alarm("small-mammal", 5, 2, 10, 2, _BSAVA),
    _alarm("hedgehog", 5, 2, 10, 2, _BSAVA),
    _alarm("medium-mammal", 5, 7, 10, 7, _COMMON),
    _alarm("koala", 3, 3, 5, None, _VOGELNEST),
    _alarm("wombat", 5, None, 10, None, _VOGELNEST),
    _alarm("chelonian", 3, 7, 8, 30, _MADER),
    _alarm("lizard", 5, 14, 10, 30, _MADER),
    _alarm("snake", 5, 14, 10, 30, _MADER),
    _alarm("crocodilian", 5, 30, 10, None, _MADER),
    _alarm("amphibian", 5, 3, 10, None, _WRIGHT),
)


# For how many days a dose may be worked from a weight before somebody says that it is still right: the longest interval
# between weighings that is usual for the group, at least three days. Common practice, no source.
GOOD_FOR_DAYS = {
    "animal": 14,
    "bird": 3,
    "bat": 3,
    "hedgehog": 3,
    "small-mammal": 3,
    "mammal": 7,
    "chelonian": 14,
    "lizard": 14,
    "snake": 30,
    "crocodilian": 30,
    "amphibian": 7,
}

# A slip of the decimal point is tenfold; nothing that lives changes fivefold between two weighings. Common practice, no source.
SLIP_TIMES = 5


@dataclass(frozen=True, slots=True)
class Standing:
    """How the newest weight stands: the call it asks for, and the fall that decided it (0: none)."""

    level: Level
    loss_percent: Decimal


def g_from_pounds(pounds: Decimal, ounces: Decimal = Decimal(0), *, pounds_per_kg: Decimal | None = None) -> Decimal:
    """Grams of a weight in pounds and ounces: by the exact pound, or by a rounded factor such as 2.2 when
    named.
    """
    whole = pounds + ounces / OUNCES_A_POUND
    return whole * 1000 / pounds_per_kg if pounds_per_kg else whole * G_PER_POUND


def change_percent(from_g: Decimal, to_g: Decimal) -> Decimal:
    """The change in percent of the earlier weight; below 0 for a fall."""
    if from_g <= 0 or to_g <= 0:
        raise ValueError(f"A weight is more than 0 g, not {min(from_g, to_g)}.")
    return (to_g - from_g) * 100 / from_g


def loss_percent(from_g: Decimal, to_g: Decimal) -> Decimal:
    """The fall in percent of the earlier weight; 0 when it did not fall."""
    return max(Decimal(0), -change_percent(from_g, to_g))


def has_changed(from_g: Decimal, to_g: Decimal, share_percent: Decimal = Decimal(10)) -> bool:
    """Whether a weight differs by more than a share from the one that a dose was worked from (default: our
    habit).
    """
    return abs(change_percent(from_g, to_g)) > share_percent


def is_stale(weighed_on: date, today: date, days: int) -> bool:
    """Whether a weight is older than so many days."""
    return (today - weighed_on).days > days


def good_for_days(lineage: Sequence[str]) -> int:
    """For how many days a weight may be dosed from, by the nearest group of a lineage (nearest first)."""
    return next((GOOD_FOR_DAYS[group] for group in lineage if group in GOOD_FOR_DAYS), GOOD_FOR_DAYS["animal"])


def is_slip(newest_g: Decimal, earlier_g: Sequence[Decimal]) -> bool:
    """Whether no earlier weight comes near the newest one: five times as much or more, or a fifth or less, of each.

    So a slip stands until the animal is weighed again: a second weighing that agrees with the first one is believed.
    """
    return bool(earlier_g) and all(
        max(newest_g, before_g) >= SLIP_TIMES * min(newest_g, before_g) for before_g in earlier_g
    )


def alarm_for(lineage: Sequence[str], alarms: Sequence[WeightAlarm] = ALARMS) -> WeightAlarm:
    """The alarm of the nearest group of a lineage (nearest first), or the one for every animal."""
    by_group = {alarm.group: alarm for alarm in alarms}
    return next((by_group[group] for group in lineage if group in by_group), by_group["animal"])


def standing(weighings: Sequence[Weighing], alarm: WeightAlarm) -> Standing:
    """How the newest of some weighings stands. Their order does not matter but for those of one day, which come as they were taken."""
    if len(weighings) < 2:
        return Standing(Level.NONE, Decimal(0))
    *earlier, newest = sorted(weighings, key=lambda each: each.on)
    now_loss = loss_percent(reference_g(earlier, newest.on, alarm.now_days), newest.weight_g)
    if now_loss >= alarm.now_percent:
        return Standing(Level.NOW, now_loss)
    today_loss = loss_percent(reference_g(earlier, newest.on, alarm.today_days), newest.weight_g)
    return Standing(Level.TODAY if today_loss >= alarm.today_percent else Level.NONE, today_loss)


def calls_below_g(weighings: Sequence[Weighing], on: date, alarm: WeightAlarm) -> tuple[Decimal, Decimal] | None:
    """From which weight down one taken on a day would ask for a call the same day, and at once; None without an earlier one."""
    earlier = sorted(weighings, key=lambda each: each.on)
    if not earlier:
        return None
    today_g, now_g = reference_g(earlier, on, alarm.today_days), reference_g(earlier, on, alarm.now_days)
    return today_g * (100 - alarm.today_percent) / 100, now_g * (100 - alarm.now_percent) / 100


def reference_g(earlier: Sequence[Weighing], on: date, days: int | None) -> Decimal:
    """The weight that one taken on a day is held against, among at least one earlier one, the oldest first.

    Within a window of days the heaviest counts; when none lies in it, the last one, however old. Without a
    window (`days` None): the heavier of the first and the last.
    """
    if days is None:
        window = [earlier[0], earlier[-1]]
    else:
        window = [each for each in earlier if (on - each.on).days <= days] or [earlier[-1]]
    return max(each.weight_g for each in window)


def trend_g_per_day(weighings: Sequence[Weighing]) -> Decimal | None:
    """Grams gained a day: the median of the slopes between all pairs, so that one mistyped weight cannot
    steer it.

    Theil 1950, Sen 1968. None without two days to compare; weighings of one day are not compared with each
    other.
    """
    slopes = sorted(
        (later.weight_g - earlier.weight_g) / (later.on - earlier.on).days
        for earlier, later in combinations(sorted(weighings), 2)
        if later.on != earlier.on
    )
    if not slopes:
        return None
    middle = len(slopes) // 2
    return slopes[middle] if len(slopes) % 2 else (slopes[middle - 1] + slopes[middle]) / 2


def gain_g_per_kg_per_day(from_g: Decimal, to_g: Decimal, days: int) -> Decimal:
    """Growth of young: gain a day for each kg of the mean of both weights (the "average" method)."""
    if days < 1:
        raise ValueError(f"Growth needs at least one day, not {days}.")
    mean_kg = (from_g + to_g) / 2 / 1000
    return (to_g - from_g) / days / mean_kg


def jackson_ratio(weight_g: Decimal, length_mm: Decimal) -> Decimal:
    """Grams per cubed centimetre of straight carapace length. Its bands hold for two species of tortoise
    only.
    """
    if weight_g <= 0 or length_mm <= 0:
        raise ValueError("Weight and length must be more than 0.")
    length_cm = length_mm / 10
    return weight_g / length_cm**3
