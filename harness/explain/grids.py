"""Maps made for a grid of another width or height: which cell each LED then shows."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Literal, NamedTuple, get_args

import numpy as np

from emulator.arrays import Ints
from emulator.description.wiring import strip_order
from harness.explain.wall import Wall, Words
from harness.patterns.coded import NEVER_LIT

How = Literal["asked", "asked, one chain", "drawn", "drawn by columns", "flat"]
Outside = Literal["dark", "edge", "round"]


class OtherGrid(NamedTuple):
    """The grid a map was made for, and how it is used.

    how: 'asked': each LED looks up its cell in that grid; lines are cut as in that grid, or with
    'one chain' as on the wall. 'drawn': each cell of the picture is written to the LED that the
    grid's numbering names, row by row or 'by columns'; the last write stays. 'flat': the cells of
    the picture are numbered row · columns + column (rows: column · rows + row) with that grid's
    size. outside: what an LED shows if its cell is outside the picture.
    """

    columns: int
    rows: int
    how: How
    outside: Outside

    def cells(self, wall: Wall, words: Words | None) -> Ints | None:
        """The cell each LED shows (N,), or a mark. words: the wiring's. None if impossible."""
        if self.how == "flat":
            return self._flat(wall)
        strips = self.rows if words and words.along == "rows" else self.columns
        if words is None or words.lines > strips:
            return None
        return self._drawn(wall, words) if "drawn" in self.how else self._asked(wall, words)

    def _flat(self, wall: Wall) -> Ints:
        w = wall.wiring
        across = self.columns != wall.columns
        number = w.row * self.columns + w.column if across else w.column * self.rows + w.row
        there = (number < wall.cells) & ~w.hidden
        number = (
            number % wall.cells if self.outside == "round" else np.minimum(number, wall.cells - 1)
        )
        if not across:
            column, row = np.divmod(number, wall.rows)
            number = row * wall.columns + column
        dark = ~there if self.outside == "dark" else w.hidden
        return np.where(dark, NEVER_LIT, number)

    def _asked(self, wall: Wall, words: Words) -> Ints:
        gap = np.zeros((self.rows, self.columns), dtype=bool)
        rows, columns = min(self.rows, wall.rows), min(self.columns, wall.columns)
        gap[:rows, :columns] = wall.gap[:rows, :columns]
        order, line, _ = strip_order(gap, words.start, words.along, words.path, words.lines)
        row, column = np.divmod(order, self.columns)
        there = (row < wall.rows) & (column < wall.columns)
        if self.outside == "edge":
            row, column = np.minimum(row, wall.rows - 1), np.minimum(column, wall.columns - 1)
        elif self.outside == "round":
            row, column = row % wall.rows, column % wall.columns
        cells = row * wall.columns + column
        if self.outside == "dark":
            cells = np.where(there, cells, NEVER_LIT)
        return wall.dealt(cells, None if "chain" in self.how else line)

    def _drawn(self, wall: Wall, words: Words) -> Ints | None:
        if wall.gap.any():
            return None  # a formula that counts through cannot leave out a gap
        cells = np.arange(wall.cells)
        if self.how == "drawn by columns":
            cells = cells.reshape(wall.rows, wall.columns).T.reshape(-1)
        row, column = np.divmod(cells, wall.columns)
        if words.start.startswith("bottom"):
            row = self.rows - 1 - row
        if words.start.endswith("right"):
            column = self.columns - 1 - column
        strip, place, strips, length = row, column, self.rows, self.columns
        if words.along == "columns":
            strip, place, strips, length = column, row, self.columns, self.rows
        if words.path == "serpentine":
            each, more = divmod(strips, words.lines)
            ends = np.cumsum(np.where(np.arange(words.lines) < more, each + 1, each))
            begins = np.concatenate(([0], ends[:-1]))
            line = np.minimum(np.searchsorted(ends, strip, side="right"), words.lines - 1)
            place = np.where((strip - begins[line]) % 2 == 1, length - 1 - place, place)
        led = strip * length + place
        placed = wall.wiring.placed
        inside = (led >= 0) & (led < len(placed))
        shown = np.full(len(wall), NEVER_LIT)
        # Of several writes to one LED the last one stays.
        shown[placed[led[inside]]] = cells[inside]
        return shown


def other_grids(wall: Wall) -> Iterator[OtherGrid]:
    """A grid for each other width and height up to twice the wall's, used in the simplest ways."""
    hows: tuple[How, ...] = ("asked", "asked, one chain", "flat")
    for how in hows if wall.lines > 1 else ("asked", "flat"):
        for columns in range(1, 2 * wall.columns + 1):
            if columns != wall.columns:
                yield OtherGrid(columns, wall.rows, how, "dark")
        for rows in range(1, 2 * wall.rows + 1):
            if rows != wall.rows:
                yield OtherGrid(wall.columns, rows, how, "dark")


def grids_like(
    wall: Wall, cells: Ints, how: How = "asked", outside: Outside = "dark"
) -> list[OtherGrid]:
    """The grids whose maps would show exactly these cells (N,): of one axis, nearest first."""
    found = []
    for grid in dict.fromkeys(g._replace(how=how, outside=outside) for g in other_grids(wall)):
        shown = grid.cells(wall, wall.words)
        if shown is not None and np.array_equal(shown, cells):
            found.append(grid)
    found.sort(key=lambda g: abs(g.columns - wall.columns) + abs(g.rows - wall.rows))
    return [g for g in found if (g.columns == wall.columns) == (found[0].columns == wall.columns)]


def variants(grid: OtherGrid) -> Iterator[OtherGrid]:
    """The same size in every way it may be used."""
    hows = ("flat",) if grid.how == "flat" else [how for how in get_args(How) if how != "flat"]
    for how, outside in product(hows, get_args(Outside)):
        if outside == "dark" or "drawn" not in how:
            yield grid._replace(how=how, outside=outside)
