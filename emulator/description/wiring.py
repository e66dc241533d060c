"""The wiring map: which LED of which line is in which cell of the grid.

Columns run to the right and rows run down, both from 0, as seen from the front. Lines and LEDs
on a line are numbered from 0, in the order the data reaches them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Ints

Corner = Literal["top-left", "top-right", "bottom-left", "bottom-right"]
Along = Literal["rows", "columns"]
Path = Literal["serpentine", "progressive"]


class Run(NamedTuple):
    """One straight piece of strip: LEDs `first` … `last` of `line`, in the order of the data."""

    line: int
    first: int
    last: int
    from_column: int
    from_row: int
    to_column: int
    to_row: int

    @property
    def leds(self) -> int:
        """How many LEDs the run has."""
        return self.last - self.first + 1


@dataclass(frozen=True, eq=False)
class Wiring:
    """LED → cell for a whole display of N LEDs; arrays are (N,) int64, ordered by line, then LED.

    columns, rows: the size of the grid. line, led: the number of each LED's line, and its number
    on that line. column, row: its cell. run: number of the straight piece of strip it belongs to,
    counted over all lines. line_names: one name a line.
    """

    columns: int
    rows: int
    line: Ints
    led: Ints
    column: Ints
    row: Ints
    run: Ints
    line_names: tuple[str, ...] = field(default=())

    @classmethod
    def from_cells(
        cls,
        columns: int,
        rows: int,
        line: ArrayLike,
        column: ArrayLike,
        row: ArrayLike,
        breaks: Sequence[int] = (),
        line_names: tuple[str, ...] = (),
    ) -> Self:
        """Number the LEDs of each line in the order given and find the straight runs.

        line, column, row: whole numbers (N,); `line` must be sorted. breaks: positions (0 … N-1) at
        which a new piece of strip begins although the cells continue in a straight line. The cells
        are not checked.
        """
        line_, column_, row_ = (np.asarray(a, dtype=np.int64) for a in (line, column, row))
        counts = np.bincount(line_) if line_.size else np.zeros(1, dtype=np.int64)
        starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
        led = np.arange(line_.size) - np.repeat(starts, counts)
        names = line_names or tuple(f"line {n}" for n in range(len(counts)))
        run = _straight_pieces(line_, column_, row_, breaks)
        return cls(columns, rows, line_, led, column_, row_, run, names)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Wiring) and (
            (self.columns, self.rows) == (other.columns, other.rows)
            and np.array_equal(self.line, other.line)
            and np.array_equal(self.cell, other.cell)
        )

    __hash__ = None  # type: ignore[assignment]

    def __len__(self) -> int:
        return int(self.line.size)

    @cached_property
    def cell(self) -> Ints:
        """Flat cell number (N,): row · columns + column."""
        return self.row * self.columns + self.column

    @cached_property
    def led_at(self) -> Ints:
        """(rows, columns) position in the arrays of each cell's LED; -1 for a cell without LED."""
        grid = np.full(self.rows * self.columns, -1, dtype=np.int64)
        grid[self.cell] = np.arange(len(self))
        return grid.reshape(self.rows, self.columns)

    @cached_property
    def along(self) -> Along:
        """The direction of the strips: along columns if most steps within them go down or up."""
        within = np.diff(self.run) == 0
        down = np.count_nonzero(np.diff(self.row)[within])
        return "columns" if down > np.count_nonzero(np.diff(self.column)[within]) else "rows"

    @cached_property
    def line_lengths(self) -> tuple[int, ...]:
        """LEDs on each line."""
        return tuple(np.bincount(self.line, minlength=len(self.line_names)).tolist())

    @cached_property
    def line_starts(self) -> tuple[int, ...]:
        """Position of LED 0 of each line in the arrays."""
        return (0, *np.cumsum(self.line_lengths)[:-1].tolist())

    @cached_property
    def runs(self) -> tuple[Run, ...]:
        """The straight pieces of strip, in the order of the data."""
        first = np.flatnonzero(np.diff(self.run, prepend=-1))
        last = np.append(first[1:], len(self)) - 1
        return tuple(
            Run(
                int(self.line[a]),
                int(self.led[a]),
                int(self.led[b]),
                int(self.column[a]),
                int(self.row[a]),
                int(self.column[b]),
                int(self.row[b]),
            )
            for a, b in zip(first, last, strict=True)
        )


def shorthand(
    gap: NDArray[np.bool_],
    start: Corner = "top-left",
    along: Along = "rows",
    path: Path = "serpentine",
    lines: int = 1,
) -> Wiring:
    """The wiring that the keywords of [wiring] describe.

    gap: (rows, columns) bool, True for a cell without LED; the strip skips those cells.
    The lines share the rows (or columns, with along='columns') in blocks from the start corner
    on. If they do not divide evenly, the first lines take one more. Each line starts at the
    side of the start corner.

    Raises ValueError for more lines than rows (columns).
    """
    order, line, starts = strip_order(gap, start, along, path, lines)
    columns = gap.shape[1]
    return Wiring.from_cells(
        columns, gap.shape[0], line, order % columns, order // columns, starts.tolist(),
        tuple(f"line {n}" for n in range(lines)),
    )  # fmt: skip


def strip_order(
    gap: NDArray[np.bool_], start: Corner, along: Along, path: Path, lines: int
) -> tuple[Ints, Ints, Ints]:
    """The cells in the order of the data, as `shorthand` has them, but without a wiring.

    Returns the flat cell numbers (N,), the line of each (N,), and the positions at which the
    rows (columns) begin. Raises ValueError for more lines than rows (columns).
    """
    cells = np.arange(gap.size).reshape(gap.shape)
    if start.startswith("bottom"):
        cells = cells[::-1]
    if start.endswith("right"):
        cells = cells[:, ::-1]
    if along == "columns":
        cells = cells.T
    strips = len(cells)
    if lines > strips:
        raise ValueError(f"{lines} lines cannot share {strips} {along}")
    each, more = divmod(strips, lines)  # strips a line; the first `more` lines take one more
    line = np.repeat(np.arange(lines), np.where(np.arange(lines) < more, each + 1, each))
    if path == "serpentine":
        first = np.searchsorted(line, line)  # of the same line
        back = (np.arange(strips) - first) % 2 == 1
        cells = np.where(back[:, None], cells[:, ::-1], cells)
    held = ~gap.reshape(-1)[cells]
    counts = held.sum(axis=1)
    return cells[held], np.repeat(line, counts), np.cumsum(counts) - counts


def _straight_pieces(line: Ints, column: Ints, row: Ints, breaks: Sequence[int]) -> Ints:
    """Number the straight pieces (N,): a piece ends where the next LED is not the next cell."""
    n = line.size
    if n == 0:
        return np.zeros(0, dtype=np.int64)
    step = np.stack([np.diff(column), np.diff(row)], axis=1)
    neighbour = (np.abs(step).sum(axis=1) == 1) & (np.diff(line) == 0)
    forced = np.zeros(n, dtype=bool)
    forced[[b for b in breaks if b < n]] = True
    turn = np.ones(n - 1, dtype=bool)
    turn[1:] = (step[1:] != step[:-1]).any(axis=1)
    starts = forced.copy()
    starts[0] = True
    starts[1:] |= ~neighbour
    # A turn starts a new piece unless the LED before it has just started one: a piece of one
    # LED has no direction yet. Each step needs the result of the step before, so this is a loop.
    for i in np.flatnonzero(turn[1:] & neighbour[1:]) + 2:
        starts[i] |= not starts[i - 1]
    return np.cumsum(starts) - 1
