"""Where the cells are on the board, in mm: from `[grid]`, `[cover]` and `[board]`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Floats
from emulator.description.board import BoardSection
from emulator.description.route import Rectangle
from emulator.description.sections import Grid
from emulator.description.wiring import Along


@dataclass(frozen=True)
class Placement:
    """The cells on the board; x right, y down, from the board's top left corner, from the front.

    shift_mm: from the middle of a cell to its LED, right and down. camera_gap: number of the gap
    that a camera looks through.
    """

    grid: Grid
    board: BoardSection
    shift_mm: tuple[float, float] = (0.0, 0.0)
    camera_gap: int | None = None

    @classmethod
    def of(
        cls,
        grid: Grid,
        board: BoardSection,
        off_centre_mm: float,
        along: Along,
        camera_gap: int | None = None,
    ) -> Placement:
        """The placement of strips `off_centre_mm` down (along rows) or right (along columns)."""
        shift = (0.0, off_centre_mm) if along == "rows" else (off_centre_mm, 0.0)
        return cls(grid, board, shift, camera_gap)

    @cached_property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the board."""
        across, down = self._cells_size
        board = self.board
        left = board.margin_mm if board.left_mm is None else board.left_mm
        top = board.margin_mm if board.top_mm is None else board.top_mm
        width = board.width_mm or left + across + board.margin_mm
        height = board.height_mm or top + down + board.margin_mm
        return width, height

    @property
    def _cells_size(self) -> tuple[float, float]:
        across, down = self.grid.pitches_mm
        return self.grid.columns * across, self.grid.rows * down

    @cached_property
    def cells_mm(self) -> tuple[float, float, float, float]:
        """Edges of the field of cells: left, top, right, bottom."""
        (across, down), (width, height) = self._cells_size, self.size_mm
        left, top = self.board.left_mm, self.board.top_mm
        left = (width - across) / 2 if left is None else left
        top = (height - down) / 2 if top is None else top
        return left, top, left + across, top + down

    def led_mm(self, column: ArrayLike, row: ArrayLike) -> Floats:
        """(…, 2) x and y of the LEDs of cells (…)."""
        across, down = self.grid.pitches_mm
        x = self.cells_mm[0] + (np.asarray(column) + 0.5) * across + self.shift_mm[0]
        y = self.cells_mm[1] + (np.asarray(row) + 0.5) * down + self.shift_mm[1]
        return np.stack([x, y], axis=-1)

    def cell_rectangle(
        self, column: int, row: int, columns: int, rows: int, name: str = ""
    ) -> Rectangle:
        """Edges of a block of cells."""
        (across, down), (left, top, _, _) = self.grid.pitches_mm, self.cells_mm
        return Rectangle(
            left + column * across, top + row * down,
            left + (column + columns) * across, top + (row + rows) * down, name,
        )  # fmt: skip

    @property
    def hole_mm(self) -> float:
        """Diameter of the holes for wires."""
        return self.board.hole_mm or min(6.0, min(self.grid.pitches_mm) / 2)

    @cached_property
    def obstacles(self) -> tuple[Rectangle, ...]:
        """What wires go round: openings of the board, gaps through which no strip goes, and the
        gap of the camera."""
        gaps = [
            self.cell_rectangle(
                g.column, g.row, g.columns, g.rows,
                f"gap {number}{', camera' if number == self.camera_gap else ''}",
            )
            for number, g in enumerate(self.grid.gaps)
            if (self.board.gaps_are_open and not g.hidden_leds) or number == self.camera_gap
        ]  # fmt: skip
        openings = [
            Rectangle(o.x_mm, o.y_mm, o.x_mm + o.width_mm, o.y_mm + o.height_mm, o.name)
            for o in self.board.opening
        ]
        return (*gaps, *openings)
