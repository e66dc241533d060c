"""What a film shows of a wall: which LED sits where, and how each cell shines."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from emulator.arrays import Bools, Floats, Ints, Srgb
from emulator.description.display import Display
from emulator.description.wiring import Wiring

DARK, NO_CELL = -1, -2


@dataclass(frozen=True)
class Outline:
    """Where cells lie in the still: a homography, then the lens.

    matrix: (3, 3) from (column, row), at the centre of a cell, to the pixels of a camera without
    lens distortion. centre, scale: pixels about which and in which radii are counted. radial: k1,
    k2 of the Brown–Conrady model [1]: a point at radius r lies at r (1 + k1 r² + k2 r⁴).

    [1] D. C. Brown, Close-range camera calibration, Photogrammetric Engineering 37, 1971.
    """

    matrix: Floats
    centre: tuple[float, float] = (0.0, 0.0)
    scale: float = 1.0
    radial: tuple[float, float] = (0.0, 0.0)

    def pixels(self, cells: Floats) -> Floats:
        """(…, 2) x and y in the still of (…, 2) column and row, fractions allowed."""
        ahead = np.concatenate([cells, np.ones((*cells.shape[:-1], 1))], axis=-1) @ self.matrix.T
        flat = (ahead[..., :2] / ahead[..., 2:] - self.centre) / self.scale
        square = (flat**2).sum(axis=-1, keepdims=True)
        bent = flat * (1 + self.radial[0] * square + self.radial[1] * square**2)
        return np.asarray(bent * self.scale + self.centre)

    def of(self, move: Floats) -> Self:
        """The outline for other cells. move: (3, 3) from these, column and row, to its own."""
        return replace(self, matrix=self.matrix @ move)

    def middles(self, shape: tuple[int, ...]) -> Floats:
        """(rows, columns, 2) x and y of the middles of cells of that shape."""
        row, column = np.indices(shape)
        return self.pixels(np.stack([column, row], axis=-1).astype(np.float64))

    def seen_at(self, left: float, top: float, larger: float) -> Self:
        """The outline in a frame of which its own picture shows the part from there, so many times
        larger."""
        # The middle of the first pixel is at 0 in both.
        move = np.array([left + (larger - 1) / 2, top + (larger - 1) / 2])
        to_frame = np.array([[larger, 0, move[0]], [0, larger, move[1]], [0, 0, 1]])
        return replace(
            self,
            matrix=to_frame @ self.matrix,
            centre=tuple((np.array(self.centre) * larger + move).tolist()),
            scale=self.scale * larger,
        )

    def moved(self, way: Floats) -> Self:
        """About the outline in a frame of a camera that has moved. way: (3, 3) from the pixels of
        its own; the lens, of which both have the same part, is left as it is."""
        return replace(self, matrix=way @ self.matrix)

    def begun_at(self, column: float, row: float) -> Self:
        """The outline with its cells counted from another place, in cells."""
        return self.of(np.array([[1, 0, column], [0, 1, row], [0, 0, 1]], dtype=np.float64))


def planned_numbers(wiring: Wiring) -> Ints:
    """(rows, columns) the number of each cell's LED among those placed, -1 in gaps."""
    return np.append(wiring.placed_number, -1)[wiring.led_at]


@dataclass(frozen=True)
class Seen:
    """What a film shows of a wall.

    The N LEDs are those of the plan that have a cell, in the order of the data:
    `display.wiring.placed` are their positions among all LEDs. Cells are those of the plan's grid,
    seen from the front, (rows, columns).

    display: the plan. column, row: (N,) where each LED sits as built, -1 for one not found.
    confidence: (N,) 0…1 of that place; 0 for one not found. why: (N,) reasons why an LED is
    uncertain, '' where it is certain.
    number: (rows, columns) which of the N LEDs each cell shows; DARK where it shows none or cannot
    be read, NO_CELL in gaps. A number may come twice (two chips on the same data).
    light: (rows, columns, 3) linear light of the camera in red, green and blue, each less the dark,
    while the LEDs show red, green and blue; 1 is the median of the wall in that channel, NaN is
    unknown. hues: (rows, columns, 3, 3) the same light in all channels of the camera, for the red,
    green and blue picture; 1 is as bright as the camera can show. unsure_light: (rows, columns)
    cells whose light says little: as bright as the camera can show, lit or dark, or unsteady.
    swing: (rows, columns) the difference of on and off in the pictures of the code, 1 is the wall's
    median, NaN unknown: what tells dark from lit.
    flicker: (rows, columns) variation of a cell's light from frame to frame while it should be
    steady, as a share of its light, beyond the wall's median; NaN unknown.
    still: (h, w, 3) sRGB, the sharpest frame with all on. outline: where the cells are in it.
    notes: what to do better in the next film, and what was assumed.
    """

    display: Display
    column: Ints
    row: Ints
    confidence: Floats
    why: tuple[str, ...]
    number: Ints
    light: Floats
    hues: Floats
    unsure_light: Bools
    swing: Floats
    flicker: Floats
    still: Srgb
    outline: Outline
    notes: tuple[str, ...] = ()

    @property
    def certain(self) -> Bools:
        """(N,) LEDs of which the place, or that they are dark, is certain."""
        return np.array([not reason for reason in self.why], dtype=np.bool_)
