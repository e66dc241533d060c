"""Where walls stand between the cells of a display, and how thick they are.

Line i between columns is i · pitch from the left side of the cells, seen from the front; line j
between rows is j · row pitch from their top. A wall stands at every side of a cell, also at the
outside and around gaps, and not inside a gap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from emulator.arrays import Bools
from emulator.description.display import Display
from harness.cut.settings import THICKNESS_MM, CutError, Settings

# A slat between rows runs along the rows; one between columns runs along the columns.
Between = Literal["rows", "columns"]


class Slat(NamedTuple):
    """A wall without a break, before it is split: its line, and its first and last crossing."""

    between: Between
    line: int
    first: int
    last: int


@dataclass(frozen=True)
class Walls:
    """The walls of one direction, in mm.

    pitch: from crossing to crossing along them. thickness: of each. crossing: thickness of those
    that they cross. standing: (lines, cells along) bool. notched: whether strips pass below them,
    off_centre from the middles of the cells.
    """

    between: Between
    pitch: float
    thickness: float
    crossing: float
    standing: Bools
    notched: bool
    off_centre: float

    def slats(self) -> Iterator[Slat]:
        """The walls without a break, line by line."""
        for line, cells in enumerate(self.standing):
            edges = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]])))
            for first, last in edges.reshape(-1, 2).tolist():
                yield Slat(self.between, line, first, last)


def walls_of(display: Display, settings: Settings) -> tuple[Walls, Walls]:
    """The walls between rows and those between columns. Raises CutError if they do not fit."""
    grid, cells = display.grid, ~display.gap
    across, down = grid.pitches_mm
    thick_across, thick_down = (_thickness(display, settings, pitch) for pitch in (across, down))
    passed_columns, passed_rows = _passed(display)
    right_mm, down_mm = display.placement.shift_mm
    between_rows = Walls(
        "rows", across, thick_down, thick_across, _edges(cells), passed_rows, right_mm,
    )  # fmt: skip
    between_columns = Walls(
        "columns", down, thick_across, thick_down, _edges(cells.T), passed_columns, down_mm,
    )  # fmt: skip
    return between_rows, between_columns


def _edges(cells: Bools) -> Bools:
    """(rows + 1, columns) walls above and below cells (rows, columns)."""
    padded = np.pad(cells, ((1, 1), (0, 0)))
    edges: Bools = padded[1:] | padded[:-1]
    return edges


def _thickness(display: Display, settings: Settings, pitch: float) -> float:
    """Thickness of the walls that are `pitch` apart."""
    opening = display.cover.opening_mm
    if settings.thickness is not None:
        thickness, fix = settings.thickness, "give a smaller --thickness."
    elif opening is not None and opening < pitch * (1 - 1e-9):
        thickness, fix = pitch - opening, "give a larger opening_mm in [cover]."
    else:
        thickness, fix = THICKNESS_MM, "give --thickness, or opening_mm in [cover]."
    place = display.path or display.name
    if thickness > pitch / 2:
        raise CutError(
            f"walls of {thickness:g} mm are more than half of the {pitch:g} mm from wall to wall",
            place=place,
            fix=fix,
        )
    if settings.kerf >= thickness + settings.fit:
        raise CutError(
            f"a beam {settings.kerf:g} mm wide cannot cut slots for walls of {thickness:g} mm",
            place=place,
            fix="give a smaller --kerf, or thicker walls with --thickness.",
        )
    return thickness


def _passed(display: Display) -> tuple[bool, bool]:
    """Whether strips pass below walls between columns, and below walls between rows."""
    runs = display.wiring.runs
    columns = any(run.from_column != run.to_column for run in runs)
    return columns, any(run.from_row != run.to_row for run in runs)
