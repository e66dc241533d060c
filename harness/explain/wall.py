"""The wall as the explanation sees it: its cells and LEDs, and the pieces they form."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from emulator.description.wiring import Along, Corner, Path, Wiring, strip_order
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT, READS_GAP, UNCLEAR

Kind = Literal["row", "column", "line", "run", "row of LEDs", "column of LEDs"]
ON_CELLS: frozenset[Kind] = frozenset({"row", "column"})
# Rows and columns of the picture, and the LEDs that sit in them.
LED_KINDS: dict[Kind, Kind] = {"row": "row of LEDs", "column": "column of LEDs"}
_OF_CELLS: frozenset[Kind] = frozenset({"run", "row of LEDs", "column of LEDs"})
_CORNERS: tuple[Corner, ...] = ("top-left", "top-right", "bottom-left", "bottom-right")
_ALONGS: tuple[Along, ...] = ("rows", "columns")
_PATHS: tuple[Path, ...] = ("serpentine", "progressive")
_WAYS = tuple(product(_ALONGS, _PATHS, _CORNERS))
_KEPT = 4_000_000  # elements of tables, 32 MB
_MARKS = np.array([UNCLEAR, READS_GAP, ALWAYS_LIT, NEVER_LIT])  # reached by index -4 … -1


@dataclass(frozen=True, eq=False)
class Pieces:
    """A division of M cells or LEDs into G groups, each in an order of its own.

    group, place: (M,) the group of each element and its place in it, from 0.
    order: elements by group, then place; starts: (G + 1,) where each group begins in it. An element
    may be in no order: nothing moves it, though it belongs to its group.
    """

    group: Ints
    place: Ints
    order: Ints
    starts: Ints

    @classmethod
    def from_keys(cls, group: Ints, position: Ints, fixed: NDArray[np.bool_]) -> Pieces:
        """Divide by `group`; within a group, elements are in the order of `position`.

        fixed: (M,) elements that are in no order.
        """
        order = np.lexsort((position, group))
        order = order[~fixed[order]]
        counts = np.bincount(group[order], minlength=int(group.max(initial=0)) + 1)
        starts = np.concatenate(([0], np.cumsum(counts)))
        place = np.zeros_like(group)
        place[order] = np.arange(len(order)) - starts[group[order]]
        return cls(group, place, order, starts)

    def __len__(self) -> int:
        return len(self.starts) - 1

    @property
    def longest(self) -> int:
        """Elements in the longest group."""
        return int(np.diff(self.starts).max(initial=0))

    def members(self, group: int) -> Ints:
        """The elements of one group in its order."""
        return self.order[self.starts[group] : self.starts[group + 1]]

    def taken(self, groups: Mapping[int, int]) -> Ints:
        """(M,) the element whose content each takes if group a takes that of group groups[a].

        -1 where group a is the longer one.
        """
        table = np.arange(len(self.group))
        for taker, giver in groups.items():
            mine, other = self.members(taker), self.members(giver)
            table[mine] = -1
            shared = min(len(mine), len(other))
            table[mine[:shared]] = other[:shared]
        return table

    @cached_property
    def backwards(self) -> Ints:
        """(M,) the element whose content each takes if every group is reversed."""
        table = np.arange(len(self.group))
        last = self.starts[self.group[self.order] + 1] - 1
        table[self.order] = self.order[last - self.place[self.order]]
        return table

    def reversed(self, groups: Iterable[int]) -> Ints:
        """(M,) the element whose content each takes if these groups are reversed."""
        turned = np.zeros(len(self), dtype=bool)
        turned[list(groups)] = True
        return np.where(turned[self.group], self.backwards, np.arange(len(self.group)))


@dataclass(frozen=True)
class Words:
    """The few words of a shorthand wiring; see emulator.description.wiring.shorthand.

    skips_gap: whether gap cells are left out; a map that counts them assumes LEDs there.
    """

    start: Corner
    along: Along
    path: Path
    lines: int
    skips_gap: bool = True

    def differences(self, other: Words) -> tuple[str, ...]:
        """Names of the fields that differ."""
        return tuple(
            field.name
            for field in fields(self)
            if getattr(self, field.name) != getattr(other, field.name)
        )


@dataclass(frozen=True, eq=False)
class Wall:
    """A wiring with what the explanation derives from it once.

    A *prediction* is int64 (N,): the picture cell that each LED should show, or one of the marks
    NEVER_LIT … UNCLEAR. It may name a gap cell; `as_seen` turns that into READS_GAP.
    """

    wiring: Wiring

    def __len__(self) -> int:
        return len(self.wiring)

    @property
    def columns(self) -> int:
        return self.wiring.columns

    @property
    def rows(self) -> int:
        return self.wiring.rows

    @property
    def cells(self) -> int:
        return self.rows * self.columns

    @property
    def lines(self) -> int:
        return len(self.wiring.line_names)

    @cached_property
    def gap(self) -> NDArray[np.bool_]:
        """(rows, columns) bool, True where no LED sits."""
        return self.wiring.led_at < 0

    @cached_property
    def _seen(self) -> Ints:
        cells = np.arange(self.cells)
        return np.concatenate((np.where(self.gap.reshape(-1), READS_GAP, cells), _MARKS))

    def as_seen(self, prediction: Ints) -> Ints:
        """The prediction as read_codes would report it: gap cells become READS_GAP."""
        return self._seen[prediction]

    def by_cell(self, prediction: Ints, table: Ints) -> Ints:
        """Replace each predicted cell by table[cell] (cells,); marks stay."""
        changed = np.empty(len(table) + len(_MARKS), dtype=np.int64)
        changed[: len(table)], changed[len(table) :] = table, _MARKS
        return changed[prediction]

    def by_led(self, prediction: Ints, table: Ints) -> Ints:
        """LED i shows what LED table[i] was predicted to show; NEVER_LIT where it is -1."""
        given = np.empty(len(prediction) + 1, dtype=np.int64)
        given[:-1], given[-1] = prediction, NEVER_LIT
        return given[table]

    def table(self, operation: Hashable, draw: Callable[[], Ints]) -> Ints:
        """The table of an operation, made once: the search applies the same ones many times.

        For large walls, only a few are kept.
        """
        if operation not in self._tables:
            if len(self._tables) * self.cells > _KEPT:
                self._tables.clear()
            self._tables[operation] = draw()
        return self._tables[operation]

    @cached_property
    def _tables(self) -> dict[Hashable, Ints]:
        return {}

    @cached_property
    def _pieces(self) -> dict[Kind, Pieces]:
        return {}

    def pieces(self, kind: Kind) -> Pieces:
        """Cells by row or column; LEDs by line or run, or by the row or column they sit in."""
        if kind not in self._pieces:
            w, cells = self.wiring, np.arange(self.cells)
            # A plug moves hidden LEDs with all of a line. The map has no cells to give to them.
            fixed = w.hidden if kind in _OF_CELLS else np.zeros(1, dtype=np.bool_)
            row, column = cells // self.columns, cells % self.columns
            group, position = {
                "row": (row, column),
                "column": (column, row),
                "line": (w.line, w.led),
                "run": (w.run, w.led),
                "row of LEDs": (w.row, w.column),
                "column of LEDs": (w.column, w.row),
            }[kind]
            fixed = np.broadcast_to(fixed, group.shape)
            self._pieces[kind] = Pieces.from_keys(group, position, fixed)
        return self._pieces[kind]

    def led_name(self, position: int) -> str:
        """'LED 17', or 'line 1, LED 17' when there are several lines."""
        led = f"LED {self.wiring.led[position]}"
        return f"line {self.wiring.line[position]}, {led}" if self.lines > 1 else led

    def shorthand_cells(self, words: Words) -> Ints | None:
        """Cells (N,) of the wiring of these words; None if it has more lines than strips.

        If the words count the gap, each line has more LEDs than there are; the last get no data.
        """
        if words.lines > (self.rows if words.along == "rows" else self.columns):
            return None
        if words not in self._drawn:
            gap = self.gap if words.skips_gap else np.zeros_like(self.gap)
            order, line, _ = strip_order(gap, words.start, words.along, words.path, words.lines)
            by_line = not words.skips_gap and words.lines == self.lines
            self._drawn[words] = self.dealt(order, line if by_line else None)
        return self._drawn[words]

    def dealt(self, order: Ints, line: Ints | None) -> Ints:
        """The cell each LED gets (N,) of M cells in the order of the data, NEVER_LIT past the end.

        line: (M,) the line each cell is sent to; None: one chain, cut where the lines end. Hidden
        LEDs are passed over.
        """
        placed = self.wiring.placed
        place = np.arange(len(placed))
        there = place < len(order)
        if line is not None:
            lengths, own = np.bincount(line, minlength=self.lines), self.wiring.line[placed]
            place -= np.searchsorted(own, own)
            there = place < lengths[own]
            place += (np.cumsum(lengths) - lengths)[own]
        cells = np.full(len(self), NEVER_LIT)
        cells[placed[there]] = order[place[there]]
        return cells

    def placed_on(self, line: int) -> Ints:
        """Positions of the LEDs of a line that have a cell, in the order of the data."""
        return np.flatnonzero(~self.wiring.hidden & (self.wiring.line == line))

    @cached_property
    def _drawn(self) -> dict[Words, Ints]:
        return {}

    @cached_property
    def shorthands(self) -> tuple[tuple[Words, Ints], ...]:
        """Every wiring in a few words with its cells (N,): with one line, or the wall's number."""
        found = []
        counts = sorted({self.lines, 1}, reverse=True)
        skips = (True, False) if self.gap.any() else (True,)
        for skips_gap, lines, (along, path, start) in product(skips, counts, _WAYS):
            words = Words(start, along, path, lines, skips_gap)
            cells = self.shorthand_cells(words)
            if cells is not None:
                found.append((words, cells))
        return tuple(found)

    @cached_property
    def words(self) -> Words | None:
        """The words of this wiring, or None if no shorthand makes it."""
        for words, cells in self.shorthands:
            if (
                words.skips_gap
                and words.lines == self.lines
                and np.array_equal(cells, self.wiring.cell)
            ):
                order = strip_order(self.gap, words.start, words.along, words.path, words.lines)
                if np.array_equal(order[1], self.wiring.line[self.wiring.placed]):
                    return words
        return None

    @cached_property
    def line_orders(self) -> tuple[tuple[tuple[Words, Ints], ...], ...]:
        """For each line the ways to go through its cells, in a few words: positions of their LEDs.

        The first way is the line's own, if words describe it. Each order comes once.
        """
        found = []
        bounds = zip(self.wiring.line_starts, self.wiring.line_lengths, strict=True)
        for line, (start, length) in enumerate(bounds):
            own = self.placed_on(line)
            row, column = self.wiring.row[own], self.wiring.column[own]
            top, left = row.min(initial=self.rows), column.min(initial=self.columns)
            led_at = self.wiring.led_at[top : row.max(initial=0) + 1]
            led_at = led_at[:, left : column.max(initial=0) + 1]
            others = (led_at < start) | (led_at >= start + length)
            ways: dict[bytes, tuple[Words, Ints]] = {}
            for along, path, corner in _WAYS if own.size else ():
                order = led_at.reshape(-1)[strip_order(others, corner, along, path, 1)[0]]
                ways.setdefault(order.tobytes(), (Words(corner, along, path, 1), order))
            mine = ways.pop(own.tobytes(), None)
            found.append((*((mine,) if mine else ()), *ways.values()))
        return tuple(found)
