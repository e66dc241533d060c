"""Fields of view on a display: which LEDs are in one, and how much of it an area fills."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display

RADIUS = math.radians(5)
FIELD_SR = 2 * math.pi * (1 - math.cos(RADIUS))  # of a disc 10° across: 0.0239 sr
FINE = math.radians(0.1)  # side of the squares of a fine, balanced pattern (WCAG 2.2)


@dataclass(frozen=True)
class Fields:
    """The 10° discs around the cells of a display, seen from straight ahead at a distance.

    A field holds the LEDs whose middle is in it. If it is narrower than a cell, the cell fills it.
    """

    display: Display
    distance_m: float

    @cached_property
    def pitches_m(self) -> tuple[float, float]:
        across_mm, down_mm = self.display.grid.pitches_mm
        return across_mm / 1000, down_mm / 1000

    @cached_property
    def cell_sr(self) -> float:
        """Solid angle of one cell, at most that of a field."""
        across, down = self.pitches_m
        return min(across * down / self.distance_m**2, FIELD_SR)

    @cached_property
    def fine_squares(self) -> int:
        """How many cells fit along the side of a square seen under less than 0.1°."""
        return max(math.ceil(FINE * self.distance_m / max(self.pitches_m) - 1e-9) - 1, 0)

    @property
    def even_side(self) -> int:
        """Cells along the side of a square over which a fine, balanced pattern is even."""
        return 2 * self.fine_squares

    @property
    def _radius_m(self) -> float:
        return self.distance_m * math.tan(RADIUS)

    def seen(self, changes: NDArray[np.int8]) -> NDArray[np.int8]:
        """Changes (T, N), in place without those of hidden LEDs, which nobody sees."""
        changes[:, self.display.wiring.hidden] = 0
        return changes

    def around(self, column: int, row: int) -> NDArray[np.bool_]:
        """(N,) LEDs in the field around a cell, without hidden ones."""
        across, down = self.pitches_m
        wiring = self.display.wiring
        square_m = ((wiring.column - column) * across) ** 2 + ((wiring.row - row) * down) ** 2
        inside: NDArray[np.bool_] = (square_m <= self._radius_m**2) & ~wiring.hidden
        return inside

    def sums(self, leds: NDArray[np.generic]) -> NDArray[np.int32]:
        """Sums (T, rows, columns) of whole numbers or bools (T, N) over the field of each cell."""
        across, down = self.pitches_m
        rows, columns, _ = self.display.picture_shape
        cells = self.display.wiring.per_cell(leds[..., None].astype(np.int32))
        before = np.zeros((len(leds), rows, columns + 1), dtype=np.int32)
        np.cumsum(cells.reshape(-1, rows, columns), axis=2, out=before[..., 1:])
        at = np.arange(columns)
        sums = np.zeros((len(leds), rows, columns), dtype=np.int32)
        reach = min(int(self._radius_m / down), rows - 1)
        for off in range(-reach, reach + 1):
            half = int(math.sqrt(max(self._radius_m**2 - (off * down) ** 2, 0.0)) / across)
            left, right = np.maximum(at - half, 0), np.minimum(at + half + 1, columns)
            strip = before[..., right] - before[..., left]
            sums[:, max(-off, 0) : rows - max(off, 0)] += strip[:, max(off, 0) : rows + min(off, 0)]
        return sums

    def evened(self, light: NDArray[np.float32], side: int) -> NDArray[np.float32]:
        """Light (T, N, 3), for each LED the average of the `side` × `side` cells around it.

        This makes a balanced pattern of squares half as wide even. Gaps do not darken the result.
        """
        leds = self._squares(np.ones((1, light.shape[1], 1)), side)
        return np.asarray(self._squares(light, side) / np.maximum(leds, 1), dtype=np.float32)

    def near(self, leds: NDArray[np.bool_], side: int) -> NDArray[np.bool_]:
        """(N,) LEDs with one of `leds` (N,) in their square of `side` × `side` cells."""
        found: NDArray[np.bool_] = self._squares(leds[None, :, None], side)[0, :, 0] > 0.5
        return found

    def _squares(self, values: NDArray[np.generic], side: int) -> NDArray[np.float64]:
        """Sums (T, N, K) of values (T, N, K) over the square around each LED, cut at the edge.

        0 for hidden LEDs.
        """
        rows, columns, _ = self.display.picture_shape
        sums = self.display.wiring.per_cell(values.astype(np.float64))
        for axis, count in ((1, rows), (2, columns)):
            at = np.arange(count)
            total = np.insert(np.cumsum(sums, axis=axis), 0, 0, axis=axis)
            ends, starts = np.minimum(at + side // 2, count), np.maximum(at - side // 2, 0)
            sums = total.take(ends, axis=axis) - total.take(starts, axis=axis)
        return self.display.wiring.per_led(sums)
