"""The operations on hidden LEDs: left out of the map, or lit although they must stay dark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Ints
from harness.explain.operations import list_cost
from harness.explain.wall import Wall


@dataclass(frozen=True)
class Forgotten:
    """The map leaves out hidden LEDs: it gives their data to those after them, which move up.

    lines: the lines it happens on, each counted by itself; empty: the whole chain, counted through
    all lines. The last LEDs get no data.
    """

    lines: tuple[int, ...]

    @property
    def cost(self) -> float:
        return 0.9 + 0.05 * (len(self.lines) != 1)

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        return wall.by_led(prediction, wall.table(self, lambda: self._table(wall)))

    def _table(self, wall: Wall) -> Ints:
        table = np.arange(len(wall))
        for mine in self.stretches(wall):
            table[mine] = -1
            given = mine[~wall.wiring.hidden[mine]]
            table[mine[: len(given)]] = given
        return table

    def stretches(self, wall: Wall) -> list[Ints]:
        """Positions of the LEDs of each line affected, or of the whole chain."""
        if not self.lines:
            return [np.arange(len(wall))]
        return [wall.pieces("line").members(line) for line in self.lines]

    def left_out(self, wall: Wall) -> Ints:
        """Positions of the hidden LEDs that move others: those before an LED with a cell."""
        hidden = wall.wiring.hidden
        found = []
        for mine in self.stretches(wall):
            last = np.flatnonzero(~hidden[mine]).max(initial=-1)
            found.append(mine[: last + 1][hidden[mine[: last + 1]]])
        return np.concatenate(found)


@dataclass(frozen=True)
class Stray:
    """These hidden LEDs (positions) show something: a cell each, or a mark."""

    leds: tuple[int, ...]
    shown: tuple[int, ...]

    @property
    def cost(self) -> float:
        return 0.9 + list_cost(self.leds)

    def apply(self, prediction: Ints, wall: Wall) -> Ints:
        changed = prediction.copy()
        changed[list(self.leds)] = self.shown
        return changed
