"""What a fault is, and code that several of them share."""

from __future__ import annotations

from typing import ClassVar, Protocol, Self

import numpy as np

from emulator.arrays import Ints
from emulator.description.wiring import Wiring
from harness.patterns.coded import READS_GAP

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


def through(cells: Ints, grid: Ints) -> Ints:
    """Look each cell up in a grid of cell numbers; marks stay."""
    return np.where(cells >= 0, grid.reshape(-1)[np.maximum(cells, 0)], cells)


def changes(cells: Ints, wiring: Wiring) -> bool:
    return not np.array_equal(cells, wiring.cell)


def two(count: int, rng: Generator) -> tuple[int, int] | None:
    """Two different numbers below `count`, the smaller first."""
    if count < 2:
        return None
    a, b = sorted(rng.choice(count, 2, replace=False).tolist())
    return a, b
