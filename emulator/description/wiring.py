"""The wiring map: which LED of which line is in which cell of the grid.

Columns run to the right and rows run down, both from 0, as seen from the front. Lines and LEDs
on a line are numbered from 0, in the order the data reaches them. A hidden LED is on the wire, but
has no cell: a first LED that only shifts the level, a spare, an LED behind the frame. It stays
dark. `Wiring` alone knows which LEDs are hidden; `per_led` and `per_cell` go from cells to LEDs
and back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal, NamedTuple, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Bools, Ints

Corner = Literal["top-left", "top-right", "bottom-left", "bottom-right"]
Along = Literal["rows", "columns"]
Path = Literal["serpentine", "progressive"]

NO_CELL = -1  # in place of a cell number

_T = TypeVar("_T", bound=np.generic)


class Run(NamedTuple):
    """One straight piece of strip: LEDs `first` … `last` of `line`, in the order of the data.

    from_column … to_row: the cells of its ends. Hidden LEDs count; one at an end that has no place
    of its own in the grid leaves the end at the cell of its neighbour.
    """

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

    @property
    def cells_along(self) -> int:
        """Places in the grid from its first to its last, gaps included."""
        across, down = self.to_column - self.from_column, self.to_row - self.from_row
        return max(abs(across), abs(down)) + 1


@dataclass(frozen=True, eq=False)
class Wiring:
    """LED → cell for a whole display of N LEDs; arrays are (N,), ordered by line, then LED.

    columns, rows: the size of the grid. line, led: the number of each LED's line, and its number
    on that line. column, row: the cell where it sits; a hidden LED without a place of its own in
    the grid sits where its neighbour on the strip does. run: number of the straight piece of strip
    it belongs to, counted over all lines. hidden: LEDs without a cell. line_names: one name a line.
    """

    columns: int
    rows: int
    line: Ints
    led: Ints
    column: Ints
    row: Ints
    run: Ints
    hidden: Bools
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
        hidden: ArrayLike | None = None,
    ) -> Self:
        """Number the LEDs of each line in the order given and find the straight runs.

        line, column, row: whole numbers (N,); `line` must be sorted. breaks: positions (0 … N-1) at
        which a new piece of strip begins although the cells continue in a straight line. hidden:
        (N,) LEDs without a cell; so are all whose column is NO_CELL, which have no place in the
        grid. The cells are not checked.
        """
        line_, column_, row_ = (np.asarray(a, dtype=np.int64) for a in (line, column, row))
        counts = np.bincount(line_) if line_.size else np.zeros(1, dtype=np.int64)
        starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
        led = np.arange(line_.size) - np.repeat(starts, counts)
        names = line_names or tuple(f"line {n}" for n in range(len(counts)))
        neighbour = _placed_neighbours(line_, column_ != NO_CELL, breaks)
        column_, row_ = (np.append(a, 0)[neighbour] for a in (column_, row_))
        run = _straight_pieces(line_, column_, row_, neighbour, breaks)
        is_hidden = neighbour != np.arange(line_.size)
        if hidden is not None:
            is_hidden |= np.asarray(hidden, dtype=np.bool_)
        return cls(columns, rows, line_, led, column_, row_, run, is_hidden, names)

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
        """Flat cell number (N,): row · columns + column; NO_CELL for a hidden LED."""
        return np.where(self.hidden, NO_CELL, self.row * self.columns + self.column)

    @cached_property
    def placed(self) -> Ints:
        """Positions in the arrays of the LEDs with a cell, in the order of the data."""
        return np.flatnonzero(~self.hidden)

    @cached_property
    def placed_number(self) -> Ints:
        """(N,) the place of each LED among those with a cell, `placed`; -1 for a hidden LED."""
        return np.where(self.hidden, -1, np.cumsum(~self.hidden) - 1)

    @cached_property
    def without_hidden(self) -> Self:
        """The LEDs with a cell alone, as M < N LEDs that keep their numbers in `line` and `led`.

        For what compares LEDs with cells. Its line_lengths and line_starts are not those of the
        wire.
        """
        if not self.hidden.any():
            return self
        kept = self.placed
        return replace(
            self,
            **{
                name: getattr(self, name)[kept]
                for name in ("line", "led", "column", "row", "run", "hidden")
            },
        )

    @cached_property
    def led_at(self) -> Ints:
        """(rows, columns) position in the arrays of each cell's LED; -1 for a cell without LED."""
        grid = np.full(self.rows * self.columns, -1, dtype=np.int64)
        grid[self.cell[self.placed]] = self.placed
        return grid.reshape(self.rows, self.columns)

    def hidden_on(self, line: int) -> Ints:
        """Numbers of the hidden LEDs of a line."""
        numbers: Ints = self.led[self.hidden & (self.line == line)]
        return numbers

    def ends_hidden(self, line: int, count: int) -> bool:
        """Whether the last `count` LEDs of a line, of which there is one at least, are hidden."""
        return bool(count) and bool(self.hidden[self.line == line][-count:].all())

    def cell_in_words(self, position: int) -> str:
        """'column 3, row 4', or 'no cell' for a hidden LED."""
        if self.hidden[position]:
            return "no cell"
        return f"column {self.column[position]}, row {self.row[position]}"

    def per_led(self, cells: NDArray[_T]) -> NDArray[_T]:
        """What each LED gets (…, N, K) of cells (…, rows, columns, K); 0 for a hidden LED."""
        flat = cells.reshape(*cells.shape[:-3], -1, cells.shape[-1])
        picked: NDArray[_T] = np.take(flat, self.cell, axis=-2)
        if self.hidden.any():  # which took the last cell
            picked[..., self.hidden, :] = 0
        return picked

    def per_cell(self, leds: NDArray[_T]) -> NDArray[_T]:
        """The cells (…, rows, columns, K) of LEDs (…, N, K); 0 in gaps. See `per_cell` below."""
        return per_cell(leds, self.cell, (self.rows, self.columns))

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


