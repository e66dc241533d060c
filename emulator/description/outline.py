"""The sides of a wall, where buses run, and the distances along them from feed to feed.

The bus runs `bus_mm` of `[board]` outside the outermost LEDs, clockwise from the top left. A feed
taps it on the side nearest to its LED and reaches in from there, round openings of the board.
Lengths are one way, in metres.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.placement import Placement
from emulator.description.route import length_mm, route
from emulator.description.wiring import Run, Wiring

Side = Literal["left", "right", "top", "bottom"]
Cell = tuple[int, int]  # column, row


@dataclass(frozen=True)
class Outline:
    """The outline of a wall of `width_m` × `height_m` between its outermost cells.

    bus_m: from there outwards to the bus.

    first: the sides in order of preference, for a cell at the same distance from several.
    """

    width_m: float
    height_m: float
    step_m: tuple[float, float]
    bus_m: float
    placement: Placement
    first: tuple[Side, ...]

    @classmethod
    def of(cls, placement: Placement, wiring: Wiring) -> Outline:
        """The outline that prefers the sides where strips end, first the one where data begins."""
        grid, bus_m = placement.grid, placement.board.bus_mm / 1000
        x_m, y_m = (pitch / 1000 for pitch in grid.pitches_mm)
        width_m, height_m = (grid.columns - 1) * x_m, (grid.rows - 1) * y_m
        along_rows = sum(r.from_row == r.to_row for r in wiring.runs) * 2 >= len(wiring.runs)
        column, row = int(wiring.column[0]), int(wiring.row[0])
        across: list[Side] = ["left", "right"]
        down: list[Side] = ["top", "bottom"]
        if 2 * column > grid.columns - 1:
            across.reverse()
        if 2 * row > grid.rows - 1:
            down.reverse()
        first = (*across, *down) if along_rows else (*down, *across)
        return cls(width_m, height_m, (x_m, y_m), bus_m, placement, first)

    def inward_m(self, cell: Cell, side: Side | None = None) -> float:
        """The distance from a side to a cell; without a side, from the nearest one."""
        x, y = self._place(cell)
        reach = {"left": x, "right": self.width_m - x, "top": y, "bottom": self.height_m - y}
        return reach[side or self.nearest(cell)]

    def nearest(self, cell: Cell) -> Side:
        """The side nearest to a cell."""
        return min(self.first, key=lambda side: round(self.inward_m(cell, side), 9))

    def tap_mm(self, cell: Cell, side: Side | None = None) -> tuple[float, float]:
        """Where on the board a cell taps the bus: x and y in mm."""
        x, y = self.placement.led_mm(*cell).tolist()
        (left, top), (right, bottom) = self.corners_mm
        taps = {"left": (left, y), "right": (right, y), "top": (x, top), "bottom": (x, bottom)}
        return taps[side or self.nearest(cell)]

    @property
    def corners_mm(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The bus's corners at the top left and at the bottom right, in mm."""
        grid, bus_mm = self.placement.grid, self.placement.board.bus_mm
        left, top = self.placement.led_mm(0, 0).tolist()
        right, bottom = self.placement.led_mm(grid.columns - 1, grid.rows - 1).tolist()
        return (left - bus_mm, top - bus_mm), (right + bus_mm, bottom + bus_mm)

    def reach_m(self, cell: Cell, side: Side | None = None) -> float:
        """Wire of a feed from the bus to the LED of a cell, with hole and service loop."""
        way = route(self.tap_mm(cell, side), self._led_mm(cell), self.placement.obstacles)
        return self.wire_m(length_mm(way))

    def wire_m(self, way_mm: float) -> float:
        """A wire with one end on the strip: its way, the hole, the service loop, as you cut it."""
        board = self.placement.board
        return self.cut_m(way_mm + (board.thickness_mm if board.wires == "back" else 0.0))

    def cut_m(self, way_mm: float) -> float:
        """A wire between two places on the board: its way and the service loop, as you cut it."""
        return round_up_m((way_mm + self.placement.board.service_loop_mm) / 1000)

    def _led_mm(self, cell: Cell) -> tuple[float, float]:
        x, y = self.placement.led_mm(*cell).tolist()
        return x, y

    def busiest(self, cells: Iterable[Cell]) -> Side:
        """The side that is nearest for most of the cells."""
        counts = Counter(self.nearest(cell) for cell in cells)
        return max(self.first, key=lambda side: counts[side])

    def along_m(self, a: Cell, b: Cell, side: Side | None = None) -> float:
        """The distance round corners between the places where cells `a` and `b` tap the bus.

        Both tap it on the given side, or each on its nearest.
        """
        return float(self.apart_m(self.tap_m(a, side), self.tap_m(b, side)))

    def tap_m(self, cell: Cell, side: Side | None = None) -> float:
        """The place where a cell taps the bus, clockwise from the top left corner."""
        (x, y), w, h = self._place(cell), self._bus_width_m, self._bus_height_m
        x, y = x + self.bus_m, y + self.bus_m
        taps = {"top": x, "right": w + y, "bottom": w + h + (w - x), "left": 2 * w + h + (h - y)}
        return taps[side or self.nearest(cell)]

    def apart_m(self, a_m: ArrayLike, b_m: ArrayLike) -> NDArray[np.float64]:
        """The distances (…) along the sides, round corners, between places (…) from `tap_m`."""
        apart = np.abs(np.subtract(a_m, b_m))
        return np.asarray(np.minimum(apart, 2 * (self._bus_width_m + self._bus_height_m) - apart))

    def corners_between_mm(self, a_m: float, b_m: float) -> list[tuple[float, float]]:
        """The corners that the bus turns between two places from `tap_m`, the shorter way."""
        (left, top), (right, bottom) = self.corners_mm
        w, h = self._bus_width_m, self._bus_height_m
        around = 2 * (w + h)
        corners = [(0.0, (left, top)), (w, (right, top)), (w + h, (right, bottom)),
                   (2 * w + h, (left, bottom))]  # fmt: skip
        onwards = (b_m - a_m) % around
        back = onwards > around / 2
        start, way = (b_m, around - onwards) if back else (a_m, onwards)
        passed = sorted(((at - start) % around, point) for at, point in corners)
        met = [point for at, point in passed if 1e-9 < at < way - 1e-9]
        return met[::-1] if back else met

    def across_m(self, a: Cell, b: Cell) -> float:
        """The distance from cell to cell, along rows and columns."""
        (ax, ay), (bx, by) = self._place(a), self._place(b)
        return abs(ax - bx) + abs(ay - by)

    @property
    def _bus_width_m(self) -> float:
        return self.width_m + 2 * self.bus_m

    @property
    def _bus_height_m(self) -> float:
        return self.height_m + 2 * self.bus_m

    def _place(self, cell: Cell) -> tuple[float, float]:
        return cell[0] * self.step_m[0], cell[1] * self.step_m[1]


def round_up_m(length_m: float) -> float:
    """A length as you cut it: the next whole centimetre."""
    return math.ceil(round(length_m * 100, 6)) / 100


def nearer_end(outline: Outline, run: Run, side: Side) -> int:
    """Number on its line of the run's first or last LED, whichever is nearer to the side."""
    first, last = (run.from_column, run.from_row), (run.to_column, run.to_row)
    ends = {run.first: outline.inward_m(first, side), run.last: outline.inward_m(last, side)}
    return min(ends, key=lambda led: ends[led])


def cell_of(wiring: Wiring, position: int | np.integer) -> Cell:
    """Column and row of the LED at a position 0…N-1."""
    return int(wiring.column[position]), int(wiring.row[position])
