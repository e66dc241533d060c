"""The wide part of the LEDs' light where no walls cut it off, on the grid of the cells.

Samples at every cell are enough for a Gaussian much wider than a cell. At each pixel only the
samples have to be joined, with a Gaussian one cell wide. So light from far away takes no more time
than that of a few neighbours.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Floats
from emulator.light.cover import Axis, Spot
from emulator.light.product import product

# Samples of a Gaussian of this width, in cells, are joined by one that is a cell wide. The result
# differs from the Gaussian by 2·e^(−2π²·5/9), or 3e-5: Poisson's sum formula.
_WIDE = 1.5
MARGIN = 6  # cells beyond the edge whose samples still reach a pixel inside


def split(spot: Spot, across: Axis, down: Axis) -> tuple[Spot, Spot | None]:
    """(near, far): the Gaussians to draw pixel by pixel, and those wide enough for samples.

    Far is None between walls, which cut light off, and if no Gaussian is wide enough.
    """
    wide = spot.sigma_mm >= _WIDE * max(across.pitch_mm, down.pitch_mm)
    wide[-1] = False  # the narrowest: at least one is always near
    # A narrow beam may send no light at all so far.
    if across.opening_mm is not None or not spot.weight[wide].any():
        return spot, None
    near, far = (
        replace(spot, sigma_mm=spot.sigma_mm[part], weight=spot.weight[part])
        for part in (~wide, wide)
    )
    return near, far


def joining(offset_mm: ArrayLike, axis: Axis) -> Floats:
    """(…) weight of a sample at an offset (…), in mm, from a pixel."""
    away = np.asarray(offset_mm, dtype=np.float64) / axis.pitch_mm
    weight: Floats = np.exp(-(away**2) / 2) / np.sqrt(2 * np.pi)
    return weight


def samples(spot: Spot, axis: Axis, cells: int) -> Floats:
    """(cells + margins, cells, K): the light of each cell at each sample, before the joining."""
    at = np.arange(-MARGIN, cells + MARGIN)
    away = (at[:, None] - np.arange(cells)) * axis.pitch_mm
    return spot.spread(away, axis, spot.blur_mm**2 - axis.pitch_mm**2)


class FarField:
    """Samples of the far light for cells: two small matrix products.

    terms: coefficients (K, r) across and down of the spot's separate terms.
    """

    def __init__(
        self,
        spot: Spot,
        axes: tuple[Axis, Axis],
        terms: tuple[Floats, Floats],
        cells: tuple[int, int],
    ) -> None:
        """cells: (columns, rows)."""
        columns, rows = cells
        across = samples(spot, axes[0], columns) @ terms[0]
        down = samples(spot, axes[1], rows) @ terms[1]
        count = across.shape[2]
        # First from the columns of a row to the terms of its samples, then from rows and terms.
        self._across = np.ascontiguousarray(
            across.transpose(1, 2, 0).reshape(columns, -1), dtype=np.float32
        )
        self._down = np.ascontiguousarray(down.reshape(len(down), -1), dtype=np.float32)
        self._between = np.empty((3, rows, count * len(across)), dtype=np.float32)
        self._samples = np.empty((3, len(down), len(across)), dtype=np.float32)

    def of(self, planes: NDArray[np.float32]) -> NDArray[np.float32]:
        """Samples (3, rows + margins, columns + margins) for planes of light (3, rows, columns).

        The next call uses the same array again.
        """
        product(planes, self._across, self._between)
        wide = self._samples.shape[2]
        product(self._down, self._between.reshape(3, -1, wide), self._samples)
        return self._samples
