"""A slow aurora: curtains of green and violet light drifting over the wall."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display


def picture(time_s: float, display: Display) -> NDArray[np.float32]:
    """Linear light (rows, columns, 3) at a time; repeats after about eleven minutes."""
    rows, columns, _ = display.picture_shape
    across = np.linspace(0, 1, columns)[None, :]
    down = np.linspace(0, 1, rows)[:, None]
    t = time_s
    fold = across * 5 + 0.9 * np.sin(across * 7 + t * 0.31) + 0.5 * np.sin(across * 13 - t * 0.23)
    lower_edge = 0.62 + 0.16 * np.sin(fold * 1.7 + t * 0.17) + 0.07 * np.sin(fold * 4.1 - t * 0.29)
    height_above = lower_edge - down
    curtain = np.exp(np.where(height_above > 0, -3.2 * height_above, -((height_above / 0.05) ** 2)))
    rays = 0.55 + 0.45 * np.sin(fold * 6.3 + t * 0.7) * np.sin(fold * 2.3 - t * 0.4)
    light = curtain * rays
    high = np.clip(height_above * 1.8, 0, 1)
    red = 0.40 * light * high
    green = 0.75 * light * (1 - 0.75 * high)
    blue = 0.14 * light + 0.45 * light * high + 0.012 * (1 - down)
    return np.stack(np.broadcast_arrays(red, green, blue), axis=-1).clip(0, 1).astype(np.float32)
