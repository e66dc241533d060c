"""A clock in warm light, and a bar that fills through the minute.

It starts at half past seven, when the doors of the house open.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from scenes.lettering import place, text_cells

OPENING_S = 19 * 3600 + 30 * 60
WARM = np.array([255, 170, 90], dtype=np.float64)
SPACE = 2  # rows between texts that stand on each other


def picture(time_s: float, display: Display) -> NDArray[np.uint8]:
    """sRGB picture (rows, columns, 3): the time of day `time_s` after opening.

    In one text where the wall is wide enough, else stacked; where neither fits, hours and
    minutes take turns.
    """
    rows, columns, _ = display.picture_shape
    second = int(OPENING_S + time_s) % 86400
    hours, minutes = f"{second // 3600:02d}", f"{second // 60 % 60:02d}"
    layouts = ([f"{hours}:{minutes}"], [hours, minutes], [*hours, *minutes])
    turns = [minutes if second % 4 >= 2 else hours]
    texts = next((layout for layout in layouts if _fits(layout, rows, columns)), turns)
    cells = [text_cells(text) for text in texts]
    top = max((rows - sum(len(c) + SPACE for c in cells) + SPACE) // 2, 0)
    wall = np.zeros((rows, columns), dtype=bool)
    for text in cells:
        wall |= place(text, rows, columns, top, (columns - text.shape[1]) // 2)
        top += len(text) + SPACE
    shown = wall[..., None] * WARM
    passed = (second % 60 + time_s % 1) / 60 * columns
    bar = np.clip(passed - np.arange(columns), 0, 1)
    shown[-1] = np.maximum(shown[-1], bar[:, None] * np.array([40, 90, 160]))
    return shown.round().astype(np.uint8)


def _fits(texts: list[str], rows: int, columns: int) -> bool:
    cells = [text_cells(text) for text in texts]
    high = sum(len(c) + SPACE for c in cells)
    return high <= rows and all(c.shape[1] <= columns for c in cells)
