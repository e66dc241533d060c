"""What goes wrong on a bench: faults of map, wiring and LEDs as transforms.

A fault of the map or the wiring changes `cells`, int64 (N,): the picture cell that each LED
shows, which is wiring.cell when all is right. Values below 0 are the marks of harness.coded and
gap cells are named by their number; `as_seen` turns them into what the coded pattern reads.
Faults of one wall act in the order of FAULTS: the map first, then strips, then single LEDs. A
fault of the channels changes the light.

To add one: write a frozen dataclass with `what`, `apply` and `example`, and enter it in FAULTS.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from emulator.description.wiring import Corner, Wiring
from harness.coded import ALWAYS_LIT, NEVER_LIT, READS_GAP
from harness.explain.wall import Wall, Words

Ints = NDArray[np.int64]
Generator = np.random.Generator


class Fault(Protocol):
    """A fault of the map, the wiring or single LEDs."""

    what: ClassVar[str]

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        """The cell each LED shows (N,) once the fault is there too."""

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        """A fault of this kind for this wiring; None when the wiring does not admit one."""


def as_seen(cells: Ints, wiring: Wiring) -> Ints:
    """What the coded pattern reads: cells (N,) with those of the gap as READS_GAP."""
    gap = wiring.led_at.reshape(-1) < 0
    return np.where((cells >= 0) & gap[np.maximum(cells, 0)], READS_GAP, cells)


class _WholePicture:
    """The map looks up another cell: `_look_up` rearranges a grid of cell numbers."""

    def _look_up(self, grid: Ints) -> Ints:
        raise NotImplementedError

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        numbers = np.arange(wiring.rows * wiring.columns)
        return _through(cells, self._look_up(numbers.reshape(wiring.rows, wiring.columns)))

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        fault = cls()
        return fault if _changes(fault.apply(wiring.cell, wiring), wiring) else None


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
    """Turned by 180°, as when the wall hangs on its head."""

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
class WrongMap:
    """The map is that of another wiring, given in the words of a shorthand."""

    words: Words
    what: ClassVar[str] = "the map is that of another wiring"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        believed = Wall(wiring).shorthand_cells(self.words)
        if believed is None:
            raise ValueError(f"{self.words.lines} lines are more than there are strips")
        sits = wiring.led_at.reshape(-1)[believed]
        return np.where(sits >= 0, cells[sits], believed)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        words = Wall(wiring).words or Words("top-left", "rows", "serpentine", 1)
        try:
            fault = cls(cls._spoiled(words, rng))
            return fault if _changes(fault.apply(wiring.cell, wiring), wiring) else None
        except ValueError:  # more lines than strips
            return None

    @classmethod
    def _spoiled(cls, words: Words, rng: Generator) -> Words:
        raise NotImplementedError


@dataclass(frozen=True)
class WrongPath(WrongMap):
    """Progressive taken for serpentine, or the other way round."""

    what: ClassVar[str] = "the map is progressive where the wiring is serpentine, or the reverse"

    @classmethod
    def _spoiled(cls, words: Words, rng: Generator) -> Words:
        return replace(words, path="serpentine" if words.path == "progressive" else "progressive")


@dataclass(frozen=True)
class WrongCorner(WrongMap):
    """The map starts at another corner."""

    what: ClassVar[str] = "the map starts at another corner than the wiring"

    @classmethod
    def _spoiled(cls, words: Words, rng: Generator) -> Words:
        corners: tuple[Corner, ...] = ("top-left", "top-right", "bottom-left", "bottom-right")
        others = [c for c in corners if c != words.start]
        return replace(words, start=others[rng.integers(len(others))])


@dataclass(frozen=True)
class WrongAlong(WrongMap):
    """The map runs along columns where the strips run along rows, or the other way round."""

    what: ClassVar[str] = "the map runs along columns where the wiring runs along rows, or reverse"

    @classmethod
    def _spoiled(cls, words: Words, rng: Generator) -> Words:
        return replace(words, along="columns" if words.along == "rows" else "rows")


@dataclass(frozen=True)
class GapCounted(WrongMap):
    """The map numbers the gap cells as if LEDs sat there."""

    what: ClassVar[str] = "the map counts the gap cells, where no LED sits"

    @classmethod
    def _spoiled(cls, words: Words, rng: Generator) -> Words:
        return replace(words, skips_gap=False)


@dataclass(frozen=True)
class RowsExchanged:
    """Two rows of the picture come out in each other's place."""

    row: int
    other: int
    what: ClassVar[str] = "two rows are exchanged"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        grid = np.arange(wiring.rows * wiring.columns).reshape(wiring.rows, wiring.columns)
        grid[[self.row, self.other]] = grid[[self.other, self.row]]
        return _through(cells, grid)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        pair = _two(wiring.rows, rng)
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
        return _through(cells, grid)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        pair = _two(wiring.columns, rng)
        return cls(*pair) if pair else None


