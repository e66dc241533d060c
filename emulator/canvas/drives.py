"""From pictures to drives: the light of each channel of each LED, in 8 bits."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Bytes
from emulator.canvas.dither import dither, led_offsets
from emulator.canvas.meant import full_light, light_of_value
from emulator.description.canvas import Curve
from emulator.description.display import Display
from emulator.picture.check import check_picture
from emulator.signal.framing import has_seven_bits, nearest_of_seven_bits

_T = TypeVar("_T", bound=np.generic)


def to_drives(picture: ArrayLike, display: Display, first_frame: int = 0) -> Bytes:
    """Drives, uint8 (…, N, C), of each LED in the order R G B, then W or I (chip.channels).

    picture: (…, rows, columns, 3) uint8 code values, or float linear light 0…1; the frames of a
    stack are shown one after the other. first_frame: the number of the first frame, for a display
    that dithers; without dithering it has no effect. A white channel takes what red, green and
    blue have in common. A common intensity is sent as 31, the highest. Raises PictureError.
    """
    array = check_picture(picture, display)
    picked = display.wiring.per_led(array)
    curve, full = display.canvas.curve, tuple(full_light(display).tolist())
    if display.canvas.dither:
        rgb = dither(_levels(picked, curve, full), led_offsets(display), first_frame)
    elif picked.dtype == np.uint8:  # a table gives the same drives, much faster
        rgb = _through(_drive_of_value(curve, full), picked)
    else:
        rgb = np.round(_levels(picked, curve, full)).astype(np.uint8)
    drives = _channels(rgb, display.chip.channels)
    return nearest_of_seven_bits(drives) if has_seven_bits(display.chip) else drives


def _levels(picked: NDArray[Any], curve: Curve, full: tuple[float, ...]) -> NDArray[np.floating]:
    """Levels (…, N, 3) in drive steps 0…255, with fractions."""
    if picked.dtype == np.uint8:
        return _through(_level_of_value(curve, full), picked)
    levels: NDArray[np.floating] = picked * (255 * np.array(full)).astype(picked.dtype)
    return levels


@lru_cache(maxsize=8)
def _level_of_value(curve: Curve, full: tuple[float, ...]) -> NDArray[np.float64]:
    """(256, 3) the level in drive steps of each code value in red, green, blue."""
    table: NDArray[np.float64] = 255 * light_of_value(curve)[:, None] * np.array(full)
    table.flags.writeable = False  # the cache keeps it for the next picture
    return table


@lru_cache(maxsize=8)
def _drive_of_value(curve: Curve, full: tuple[float, ...]) -> Bytes:
    """(256, 3) the same, rounded to drives."""
    table: Bytes = np.round(_level_of_value(curve, full)).astype(np.uint8)
    table.flags.writeable = False
    return table


def _through(table: NDArray[_T], picked: Bytes) -> NDArray[_T]:
    """Each value replaced by that of its channel in a table (256, 3)."""
    if (table == table[:, :1]).all():
        return np.take(table[:, 0], picked)
    return table[picked, np.arange(3)]


def _channels(rgb: Bytes, channels: str) -> Bytes:
    """Drives (…, N, C) for the channels of a chip from red, green and blue."""
    if channels == "RGB":
        return rgb
    drives = np.empty((*rgb.shape[:-1], 4), dtype=np.uint8)
    drives[..., 3] = rgb.min(axis=-1) if channels == "RGBW" else 31
    drives[..., :3] = rgb - drives[..., 3:] if channels == "RGBW" else rgb
    return drives
