"""The current that drives ask for, and frames scaled down to keep a limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Chip

Bytes = NDArray[np.uint8]


def current_a(drives: Bytes, chip: Chip) -> NDArray[np.float64]:
    """Estimated current of drives (…, N, C): shape (…), in amperes.

    Every LED takes its dark current, and each channel its full current in proportion to its
    drive (PWM duty). The catalogue's figures; voltage drop lowers the true current.
    """
    leds = drives.shape[-2]
    if chip.channels == "RGBI":
        duty = (drives[..., :3].sum(axis=-1, dtype=np.int64) * drives[..., 3]).sum(axis=-1) / 31
    else:
        duty = drives.reshape(*drives.shape[:-2], -1).sum(axis=-1, dtype=np.int64)
    return np.asarray((duty / 255 * chip.channel_ma + leds * chip.dark_ma) / 1000)


def limit_current(drives: Bytes, chip: Chip, limit_a: float) -> Bytes:
    """Drives (T, N, C) or (N, C), each frame scaled down so that it takes at most `limit_a`.

    Frames under the limit are returned as they are. Raises ValueError when the LEDs take more
    than the limit with everything dark.
    """
    dark_a = drives.shape[-2] * chip.dark_ma / 1000
    if limit_a <= dark_a:
        raise ValueError(
            f"the LEDs take {dark_a:.2f} A in the dark; a limit of {limit_a} A cannot be kept"
        )
    if drives.ndim == 2:
        one: Bytes = limit_current(drives[None], chip, limit_a)[0]
        return one
    asked = current_a(drives, chip)
    over = asked > limit_a
    if not over.any():
        return drives
    # A hair less than exact, so that rounding to float32 cannot lift a channel over its floor.
    scale = (limit_a - dark_a) / (asked[over] - dark_a) * (1 - 1e-6)
    dims = 3 if chip.channels == "RGBI" else drives.shape[-1]
    limited = drives.copy()
    scaled = drives[over][..., :dims] * scale[:, None, None].astype(np.float32)
    limited[over, :, :dims] = scaled  # the cast drops the fraction
    return limited
