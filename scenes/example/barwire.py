"""The bytes of the sign for a controller of our own: its index map, order of channels and levels.

This is the part of display code in which mistakes hide until everything is soldered. The tests
hold it against the wiring that barsign.toml describes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

import emulator
from emulator.canvas import limit_current

COLUMNS, ROWS = 23, 11
CHIP = emulator.chip("WS2812B-V5")
ORDER = [1, 0, 2]  # it takes green, red, blue
MOST_A = 4.5  # the supply gives 6 A

# sRGB code value → share of full light → drive (IEC 61966-2-1)
_VALUES = np.arange(256) / 255
_LIGHT = np.where(_VALUES <= 0.04045, _VALUES / 12.92, ((_VALUES + 0.055) / 1.055) ** 2.4)
LEVELS = np.round(255 * _LIGHT).astype(np.uint8)


def cells() -> NDArray[np.int64]:
    """The cell of each LED in the order of the data: row · COLUMNS + column.

    One strip, up and down the rows from the top left: every second row runs backwards.
    """
    grid = np.arange(ROWS * COLUMNS).reshape(ROWS, COLUMNS)
    grid[1::2] = grid[1::2, ::-1]
    return grid.ravel()


def to_wire(picture: NDArray[np.uint8]) -> bytes:
    """A picture (rows, columns, 3) sRGB as the bytes that go down the strip."""
    drives = LEVELS[picture].reshape(-1, 3)[cells()]
    return limit_current(drives, CHIP, MOST_A)[:, ORDER].tobytes()