@dataclass(frozen=True)
class LinesExchanged:
    """Two controller outputs are plugged into each other's line; what is too long stays dark."""

    line: int
    other: int
    what: ClassVar[str] = "two lines are exchanged"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        for mine, given in ((self.line, self.other), (self.other, self.line)):
            data = cells[wiring.line == given]
            leds = np.flatnonzero(wiring.line == mine)
            out[leds] = NEVER_LIT
            shared = min(len(data), len(leds))
            out[leds[:shared]] = data[:shared]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        pair = _two(len(wiring.line_names), rng)
        return cls(*pair) if pair else None


@dataclass(frozen=True)
class RunReversed:
    """One straight piece of strip is mounted, or mapped, the wrong way round."""

    run: int
    what: ClassVar[str] = "one run is reversed"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        leds = wiring.run == self.run
        out[leds] = cells[leds][::-1]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        long = np.flatnonzero(np.bincount(wiring.run) > 2)
        return cls(int(rng.choice(long))) if long.size else None


@dataclass(frozen=True)
class Late:
    """On one line, everything from LED `first` on comes `by` LEDs too late (below 0: early).

    The LEDs freed by being late stay dark, as when the code sends LEDs that are not there; at
    the end of an early line no data is left.
    """

    line: int
    first: int
    by: int
    what: ClassVar[str] = "everything from one LED on is late or early by some LEDs"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        tail = np.flatnonzero((wiring.line == self.line) & (wiring.led >= self.first))
        dark = np.full(abs(self.by), NEVER_LIT, dtype=np.int64)
        data = cells[tail]
        sent = np.concatenate((dark, data) if self.by > 0 else (data[-self.by :], dark))
        out[tail] = sent[: len(tail)]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        line = int(np.argmax(wiring.line_lengths))
        room = wiring.line_lengths[line]
        if room < 12:
            return None
        return cls(line, int(rng.integers(room - 8)), int(rng.choice([-2, -1, 1, 2])))


@dataclass(frozen=True)
class Double:
    """An LED shows the cell of the one before it in the chain as well, and its own is lost."""

    led: int
    what: ClassVar[str] = "two LEDs show the same cell"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        out[self.led] = cells[self.led - 1]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        return cls(int(rng.integers(1, len(wiring)))) if len(wiring) > 1 else None


@dataclass(frozen=True)
class _OneLed:
    """One LED (position) shows a mark whatever it is sent."""

    led: int
    mark: ClassVar[int]

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        out[self.led] = self.mark
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        return cls(int(rng.integers(len(wiring)))) if len(wiring) else None


@dataclass(frozen=True)
class Dead(_OneLed):
    """An LED that never lights, but passes its data on."""

    mark: ClassVar[int] = NEVER_LIT
    what: ClassVar[str] = "an LED is never lit"


@dataclass(frozen=True)
class Stuck(_OneLed):
    """An LED that is always lit."""

    mark: ClassVar[int] = ALWAYS_LIT
    what: ClassVar[str] = "an LED is always lit"


@dataclass(frozen=True)
class ChannelsPermuted:
    """Channel c gives the light meant for channel order[c]; channels are red, green, blue."""

    order: tuple[int, int, int]
    what: ClassVar[str] = "the channel order is wrong"

    def apply(self, light: NDArray[np.float64]) -> NDArray[np.float64]:
        """Light (..., 3) with its channels in the wrong places."""
        return light[..., list(self.order)]

    @classmethod
    def example(cls, rng: Generator) -> Self:
        orders = [(0, 2, 1), (1, 0, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1)]
        return cls(orders[rng.integers(len(orders))])


FAULTS: dict[str, type[Fault]] = {
    "wrong path": WrongPath,
    "wrong corner": WrongCorner,
    "wrong along": WrongAlong,
    "gap counted": GapCounted,
    "mirrored": Mirrored,
    "upside down": UpsideDown,
    "turned": Turned,
    "transposed": Transposed,
    "rows exchanged": RowsExchanged,
    "columns exchanged": ColumnsExchanged,
    "lines exchanged": LinesExchanged,
    "run reversed": RunReversed,
    "late": Late,
    "double LED": Double,
    "dead LED": Dead,
    "stuck LED": Stuck,
}


def _through(cells: Ints, grid: Ints) -> Ints:
    """Look each cell up in a grid of cell numbers; marks stay."""
    return np.where(cells >= 0, grid.reshape(-1)[np.maximum(cells, 0)], cells)


def _changes(cells: Ints, wiring: Wiring) -> bool:
    return not np.array_equal(cells, wiring.cell)


def _two(count: int, rng: Generator) -> tuple[int, int] | None:
    """Two different numbers below `count`, the smaller first."""
    if count < 2:
        return None
    a, b = sorted(rng.choice(count, 2, replace=False).tolist())
    return a, b
