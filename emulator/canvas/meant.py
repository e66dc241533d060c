"""The light that a picture means on a display, before rounding to 8 bits and the current limit.

The checks and assertions compare a display with this light: `[canvas]` gives the brightness, the
white and the curve that any code must use.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Light
from emulator.description.canvas import Curve
from emulator.description.display import Display
from emulator.picture.check import check_picture
from emulator.picture.curve import value_to_light


def full_light(display: Display) -> NDArray[np.float64]:
    """(3,) linear light of full white in red, green, blue: white balance times brightness."""
    settings = display.canvas
    return np.array(settings.white) * settings.brightness


def meant_light(picture: ArrayLike, display: Display) -> Light:
    """Linear light, float32 (…, rows, columns, 3), that each cell should show; gaps are dark.

    picture: (…, rows, columns, 3), uint8 code values or float linear light 0…1. 1 is a channel
    at full drive. The light shown differs by the rounding to 8 bits (half a drive step, or a
    whole one with dithering) and by the current limit. Raises PictureError.
    """
    array = check_picture(picture, display)
    if array.dtype == np.uint8:
        array = light_of_value(display.canvas.curve)[array]
    light: Light = (array * full_light(display)).astype(np.float32)
    light[..., display.gap, :] = 0
    return light


@lru_cache(maxsize=8)
def light_of_value(curve: Curve) -> NDArray[np.float64]:
    """(256,) linear light of each code value; do not write to it."""
    table = value_to_light(np.arange(256) / 255, curve)
    table.flags.writeable = False  # the cache keeps it for the next picture
    return table
