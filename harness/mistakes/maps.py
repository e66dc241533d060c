"""Faults of the whole map: that of another wiring, or made for another grid."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from emulator.arrays import Ints
from emulator.description.wiring import Corner, Wiring
from harness.explain.grids import OtherGrid
from harness.explain.wall import Wall, Words
from harness.mistakes.fault import Generator, changes


@dataclass(frozen=True)
class WrongMap:
    """The map is that of another wiring, given in the words of a shorthand."""

    words: Words
    what: ClassVar[str] = "the map is that of another wiring"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        believed = Wall(wiring).shorthand_cells(self.words)
        if believed is None:
            raise ValueError(f"{self.words.lines} lines are more than there are strips")
        return _believed(believed, cells, wiring)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        words = Wall(wiring).words or Words("top-left", "rows", "serpentine", 1)
        try:
            fault = cls(cls._spoiled(words, rng))
            return fault if changes(fault.apply(wiring.cell, wiring), wiring) else None
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
class _OtherGrid:
    """The map is made for another grid."""

    grid: OtherGrid

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        wall = Wall(wiring)
        believed = self.grid.cells(wall, wall.words)
        if believed is None:
            raise ValueError(f"no map of this wiring can be made for {self.grid}")
        return _believed(believed, cells, wiring)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        if Wall(wiring).words is None:
            return None
        for _ in range(8):
            fault = cls(cls._another(wiring.columns, wiring.rows, rng))
            try:
                if changes(fault.apply(wiring.cell, wiring), wiring):
                    return fault
            except ValueError:
                continue
        return None

    @classmethod
    def _another(cls, columns: int, rows: int, rng: Generator) -> OtherGrid:
        raise NotImplementedError


def _another_size(size: int, rng: Generator) -> int:
    """A size near another one: up to 3 or a fifth off, at least half of it."""
    most = max(3, size // 5)
    return max(size + int(rng.choice([-1, 1])) * int(rng.integers(1, most + 1)), -(-size // 2))


@dataclass(frozen=True)
class OtherWidth(_OtherGrid):
    """The map is made for rows of another length; cells outside the picture stay dark."""

    what: ClassVar[str] = "the map is made for a grid of another width"

    @classmethod
    def _another(cls, columns: int, rows: int, rng: Generator) -> OtherGrid:
        return OtherGrid(_another_size(columns, rng), rows, "asked", "dark")


@dataclass(frozen=True)
class OtherHeight(_OtherGrid):
    """The map is made for columns of another length; cells outside the picture stay dark."""

    what: ClassVar[str] = "the map is made for a grid of another height"

    @classmethod
    def _another(cls, columns: int, rows: int, rng: Generator) -> OtherGrid:
        return OtherGrid(columns, _another_size(rows, rng), "asked", "dark")


@dataclass(frozen=True)
class DrawnForOtherWidth(_OtherGrid):
    """Each cell is written to the LED that the numbering of another width says."""

    what: ClassVar[str] = "cells are written where a grid of another width has them"

    @classmethod
    def _another(cls, columns: int, rows: int, rng: Generator) -> OtherGrid:
        return OtherGrid(_another_size(columns, rng), rows, "drawn", "dark")


@dataclass(frozen=True)
class CountedByOtherWidth(_OtherGrid):
    """The cells of the picture are numbered row · width + column with another width."""

    what: ClassVar[str] = "the cells of the picture are counted in rows of another width"

    @classmethod
    def _another(cls, columns: int, rows: int, rng: Generator) -> OtherGrid:
        return OtherGrid(_another_size(columns, rng), rows, "flat", "dark")


def _believed(believed: Ints, cells: Ints, wiring: Wiring) -> Ints:
    """What each LED shows if it asks for cell (N,) of the believed grid, given `cells`."""
    sits = wiring.led_at.reshape(-1)[np.maximum(believed, 0)]
    return np.where((believed >= 0) & (sits >= 0), cells[sits], believed)
