"""Faults of the picture: mirrored, turned, rows or columns exchanged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np

from emulator.arrays import Ints
from emulator.description.wiring import Wiring
from harness.mistakes.fault import Generator, changes, through, two


class _WholePicture:
    """The map looks up another cell: `_look_up` rearranges a grid of cell numbers."""

    def _look_up(self, grid: Ints) -> Ints:
        raise NotImplementedError

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        numbers = np.arange(wiring.rows * wiring.columns)
        return through(cells, self._look_up(numbers.reshape(wiring.rows, wiring.columns)))

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        fault = cls()
        return fault if changes(fault.apply(wiring.cell, wiring), wiring) else None


@dataclass(frozen=True)
class Mirrored(_WholePicture):
    """Left and right exchanged, as when the wall is numbered from the back."""

    what: ClassVar[str] = "the picture comes out mirrored left-right"

    def _look_up(self, grid: Ints) -> Ints:
        return grid[:, ::-1]


@dataclass(frozen=True)
class UpsideDown(_WholePicture):
    """Top and bottom exchanged."""

    what: ClassVar[str] = "the picture comes out upside down, left and right in place"

    def _look_up(self, grid: Ints) -> Ints:
        return grid[::-1]


@dataclass(frozen=True)
class Turned(_WholePicture):
    """Turned by 180°, as when the wall hangs upside down."""

    what: ClassVar[str] = "the picture comes out turned by 180°"

    def _look_up(self, grid: Ints) -> Ints:
        return np.rot90(grid, 2)


@dataclass(frozen=True)
class Transposed(_WholePicture):
    """Rows treated as columns: cells numbered column by column, as a rows-first map reads them."""

    what: ClassVar[str] = "the map treats rows as columns"

    def _look_up(self, grid: Ints) -> Ints:
        # Cell (row, column) gets number column · rows + row: np 'F' order.
        return np.arange(grid.size).reshape(grid.shape, order="F")


@dataclass(frozen=True)
class RowsExchanged:
    """Two rows of the picture come out in each other's place."""

    row: int
    other: int
    what: ClassVar[str] = "two rows are exchanged"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        grid = np.arange(wiring.rows * wiring.columns).reshape(wiring.rows, wiring.columns)
        grid[[self.row, self.other]] = grid[[self.other, self.row]]
        return through(cells, grid)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        pair = two(wiring.rows, rng)
        return cls(*pair) if pair else None


@dataclass(frozen=True)
class ColumnsExchanged:
    """Two columns of the picture come out in each other's place."""

    column: int
    other: int
    what: ClassVar[str] = "two columns are exchanged"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        grid = np.arange(wiring.rows * wiring.columns).reshape(wiring.rows, wiring.columns)
        grid[:, [self.column, self.other]] = grid[:, [self.other, self.column]]
        return through(cells, grid)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        pair = two(wiring.columns, rng)
        return cls(*pair) if pair else None