def per_cell(leds: NDArray[_T], cell: Ints, grid: tuple[int, int]) -> NDArray[_T]:
    """The cells (…, rows, columns, K) of LEDs (…, N, K) whose cells are (N,); 0 in gaps.

    What LEDs have whose cell is NO_CELL goes nowhere.
    """
    rows, columns = grid
    stack, channels = leds.shape[:-2], leds.shape[-1]
    nowhere = int((cell < 0).any())  # one cell more, which NO_CELL picks
    cells = np.zeros((*stack, rows * columns + nowhere, channels), dtype=leds.dtype)
    cells[..., cell, :] = leds
    return cells[..., : rows * columns, :].reshape(*stack, rows, columns, channels)


def shorthand(
    gap: NDArray[np.bool_],
    start: Corner = "top-left",
    along: Along = "rows",
    path: Path = "serpentine",
    lines: int = 1,
    *,
    dark_leds: NDArray[np.bool_] | None = None,
    hidden: tuple[int, int, int] = (0, 0, 0),
) -> Wiring:
    """The wiring that the keywords of [wiring] describe.

    gap: (rows, columns) bool, True for a cell without LED; the strip skips those cells, except for
    those where dark_leds (rows, columns) is True: there it goes on, and its LEDs are hidden.
    The lines share the rows (or columns, with along='columns') in blocks from the start corner
    on. If they do not divide evenly, the first lines take one more. Each line starts at the
    side of the start corner. hidden: hidden LEDs on each line before its first strip, from each
    strip to the next, and after the last.

    Raises ValueError for more lines than rows (columns).
    """
    skipped = gap if dark_leds is None else gap & ~dark_leds
    order, line, starts = strip_order(skipped, start, along, path, lines)
    columns = gap.shape[1]
    column, row, is_hidden = order % columns, order // columns, gap.reshape(-1)[order]
    if any(hidden):
        at, begins, owner = _hidden_places(line, starts, hidden)
        line = np.insert(line, at, owner)
        column, row = (np.insert(values, at, NO_CELL) for values in (column, row))
        is_hidden = np.insert(is_hidden, at, True)
        starts = begins
    return Wiring.from_cells(
        columns, gap.shape[0], line, column, row, starts.tolist(),
        tuple(f"line {n}" for n in range(lines)), is_hidden,
    )  # fmt: skip


