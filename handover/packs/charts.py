"""Where the lines of a pack's drawings lie: numbers for SVG, in millimetres of the paper. Nothing is drawn here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

import segno

from handover.packs.contents import Medicine, Water, WaterDay

# --- the syringe --------------------------------------------------------------------------------------------------

BARREL_X, BARREL_LENGTH, BARREL_Y, BARREL_HEIGHT = 18, 132, 16, 17
STOPPER = 6
ROOM_FOR_NUMBERS = 11  # millimetres that a number on the barrel needs


@dataclass(frozen=True, slots=True)
class Tick:
    """A line on the barrel; `text` is empty where no number stands."""

    x: float
    length: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class SyringePicture:
    """A syringe with its stopper at the mark, to scale: the mark lies where the volume is on the barrel."""

    ticks: tuple[Tick, ...]
    marks: str  # the path of all ticks
    mark_x: float
    text_x: float  # the middle of the volume over the mark
    fluid_width: float
    rod_x: float
    rod_length: float
    rod_end: float
    barrel_x: int = BARREL_X
    barrel_y: int = BARREL_Y
    barrel_length: int = BARREL_LENGTH
    barrel_height: int = BARREL_HEIGHT


def syringe_picture(medicine: Medicine) -> SyringePicture | None:
    """The syringe of a medicine; None when its marks are not known."""
    if not medicine.graduation_ml:
        return None
    capacity, step, volume = (Decimal(text) for text in (medicine.syringe_ml, medicine.graduation_ml, medicine.volume_ml))
    mark_x = _along(volume, capacity)
    rod_x, rod_end = round(mark_x + STOPPER, 2), round(160 + 14 * float(volume / capacity), 2)
    ticks = _ticks(capacity, step)
    return SyringePicture(
        ticks=ticks,
        marks="".join(f"M{tick.x:g} {BARREL_Y}v{tick.length:g}" for tick in ticks),
        mark_x=mark_x,
        text_x=max(mark_x, 24),
        fluid_width=round(mark_x - BARREL_X, 2),
        rod_x=rod_x,
        rod_length=round(rod_end - rod_x, 2),
        rod_end=rod_end,
    )


def _along(volume: Decimal, capacity: Decimal) -> float:
    return round(BARREL_X + BARREL_LENGTH * float(volume / capacity), 2)


def _ticks(capacity: Decimal, step: Decimal) -> tuple[Tick, ...]:
    """Every mark; a longer one every fifth, the longest with its number where there is room."""
    count = int(capacity / step)
    numbered = next(n for n in (1, 2, 5, 10, 20, 50, count) if count % n == 0 and BARREL_LENGTH * n / count >= ROOM_FOR_NUMBERS)
    half = numbered // 2 if numbered % 2 == 0 else numbered
    return tuple(
        Tick(
            x=_along(step * n, capacity),
            length=7 if n % numbered == 0 else 5 if n % half == 0 else 3,
            text=f"{(step * n).normalize():f}" if n % numbered == 0 else "",
        )
        for n in range(count + 1)
    )


# Least length of the scale by capacity, in mm: ISO 7886-1, table 1 (from memory). Makers differ: go by the numbers on the syringe.
SCALES_MM = {Decimal("1"): 57, Decimal("2.5"): 27, Decimal("5"): 36, Decimal("10"): 44, Decimal("20"): 52, Decimal("50"): 75}
CHECK_MM = 50


@dataclass(frozen=True, slots=True)
class LifeSize:
    """The same barrel as long as it is in the hand, beside a line of 50 mm that shows whether the printer kept the scale."""

    scale_mm: int
    mark_x: float  # from the zero of the scale
    marks: str
    end_x: int
    ruler_x: int
    ruler: str
    check_mm: int = CHECK_MM


def life_size(medicine: Medicine) -> LifeSize | None:
    """None for a syringe whose length we do not know."""
    capacity = Decimal(medicine.syringe_ml)
    scale = SCALES_MM.get(capacity)
    if scale is None or not medicine.graduation_ml:
        return None
    tenth = scale / 10
    return LifeSize(
        scale_mm=scale,
        mark_x=round(scale * float(Decimal(medicine.volume_ml) / capacity), 2),
        marks="".join(f"M{4 + tenth * n:g} 6v{3 if n % 5 == 0 else 2}" for n in range(11)),
        end_x=4 + scale,
        ruler_x=100,
        ruler="".join(f"M{100 + n} 12v-{4 if n % 10 == 0 else 2.5 if n % 5 == 0 else 1.5}" for n in range(CHECK_MM + 1)),
    )


# --- water --------------------------------------------------------------------------------------------------------

TUB_WIDTH, TUB_HEIGHT, TUB_TOP, TUBS_A_ROW, TUB_ROW = 20, 24, 20, 7, 62


@dataclass(frozen=True, slots=True)
class Tub:
    """A bowl for one day, filled to the day's step. Its minutes stand over it, its day below; lengths in mm."""

    day: WaterDay
    x: float
    middle: float
    top: float
    figure_y: float
    unit_y: float
    water_y: float
    water_height: float
    weekday_y: float
    date_y: float


