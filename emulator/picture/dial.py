"""The time of day on the wall: in digits, or on a dial with hands."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import cos, pi, sin
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.clock import time_of_day_s
from emulator.description.display import Display
from emulator.errors import UnknownNameError
from emulator.picture.source import ClosingSource, Colour, Source, close_source
from emulator.picture.text import SPACE, Coverage, inked, letters, place, stacked

_Values = NDArray[np.floating]

Face = Literal["digits", "hands"]
WARM: Colour = (255, 170, 90)

_ROOM_FOR_TWELVE = 8.0  # cells from the middle to the edge; with less, a dot every three hours
_COLON_WIDE = 5  # cells: a dot of two, with free cells on both sides
_TURN_S = 2  # hours and minutes alternate if neither layout fits


class Dial(ClosingSource):
    """The time of day. now: returns the seconds since midnight.

    face: 'digits' (hours and minutes) or 'hands', which needs about 12 cells to be readable.
    colour: sRGB 0…255. ground: what is behind it, a colour or another source. Raises
    UnknownNameError for another face.
    """

    def __init__(
        self,
        *,
        face: Face = "digits",
        now: Callable[[], float] = time_of_day_s,
        colour: Colour = WARM,
        ground: Colour | Source = (0, 0, 0),
    ) -> None:
        if face not in get_args(Face):
            raise UnknownNameError("face of a clock", face, get_args(Face))
        self._draw = digits if face == "digits" else hands
        self._now = now
        self._colour = colour
        self._ground = ground

    def __call__(self, time_s: float, display: Display) -> Light:
        coverage = self._draw(self._now(), display)
        return inked(coverage, self._colour, self._ground, time_s, display)

    def close(self) -> None:
        """Close the ground, if it is a source."""
        if callable(self._ground):
            close_source(self._ground)


def digits(second_of_day: float, display: Display) -> Coverage:
    """(rows, columns) 0…1: hours and minutes in the middle of the wall.

    In one line if the wall is wide enough, else on two lines. If neither fits, hours and minutes
    alternate.
    """
    rows, columns, _ = display.picture_shape
    second = int(second_of_day) % 86400
    hours, minutes = f"{second // 3600:02d}", f"{second // 60 % 60:02d}"
    layouts = (
        _one_line(hours, minutes),
        stacked([figures(hours), figures(minutes)]),
        stacked([figures(one) for one in hours + minutes]),
    )
    turns = figures(hours if second // _TURN_S % 2 == 0 else minutes)
    text = next((layout for layout in layouts if _fits(layout, rows, columns)), turns)
    height, width = text.shape
    return place(text, rows, columns, max((rows - height) // 2, 0), (columns - width) // 2)


def hands(second_of_day: float, display: Display) -> Coverage:
    """(rows, columns) 0…1: a dial with dots for the hours, and a hand each for hours and minutes.

    Edges are soft over one cell, so that the hands move without jumps. The dial is as large as the
    wall's shorter side, and round even if rows and columns have different pitches.
    """
    rows, columns, _ = display.picture_shape
    across, down = display.grid.pitches_mm
    cell = min(across, down)
    x = (np.arange(columns) + 0.5 - columns / 2)[None, :] * across / cell
    y = (np.arange(rows) + 0.5 - rows / 2)[:, None] * down / cell
    radius = min(columns * across, rows * down) / cell / 2
    stroke = max(radius / 14, 0.5)  # half the width of the minute hand
    coverage = np.zeros((rows, columns))
    marks = 12 if radius >= _ROOM_FOR_TWELVE else 4
    for mark in range(marks):
        tip = (radius - stroke - 0.5) * _clockwise(mark / marks)
        coverage = np.maximum(coverage, 0.5 * _stroke(x, y, tip, tip, stroke))
    for turns, length, half_width in (
        (second_of_day / 43200, 0.5, 1.3 * stroke),
        (second_of_day / 3600, 0.75, stroke),
    ):
        tip = length * radius * _clockwise(turns)
        coverage = np.maximum(coverage, _stroke(x, y, 0 * tip, tip, half_width))
    return coverage.astype(np.float32)


def _clockwise(turns: float) -> _Values:
    """The point at a share of a turn from the top of a circle of radius 1; y goes down."""
    return np.array([sin(2 * pi * turns), -cos(2 * pi * turns)])


def _stroke(x: _Values, y: _Values, start: _Values, end: _Values, half_width: float) -> _Values:
    """How much of each cell a round-ended stroke covers, from the distance to its middle line."""
    (x0, y0), (dx, dy) = start, end - start
    length = dx * dx + dy * dy
    along = np.clip(((x - x0) * dx + (y - y0) * dy) / length, 0, 1) if length else 0.0
    distance = np.hypot(x - x0 - along * dx, y - y0 - along * dy)
    covered: _Values = np.clip(half_width - distance + 0.5, 0, 1)
    return covered


@lru_cache(maxsize=128)  # the hours, the minutes, and each figure alone
def figures(text: str) -> Coverage:
    """Figures side by side, all equally wide, so that the text does not move when they change."""
    drawn = [letters(figure) for figure in text]
    side_by_side = np.hstack([np.pad(one, ((0, 0), (0, 1))) for one in drawn])[:, :-1]
    side_by_side.flags.writeable = False  # the cache keeps it for the next picture
    return side_by_side


def _one_line(hours: str, minutes: str) -> Coverage:
    """Four figures with a colon in the middle, of two dots of 2 × 2 cells as wide as a stroke.

    The font's own colon is too low: it goes from the baseline to the middle of the figures.
    """
    before, after = figures(hours), figures(minutes)
    height = len(before)
    colon = np.zeros((height, _COLON_WIDE), dtype=np.float32)
    colon[height // 2 - 2 : height // 2, 1:3] = 1
    colon[(height + 1) // 2 : (height + 1) // 2 + 2, 1:3] = 1
    return np.hstack((before, colon, after))


def _fits(text: Coverage, rows: int, columns: int) -> bool:
    height, width = text.shape
    return bool(height + SPACE <= rows and width <= columns)
