"""The operations an explanation is made of: each changes what the LEDs are predicted to show.

`apply(prediction, wall)` returns the new prediction, int64 (N,) as described in Wall. Operations on
cells say which picture cell comes out instead of the one meant; operations on LEDs say whose data
an LED gets. An operation on cells and one on LEDs commute. `cost` is the length of the statement: 1
for a plain sentence, a little less for common mistakes, more for each exception that it lists.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from emulator.arrays import Ints
from harness.explain.grids import OtherGrid
from harness.explain.wall import ON_CELLS, Kind, Wall, Words
from harness.patterns.coded import NEVER_LIT
from harness.result.words import progressions

Fill = Literal["through", "dark", "around"]


class Operation(Protocol):
    """What every operation offers."""

    @property
    def cost(self) -> float:
        """Length of the statement; 1 is one plain sentence."""

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        """The prediction (N,) after this operation."""


@dataclass(frozen=True)
class Symmetry:
    """The whole picture is transposed, then mirrored left-right, then turned upside down.

    On a grid that is not square, transposed means that cell (column, row) is numbered
    column · rows + row although cells are numbered row by row: rows are treated as columns.
    """

    transposed: bool = False
    mirrored: bool = False
    upside_down: bool = False

    @property
    def cost(self) -> float:
        return 1.0 + 0.1 * self.transposed + 0.05 * (self.mirrored and self.upside_down)

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        return wall.by_cell(prediction, wall.table(self, lambda: self._table(wall)))

    def _table(self, wall: Wall) -> Ints:
        row, column = np.divmod(np.arange(wall.cells), wall.columns)
        if self.transposed:
            row, column = np.divmod(column * wall.rows + row, wall.columns)
        if self.mirrored:
            column = wall.columns - 1 - column
        if self.upside_down:
            row = wall.rows - 1 - row
        return row * wall.columns + column


@dataclass(frozen=True)
class MapIs:
    """The map is that of another wiring, described in a few words. Can only be the first operation.

    differences: fields in which the words differ from the wiring's own; empty if the wiring
    has no such words.
    """

    words: Words
    differences: tuple[str, ...]

    @property
    def cost(self) -> float:
        if self.differences == ("path",):
            return 0.95
        return 1.0 + 0.05 * len(self.differences) if self.differences else 1.4

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        cells = wall.shorthand_cells(self.words)
        return prediction if cells is None else cells


@dataclass(frozen=True)
class MadeFor:
    """The map is made for a grid of another width or height. Can only be the first operation.

    words: those of the wiring, which the map follows on its own grid; None if it has none.
    """

    grid: OtherGrid
    words: Words | None

    @property
    def cost(self) -> float:
        return 1.1 + 0.02 * (self.grid.outside != "dark") + 0.02 * (self.grid.how != "asked")

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        cells = self.grid.cells(wall, self.words)
        return prediction if cells is None else cells


@dataclass(frozen=True)
class LinesAre:
    """These lines go through their own cells in another order, described in a few words.

    differences: fields in which the words differ from the line's own; empty if it has none.
    """

    lines: tuple[int, ...]
    words: Words
    differences: tuple[str, ...]

    @property
    def cost(self) -> float:
        return 1.0 + list_cost(self.lines) + 0.05 * len(self.differences or "none")

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        return wall.by_led(prediction, wall.table(self, lambda: self._table(wall)))

    def _table(self, wall: Wall) -> Ints:
        table = np.arange(len(wall))
        for line in self.lines:
            orders = dict(wall.line_orders[line])
            if self.words in orders:
                table[wall.placed_on(line)] = orders[self.words]
        return table


@dataclass(frozen=True)
class Moved:
    """The picture sits `by` cells too far down (axis 'row') or right ('column').

    What leaves the wall comes in on the other side if it `wraps`, and is lost if not.
    """

    axis: Literal["row", "column"]
    by: int
    wraps: bool = True
    cost: float = 1.0

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        row, column = np.divmod(np.arange(wall.cells), wall.columns)
        if self.axis == "row":
            inside = (row >= self.by) & (row < wall.rows + self.by)
            row = (row - self.by) % wall.rows
        else:
            inside = (column >= self.by) & (column < wall.columns + self.by)
            column = (column - self.by) % wall.columns
        cells = row * wall.columns + column
        return wall.by_cell(prediction, cells if self.wraps else np.where(inside, cells, NEVER_LIT))


@dataclass(frozen=True)
class Taken:
    """Pieces show what was meant for other pieces: (taker, giver) pairs, all at once.

    Rows and columns are those of the picture; lines and runs are strips of LEDs, where the
    LEDs of the taker past the end of the giver get no data.
    """

    kind: Kind
    pairs: tuple[tuple[int, int], ...]

    @property
    def cost(self) -> float:
        one = 0.98 if self.kind == "line" else 1.0
        swaps = self.swaps
        if 2 * len(swaps) == len(self.pairs) and len({b - a for a, b in swaps}) == 1:
            return one + list_cost([a for a, _ in swaps])
        return one + 0.3 * max(len(self.pairs) - 2, 0)

    @property
    def swaps(self) -> list[tuple[int, int]]:
        """The pairs that take from each other, each once, the smaller number first."""
        return [(a, b) for a, b in self.pairs if a < b and (b, a) in set(self.pairs)]

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        table = wall.table(self, lambda: wall.pieces(self.kind).taken(dict(self.pairs)))
        return _apply_table(self.kind, table, prediction, wall)


@dataclass(frozen=True)
class Backwards:
    """These rows, columns or strips of LEDs run backwards."""

    kind: Kind
    groups: tuple[int, ...]

    @property
    def cost(self) -> float:
        return 1.02 + list_cost(self.groups) + 0.05 * (self.kind not in ("row", "column", "run"))

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        table = wall.table(self, lambda: wall.pieces(self.kind).reversed(self.groups))
        return _apply_table(self.kind, table, prediction, wall)


@dataclass(frozen=True)
class RangeBackwards:
    """LEDs first … last of a line run backwards, like a piece of strip mounted the wrong way round.

    A whole run or line costs less to name, so a range is neither.
    """

    line: int
    first: int
    last: int
    cost: float = 1.2

    def leds(self, wall: Wall) -> Ints:
        """Positions of the LEDs of the range."""
        start = wall.wiring.line_starts[self.line]
        return np.arange(start + self.first, start + self.last + 1)

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        changed, leds = prediction.copy(), self.leds(wall)
        changed[leds] = prediction[leds[::-1]]
        return changed


@dataclass(frozen=True)
class Offset:
    """LEDs first … last show what was meant for the LED `by` before them ('late'; < 0: early).

    lines: the lines it happens on, each counted by itself; empty: the whole chain, counted
    through all lines. last: None means the end; a stretch that ends earlier costs a second
    statement, because LEDs are right again after it. fill: what an LED shows if its giver is
    outside first … last: 'through' the content of that LED, and nothing beyond the ends of the
    line; 'dark' nothing; 'around' the content pushed out at the other end.
    """

    lines: tuple[int, ...]
    first: int
    last: int | None
    by: int
    fill: Fill = "through"

    @property
    def cost(self) -> float:
        return (
            1.0
            + 1.0 * (self.last is not None)
            + 0.05 * (len(self.lines) != 1)
            + 0.05 * (self.fill == "around")
        )

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        return wall.by_led(prediction, wall.table(self, lambda: self._table(wall)))

    def _table(self, wall: Wall) -> Ints:
        table = np.arange(len(wall))
        for begin, end in self._stretches(wall):
            mine, giver = self.givers(end + 1 - begin)
            table[begin + mine] = np.where(giver >= 0, begin + giver, -1)
        return table

    def givers(self, length: int) -> tuple[Ints, Ints]:
        """LEDs affected on a line of that length, and the LED each gets its data from, or -1."""
        end = length if self.last is None else min(self.last + 1, length)
        mine = np.arange(self.first, end)
        giver = mine - self.by
        if self.fill == "around" and len(mine):
            giver = self.first + (giver - self.first) % len(mine)
        low, high = (self.first, end) if self.fill == "dark" else (0, length)
        return mine, np.where((giver >= low) & (giver < high), giver, -1)

    def _stretches(self, wall: Wall) -> list[tuple[int, int]]:
        """First and last position of each line affected, or of the whole chain."""
        if not self.lines:
            return [(0, len(wall) - 1)]
        starts, lengths = wall.wiring.line_starts, wall.wiring.line_lengths
        return [(starts[n], starts[n] + lengths[n] - 1) for n in self.lines]


@dataclass(frozen=True)
class Shuffled:
    """The LEDs of one piece show each other's cells in no order: leds[i] that of givers[i]."""

    kind: Kind
    group: int
    leds: tuple[int, ...]
    givers: tuple[int, ...]

    @property
    def cost(self) -> float:
        return 1.5 + 0.1 * len(self.leds)

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        changed = prediction.copy()
        changed[list(self.leds)] = prediction[list(self.givers)]
        return changed