@dataclass(frozen=True, slots=True)
class WaterPicture:
    """`is_worth_drawing`: there is something to count; fourteen days of full-time water are one sentence."""

    width: int
    height: int
    tubs: tuple[Tub, ...]
    is_worth_drawing: bool
    tub_width: int = TUB_WIDTH
    tub_height: int = TUB_HEIGHT


def water_picture(water: Water) -> WaterPicture:
    """A bowl a day, seven in a row: the higher the step of the ladder, the fuller."""
    steps = len(water.ladder) + 1
    tubs = tuple(_tub(day, number, steps) for number, day in enumerate(water.days))
    rows = -(-len(tubs) // TUBS_A_ROW)
    return WaterPicture(180, rows * TUB_ROW, tubs, any(day.minutes is not None for day in water.days))


def _tub(day: WaterDay, number: int, steps: int) -> Tub:
    row, column = divmod(number, TUBS_A_ROW)
    x = 1.5 + column * 25.6
    level = steps if day.minutes is None else day.step
    height = round((TUB_HEIGHT - 2) * level / steps, 2)
    top = row * TUB_ROW + TUB_TOP
    bottom = top + TUB_HEIGHT - 1
    return Tub(
        day=day,
        x=round(x, 2),
        middle=round(x + TUB_WIDTH / 2, 2),
        top=top,
        figure_y=top - 8,
        unit_y=top - 2.5,
        water_y=round(bottom - height, 2),
        water_height=height,
        weekday_y=top + TUB_HEIGHT + 5.5,
        date_y=top + TUB_HEIGHT + 10.5,
    )


# --- log sheets ---------------------------------------------------------------------------------------------------

# Each 8 mm or higher, so that a hand can write on it; Letter holds no more. Large print lies on its side.
LINES_A_SHEET = {"usual": 28, "large": 13}
MOST_DAYS_A_SHEET = 7
LINE_OF_DOSES = 52  # characters that fit on a line beside its label


@dataclass(frozen=True, slots=True)
class LoggedDay:
    """One day of a paper log, in words: what is printed into it. `doses` is a line for each medicine, with its times."""

    day: str
    number: str
    month: str
    title: str
    water: str
    doses: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """A day with the lines that it needs. `spare` lines more than that go to the worries."""

    day: LoggedDay
    doses: tuple[str, ...]
    more_doses: int
    lines: int
    spare: int


@dataclass(frozen=True, slots=True)
class LogSheet:
    """A page to write on: so many days, so many lines for each of them."""

    first: str
    last: str
    lines: int
    strips: tuple[Strip, ...]


def log_sheets(days: Sequence[LoggedDay], *, has_bandage: bool, room: int = LINES_A_SHEET["usual"]) -> list[LogSheet]:
    """Days shared out over as few sheets as can be, the same number of lines for each day."""
    has_third = has_bandage or any(day.water for day in days)
    doses = [_dose_lines(day.doses) for day in days]
    lines = 3 + has_third + max(len(each) for each in doses)
    most = max(1, min(MOST_DAYS_A_SHEET, room // lines))
    sheets = -(-len(days) // most)
    strips = [_strip(day, each, 3 + has_third, lines) for day, each in zip(days, doses, strict=True)]
    cuts = [round(n * len(days) / sheets) for n in range(sheets + 1)]
    return [_sheet(strips[start:end], lines) for start, end in pairwise(cuts)]


def _sheet(strips: Sequence[Strip], lines: int) -> LogSheet:
    return LogSheet(strips[0].day.title, strips[-1].day.title, lines, tuple(strips))


MOST_DOSE_LINES = 3


def _dose_lines(doses: Sequence[str]) -> list[str]:
    """Medicines side by side as long as a line holds them."""
    lines: list[str] = []
    for words in doses:
        if lines and len(lines[-1]) + len(words) + 2 <= LINE_OF_DOSES:
            lines[-1] += f"; {words}"
        else:
            lines.append(words)
    return lines[:MOST_DOSE_LINES]


def _strip(day: LoggedDay, doses: Sequence[str], own: int, lines: int) -> Strip:
    printed = sum(line.count("; ") + 1 for line in doses)
    used = own + len(doses)
    return Strip(day, tuple(doses), len(day.doses) - printed, used, lines - used)


# --- the code to scan ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Code:
    """A QR code (ISO/IEC 18004) as one path of lines one unit thick, with the four modules of quiet zone around it."""

    size: int
    path: str
    url: str


def code_for(url: str) -> Code:
    matrix = [list(row) for row in segno.make(url, error="m", micro=False, boost_error=False).matrix_iter(border=4)]
    return Code(len(matrix), "".join(_runs(matrix)), url)


def _runs(matrix: list[list[int]]) -> list[str]:
    """Dark modules of a row that touch become one line, a module thick: less to draw than a rectangle."""
    runs = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end]:
                end += 1
            if end > x:
                runs.append(f"M{x} {y}.5h{end - x}")
            x = end + 1
    return runs
