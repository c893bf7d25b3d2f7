"""Grey pictures of bones that we draw ourselves: the demonstration's radiographs, of no animal."""

from __future__ import annotations

import numpy

PX_PER_MM = 10  # at the bones and the marker, which lie at one height
WIDTH_PX, HEIGHT_PX = 1300, 700
MARKER_MM = 25
MARKER = ((100, 640), (100 + MARKER_MM * PX_PER_MM, 640))
UPPER, LOWER = ((150, 250), (1150, 290)), ((160, 370), (1140, 400))  # two long bones, end to end


def bones(*, gap_px: int, slips_px: int = 0, has_pin: bool = False, has_callus: bool = False) -> bytes:
    """16-bit levels, low byte first, of two long bones, the lower one broken in the middle, beside a marker of 25 mm."""
    y, x = numpy.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(float)
    dense = 9000 * _within(((x - 650) / 640) ** 2 + ((y - 320) / 250) ** 2)  # soft parts around
    dense += _bone(x, y, UPPER)
    (left, top), (right, bottom) = LOWER
    middle, level = (left + right) / 2, (top + bottom) / 2
    dense += _bone(x, y, ((left, top), (middle - gap_px / 2, level)))
    dense += _bone(x, y, ((middle + gap_px / 2, level + slips_px), (right, bottom + slips_px)))
    if has_callus:
        dense += 9000 * numpy.exp(-(((x - middle) / 60) ** 2) - ((y - level) / 40) ** 2)
    if has_pin:
        dense = numpy.where(_from_line(x, y, ((left + 40, top), (right - 40, bottom))) < 5.5, 60000, dense)
    dense = numpy.where((abs(y - MARKER[0][1]) < 14) & (x >= MARKER[0][0]) & (x <= MARKER[1][0]), 62000, dense)
    grain = numpy.random.default_rng(1).normal(0, 250, dense.shape)  # the same grain every time
    return (dense + 2500 + grain).clip(0, 65535).astype("<u2").tobytes()


def _within(squared: numpy.ndarray) -> numpy.ndarray:
    return numpy.sqrt((1 - squared).clip(0, 1))


def _from_line(x: numpy.ndarray, y: numpy.ndarray, ends: tuple) -> numpy.ndarray:
    """How far each pixel lies from a line between two points."""
    (x1, y1), (x2, y2) = ends
    along = (((x - x1) * (x2 - x1) + (y - y1) * (y2 - y1)) / ((x2 - x1) ** 2 + (y2 - y1) ** 2)).clip(0, 1)
    return numpy.hypot(x - x1 - along * (x2 - x1), y - y1 - along * (y2 - y1))


def _bone(x: numpy.ndarray, y: numpy.ndarray, ends: tuple) -> numpy.ndarray:
    """A tube: its walls are denser than its middle, and its ends are thicker."""
    far = _from_line(x, y, ends)
    knobs = sum(numpy.exp(-(((x - ex) / 45) ** 2) - ((y - ey) / 38) ** 2) for ex, ey in ends)
    return 26000 * _within((far / 30) ** 2) - 14000 * _within((far / 18) ** 2) + 9000 * knobs