@dataclass(frozen=True)
class Shows:
    """These LEDs (positions) show no cell: `mark` is NEVER_LIT, ALWAYS_LIT, READS_GAP, UNCLEAR."""

    mark: int
    leds: tuple[int, ...]

    @property
    def cost(self) -> float:
        return 1.0 + list_cost(self.leds)

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        changed = prediction.copy()
        changed[list(self.leds)] = self.mark
        return changed


@dataclass(frozen=True)
class SameCell:
    """LED `led` (position) shows the same cell as LED `other`, which is right."""

    led: int
    other: int
    cost: float = 0.9

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        changed = prediction.copy()
        changed[self.led] = prediction[self.other]
        return changed


@dataclass(frozen=True)
class Swapped:
    """LEDs `led` and `other` (positions) show each other's cells."""

    led: int
    other: int
    cost: float = 1.0

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        changed = prediction.copy()
        changed[[self.led, self.other]] = prediction[[self.other, self.led]]
        return changed


def list_cost(numbers: Collection[int]) -> float:
    """What it costs to list numbers: 0 for one arithmetic progression, 0.3 for each further."""
    return 0.3 * (len(progressions(sorted(numbers))) - 1)


def _apply_table(kind: Kind, table: Ints, prediction: Ints, wall: Wall) -> Ints:
    if kind in ON_CELLS:
        return wall.by_cell(prediction, table)
    return wall.by_led(prediction, table)
