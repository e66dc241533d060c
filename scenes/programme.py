"""The next performances as moving text over a dim evening sky."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.display import Display
from emulator.picture.smallfont import HEIGHT
from emulator.picture.source import Source
from emulator.picture.text import Text

PERFORMANCES = (
    "Thu 19:30  The Glass Harbour",
    "Fri 20:00  Three Lamps",
    "Sat 15:00  The Paper Fox",
    "Sun 18:00  Night Ferry",
)


def sky(time_s: float, display: Display) -> NDArray[np.uint8]:
    """sRGB picture (rows, columns, 3): darker above."""
    rows, columns, _ = display.picture_shape
    shade = np.linspace(0, 1, rows)[:, None, None] * np.array([26, 6, 34]) + np.array([4, 4, 18])
    return np.broadcast_to(shade.round().astype(np.uint8), (rows, columns, 3))


def over_sky(text: str, cells_per_s: float) -> Source:
    """Moving text over the sky; the sky alone on a wall of fewer rows than small letters have."""
    moving = Text(text, cells_per_s=cells_per_s, ground=sky)

    def shown(time_s: float, display: Display) -> ArrayLike:
        return (moving if display.grid.rows >= HEIGHT else sky)(time_s, display)

    return shown


picture = over_sky("   *   ".join(PERFORMANCES), cells_per_s=9.0)
