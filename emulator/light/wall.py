"""The wall seen from the front: each LED's spot on the cover, as a screen picture.

A simple model: an LED at depth h behind a diffusing front lights it with cos⁴θ, whose half
width at half height is 0.64 h; a Gaussian of the same half width stands for it. It is
separable, so a whole picture is two small matrix products.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display

# cos⁴θ = 1/2 where tan²θ = √2 − 1 (small Lambertian source, reference: E = I0·cos⁴θ/h²);
# a Gaussian falls to one half at 1.1774 σ.
SIGMA_PER_DEPTH = float(np.sqrt(np.sqrt(2) - 1) / np.sqrt(2 * np.log(2)))

# sRGB code of linear light x, to be cut off at the point: _GAIN·(q + _BEND)² + _FLOOR with
# q = ⁴√(x + _LIFT). A minimax fit to IEC 61966-2-1 over 0…1, never more than one code value off
# it after rounding, exact at 0 and 1. Two square roots a value are faster than a table.
_LIFT = np.float32(0.002551406520)
_GAIN = np.float32(149.591672758)
_BEND = np.float32(0.485733932013)
_FLOOR = np.float32(-75.8927730781 + 0.5)

# Pixels are done in blocks of rows, whose light stays in the processor's cache, and across in
# tiles, which need only the cells near them. Products this small also stay on one thread:
# a library that shares them out waits for its threads whenever the machine has other work.
_ROWS, _TILE = 32, 192
_FAINT = 1e-6  # of an LED's light: far under half a code value, and sums stay free of denormals


class WallView:
    """Draws the cells of a display at a size in pixels; build it once, call it for every frame.

    The picture keeps the wall's proportions: width is `pixels_wide`, height follows the pitch;
    a cell gets at least one pixel each way.
    """

    def __init__(self, display: Display, pixels_wide: int) -> None:
        grid = display.grid
        across_mm, down_mm = grid.pitches_mm
        self.width = max(pixels_wide, grid.columns)
        self.scale = self.width / (grid.columns * across_mm)  # pixels per mm
        self.height = max(round(grid.rows * down_mm * self.scale), grid.rows)
        self.columns, self.rows = grid.columns, grid.rows
        sigma_mm = SIGMA_PER_DEPTH * display.cover.depth_mm
        self._across = _pieces(_spread(grid.columns, self.width, sigma_mm / across_mm), _TILE)
        self._down = _pieces(_spread(grid.rows, self.height, sigma_mm / down_mm), _ROWS)
        self._planes = np.empty((3, grid.rows, grid.columns), dtype=np.float32)
        self._band = np.empty((3, _ROWS, grid.columns), dtype=np.float32)
        self._light = np.empty((_ROWS, self.width), dtype=np.float32)
        self._shown = np.empty((self.height, self.width, 3), dtype=np.uint8)

    def draw(
        self, cells: NDArray[np.float32], onto: NDArray[np.uint8] | None = None
    ) -> NDArray[np.uint8]:
        """sRGB picture (height, width, 3) of the light of each cell (rows, columns, 3).

        Light is linear, 0 or more; above 1 it is cut off. Drawn into `onto`, which may be any
        view of a screen's memory; without it into an array that the next call uses again:
        copy that to keep it.
        """
        shown = self._shown if onto is None else onto
        self._planes[...] = np.moveaxis(cells, -1, 0)
        # No spot is brighter than the brightest LED, see _spread.
        too_bright = cells.max() > 1
        for lines, near_rows, down in self._down:
            count = len(down)
            np.matmul(down, self._planes[:, near_rows], out=self._band[:, :count])
            light = self._light[:count]
            for channel in range(3):
                for tile, near_columns, across in self._across:
                    band = self._band[channel, :count, near_columns]
                    np.matmul(band, across.T, out=light[:, tile])
                if too_bright:
                    np.minimum(light, 1, out=light)
                _to_codes(light)
                shown[lines, :, channel] = light
        return shown

    def cell_at(self, x: int, y: int) -> tuple[int, int] | None:
        """(column, row) of the cell at a pixel, None outside the wall."""
        if not (0 <= x < self.width and 0 <= y < self.height):
            return None
        # Of the pixel's middle, as in _spread.
        return (
            (2 * x + 1) * self.columns // (2 * self.width),
            (2 * y + 1) * self.rows // (2 * self.height),
        )


def _to_codes(light: NDArray[np.float32]) -> None:
    """Linear light 0…1 to sRGB code values 0…255, in place; cutting them off rounds them."""
    light += _LIFT
    np.sqrt(light, out=light)
    np.sqrt(light, out=light)
    light += _BEND
    np.multiply(light, light, out=light)
    light *= _GAIN
    light += _FLOOR


def _pieces(
    spread: NDArray[np.float32], pixels: int
) -> list[tuple[slice, slice, NDArray[np.float32]]]:
    """Cut (P, cells) into pieces of `pixels`: (which pixels, which cells reach them, how much)."""
    pieces = []
    for start in range(0, len(spread), pixels):
        part = spread[start : start + pixels]
        reaching = np.flatnonzero(part.any(axis=0))
        near = slice(int(reaching[0]), int(reaching[-1]) + 1) if reaching.size else slice(0, 1)
        pieces.append((slice(start, start + len(part)), near, np.ascontiguousarray(part[:, near])))
    return pieces


def _spread(cells: int, pixels: int, sigma: float) -> NDArray[np.float32]:
    """(pixels, cells): how much of each cell's light falls on each pixel; sigma in cells.

    Exposed so that a wall lit all over is just white at its brightest spot: a shallow cover
    then shows as bright spots in a dark field, as a camera would see it.
    """
    at = (np.arange(pixels) + 0.5) * cells / pixels
    distance = at[:, None] - (np.arange(cells) + 0.5)[None, :]
    spread = np.exp(-0.5 * (distance / sigma) ** 2)
    spread[spread < _FAINT] = 0
    reach = int(np.ceil(6 * sigma)) + 1
    neighbours = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2).sum()  # on an LED
    return np.asarray(spread / neighbours, dtype=np.float32)
