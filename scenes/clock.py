"""A clock in warm light, and a bar that fills through the minute.

It starts at half past seven, when the doors of the house open, whatever the time is: a demo
looks the same each time. For the time it is, play `emulator.picture.dial.Dial()`.
"""

from __future__ import annotations

import numpy as np

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.picture.dial import WARM, digits
from emulator.picture.source import light_of
from emulator.picture.text import inked

OPENING_S = 19 * 3600 + 30 * 60
BAR = np.array((40, 90, 160), dtype=np.uint8)


def picture(time_s: float, display: Display) -> Light:
    """Linear light (rows, columns, 3): the time of day `time_s` after opening."""
    second = OPENING_S + time_s
    shown = inked(digits(second, display), WARM, (0, 0, 0), time_s, display)
    columns = display.grid.columns
    passed = second % 60 / 60 * columns
    bar = np.clip(passed - np.arange(columns), 0, 1).astype(np.float32)
    shown[-1] = np.maximum(shown[-1], bar[:, None] * light_of(BAR))
    return shown
