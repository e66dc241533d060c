"""A clock: hours over minutes in warm light, and a bar that fills through the minute.

It starts at half past seven, when the doors of the house open.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from scenes.lettering import place, text_cells

OPENING_S = 19 * 3600 + 30 * 60
WARM = np.array([255, 170, 90], dtype=np.float64)


def picture(time_s: float, display: Display) -> NDArray[np.uint8]:
    """sRGB picture (rows, columns, 3): the time of day `time_s` after opening."""
    rows, columns, _ = display.picture_shape
    second = int(OPENING_S + time_s) % 86400
    hours, minutes = f"{second // 3600:02d}", f"{second // 60 % 60:02d}"
    one_row = text_cells(f"{hours}:{minutes}")
    wall = np.zeros((rows, columns), dtype=bool)
    if one_row.shape[1] <= columns:
        top = max((rows - one_row.shape[0] - 2) // 2, 0)
        wall |= place(one_row, rows, columns, top, (columns - one_row.shape[1]) // 2)
    else:
        for number, text in enumerate((hours, minutes)):
            cells = text_cells(text)
            top = rows // 2 + (1 if number else -cells.shape[0] - 1)
            wall |= place(cells, rows, columns, top, (columns - cells.shape[1]) // 2)
    shown = wall[..., None] * WARM
    passed = (second % 60 + time_s % 1) / 60 * columns
    bar = np.clip(passed - np.arange(columns), 0, 1)
    shown[-1] = np.maximum(shown[-1], bar[:, None] * np.array([40, 90, 160]))
    return shown.round().astype(np.uint8)
