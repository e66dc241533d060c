"""The next performances as moving text over a dim evening sky."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
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


picture = Text("   *   ".join(PERFORMANCES), cells_per_s=9.0, ground=sky)
