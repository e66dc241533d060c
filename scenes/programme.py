"""The next performances as moving text over a dim evening sky."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from scenes.lettering import place, text_cells

PERFORMANCES = (
    "Thu 19:30  The Glass Harbour",
    "Fri 20:00  Three Lamps",
    "Sat 15:00  The Paper Fox",
    "Sun 18:00  Night Ferry",
)
CELLS_PER_S = 9.0


def picture(time_s: float, display: Display) -> NDArray[np.uint8]:
    """sRGB picture (rows, columns, 3)."""
    rows, columns, _ = display.picture_shape
    text = text_cells("   *   ".join(PERFORMANCES))
    sky = np.linspace(0, 1, rows)[:, None, None] * np.array([26, 6, 34]) + np.array([4, 4, 18])
    shown = np.broadcast_to(sky, (rows, columns, 3)).copy()
    travel = text.shape[1] + columns
    left = columns - int(time_s * CELLS_PER_S) % travel
    lit = place(text, rows, columns, (rows - text.shape[0]) // 2, left)
    shown[lit] = (255, 214, 150)
    return shown.round().astype(np.uint8)