def _hidden_places(line: Ints, starts: Ints, hidden: tuple[int, int, int]) -> tuple[Ints, ...]:
    """Where hidden LEDs go in: before which LED of the strips alone, in the order of the data;
    where the strips begin then; and the line of each that goes in.

    line: (M,) of the LEDs of the strips. starts: where these begin. hidden: as in `shorthand`.
    """
    first, between, last = hidden
    begins = np.unique(starts[starts < len(line)])  # a strip that is all gap has no LED
    ends = np.append(begins[1:], len(line))
    opens = np.diff(line[begins], prepend=-1) != 0  # a line
    closes = np.append(opens[1:], True)
    before, after = np.where(opens, first, 0), np.where(closes, last, between)
    at = np.concatenate([np.repeat(ends, after), np.repeat(begins, before)])
    owner = np.concatenate([np.repeat(line[begins], after), np.repeat(line[begins], before)])
    return at, begins + np.searchsorted(np.sort(at), begins, side="right"), owner


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
    line = np.repeat(np.arange(lines), np.diff(blocks(strips, lines)))
    if path == "serpentine":
        first = np.searchsorted(line, line)  # of the same line
        back = (np.arange(strips) - first) % 2 == 1
        cells = np.where(back[:, None], cells[:, ::-1], cells)
    held = ~gap.reshape(-1)[cells]
    counts = held.sum(axis=1)
    return cells[held], np.repeat(line, counts), np.cumsum(counts) - counts


def blocks(strips: int, lines: int) -> Ints:
    """(lines + 1,) the first strip of each line, then their number; if the strips do not divide
    evenly, the first lines take one more."""
    each, more = divmod(strips, lines)
    line = np.arange(lines + 1)
    return line * each + np.minimum(line, more)


def _placed_neighbours(line: Ints, placed: NDArray[np.bool_], breaks: Sequence[int]) -> Ints:
    """(N,) the LED in whose place each sits: itself, or the placed one beside it on its strip.

    That is the one before it, or the one after it where there is none or a new piece of strip
    begins (`breaks`); N where no LED of its line has a place.
    """
    n = line.size
    own = np.arange(n)
    if placed.all():
        return own
    begins = np.diff(line, prepend=-1) != 0
    begins[[b for b in breaks if b < n]] = True
    piece = np.cumsum(begins)
    before = np.maximum.accumulate(np.where(placed, own, -1))
    after = np.minimum.accumulate(np.where(placed, own, n)[::-1])[::-1]
    line_, piece_ = np.append(line, -1), np.append(piece, -1)  # for -1 and n: on no line
    choices = [
        piece_[before] == piece,
        piece_[after] == piece,
        line_[before] == line,
        line_[after] == line,
    ]
    return np.select(choices, [before, after, before, after], n)


def _straight_pieces(
    line: Ints, column: Ints, row: Ints, neighbour: Ints, breaks: ArrayLike
) -> Ints:
    """Number the straight pieces (N,): a piece ends where the next LED is not the next cell.

    An LED that sits in the place of a neighbour (N,) belongs to its piece, and breaks no line.
    """
    n = line.size
    own = np.flatnonzero(neighbour == np.arange(n))
    if own.size < n:  # find the pieces of those with a place; the others join them
        moved = np.searchsorted(own, breaks)  # on to the next LED with a place
        pieces = _straight_pieces(line[own], column[own], row[own], np.arange(own.size), moved)
        at = np.searchsorted(own, np.minimum(neighbour, n - 1)).clip(max=max(own.size - 1, 0))
        return pieces[at] if own.size else np.zeros(n, dtype=np.int64)
    if n == 0:
        return np.zeros(0, dtype=np.int64)
    step = np.stack([np.diff(column), np.diff(row)], axis=1)
    joined = (np.abs(step).sum(axis=1) == 1) & (np.diff(line) == 0)
    forced = np.zeros(n + 1, dtype=bool)
    forced[np.minimum(np.asarray(breaks, dtype=np.int64), n)] = True
    turn = np.ones(n - 1, dtype=bool)
    turn[1:] = (step[1:] != step[:-1]).any(axis=1)
    starts = forced[:n]
    starts[0] = True
    starts[1:] |= ~joined
    # A turn starts a new piece unless the LED before it has just started one: a piece of one
    # LED has no direction yet. Each step needs the result of the step before, so this is a loop.
    for i in np.flatnonzero(turn[1:] & joined[1:]) + 2:
        starts[i] |= not starts[i - 1]
    return np.cumsum(starts) - 1
