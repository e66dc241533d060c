"""The current that drives draw, and frames scaled down to keep a limit.

A frame that draws too much is scaled, and its drives become whole numbers again. Without the
fractions, up to half of a dim frame's light would be lost. So they are spread as in ordered
dithering: a drive is rounded up if its fraction is above the LED's own threshold. All thresholds of
a frame move together until the current is used up. All channels of an LED share its threshold, so
greys stay grey. The thresholds are evenly spread, so each channel keeps its share. They do not
change with time, so a still picture stays still.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Floats
from emulator.description.chips import Chip

_GOLDEN = (5**0.5 - 1) / 2  # its multiples modulo 1 are spread evenly, however many (Weyl)
_NEVER = np.float32(-1)  # a key below those of all drives that may be rounded up
_LONG = 1 << 15  # in rows of this length or more np.partition is faster than sorting
_HAIR = 1 - 1e-6  # below the exact scale, so that float32 cannot lift a drive over its exact value


def current_a(drives: Bytes, chip: Chip) -> Floats:
    """Estimated current of drives (…, N, C): shape (…), in amperes.

    Every LED takes its dark current, and each channel takes its full current in proportion to its
    drive (PWM duty). The figures are the catalogue's. Voltage drop makes the true current lower.
    """
    leds = drives.shape[-2]
    duty = _steps(drives, chip) / (255 * (31 if chip.channels == "RGBI" else 1))
    return np.asarray((duty * chip.channel_ma + leds * chip.dark_ma) / 1000)


def dark_a(leds: int, chip: Chip) -> float:
    """Current of `leds` dark LEDs, in amperes."""
    return leds * chip.dark_ma / 1000


def limit_current(drives: Bytes, chip: Chip, limit_a: float) -> Bytes:
    """Drives (T, N, C) or (N, C), each frame scaled down so that it takes at most `limit_a`.

    Returns frames under the limit unchanged. Raises ValueError if the dark LEDs take more than
    the limit.
    """
    refuse_below_dark(drives.shape[-2], chip, limit_a)
    stack = drives[None] if drives.ndim == 2 else drives
    asked = current_a(stack, chip)
    over = np.flatnonzero(asked > limit_a)
    if not over.size:
        return drives
    limited = stack.copy()
    limited[over] = scale_to(stack[over], chip, np.full(over.size, limit_a))
    return limited[0] if drives.ndim == 2 else limited


def refuse_below_dark(leds: int, chip: Chip, limit_a: float) -> None:
    """Raise ValueError if the dark LEDs take the limit or more."""
    if limit_a <= dark_a(leds, chip):
        raise ValueError(
            f"the dark LEDs take {dark_a(leds, chip):.2f} A; a limit of {limit_a} A cannot be kept"
        )


def scale_to(drives: Bytes, chip: Chip, most_a: Floats) -> Bytes:
    """Drives (T, N, C) scaled down to use `most_a` (T,) amperes, never more.

    Each frame must ask for more than that, and dark LEDs for less. The unused current of a frame is
    less than that of one LED with all its channels at one drive step.
    """
    frames, leds, channels = drives.shape
    common = chip.channels == "RGBI"
    lit = channels - common
    # Counted in drive steps, with a common intensity in 1/31 of one. Whole numbers are exact.
    a_step = chip.channel_ma / 1000 / 255 / (31 if common else 1)
    most = np.floor((most_a - dark_a(leds, chip)) / a_step * (1 - 1e-12)).astype(np.int64)
    scale = most / _steps(drives, chip) * _HAIR
    # Channels in one row: numpy is slow over short axes.
    asked = drives[..., :lit].reshape(frames, leds * lit)
    keys = asked * scale.astype(np.float32)[:, None]
    limited = keys.astype(np.uint8)  # the cast drops the fraction
    left = most - _steps(_with_intensity(limited, drives), chip)
    keys -= limited
    keys -= _thresholds(leds, lit)
    keys -= asked == 0  # a drive of 0 gets a key below _NEVER; all others lost a fraction
    weight = np.repeat(drives[..., 3], lit, axis=1) if common else None
    limited += keys > _first_left_out(keys, left, weight)
    return _with_intensity(limited, drives)


@lru_cache(maxsize=8)
def _thresholds(leds: int, lit: int) -> NDArray[np.float32]:
    """(leds · lit,) the threshold of each LED, repeated for each of its channels."""
    threshold = ((np.arange(leds) + 0.5) * _GOLDEN % 1).astype(np.float32)
    channels: NDArray[np.float32] = np.repeat(threshold, lit)
    channels.flags.writeable = False  # the cache keeps it for the next frame
    return channels


def _with_intensity(limited: Bytes, drives: Bytes) -> Bytes:
    """Drives (T, N, C) with the lit channels of `limited` (T, N·c): all C, or all except I."""
    frames, leds, channels = drives.shape
    lit = limited.shape[1] // leds
    rows = limited.reshape(frames, leds, lit)
    return rows if lit == channels else np.concatenate([rows, drives[..., lit:]], axis=-1)


def _first_left_out(
    keys: NDArray[np.float32], room: NDArray[np.int64], weight: Bytes | None
) -> NDArray[np.float32]:
    """(T, 1) the largest of the keys (T, K) that no longer fits into the room (T,) of each frame.

    weight: (T, K) steps that each key takes; None: 1 each.
    """
    size = keys.shape[1]
    if weight is None and size > _LONG:
        at = (size - 1 - np.minimum(room, size - 1)).tolist()
        nth = [np.partition(row, n)[n] for row, n in zip(keys, at, strict=True)]
        first, count = np.array(nth, dtype=np.float32)[:, None], room
    else:
        if weight is None:
            order = np.sort(keys, axis=1)[:, ::-1]
            count = room
        else:
            number = np.argsort(-keys, axis=1, kind="stable")
            order = np.take_along_axis(keys, number, axis=1)
            taken = np.take_along_axis(weight, number, axis=1).cumsum(axis=1, dtype=np.int64)
            count = (taken <= room[:, None]).sum(axis=1)
        first = np.take_along_axis(order, np.minimum(count, size - 1)[:, None], axis=1)
    return np.where(count[:, None] < size, np.maximum(first, _NEVER), _NEVER)


def _steps(drives: Bytes, chip: Chip) -> NDArray[np.int64]:
    """Sum (…) of the drives (…, N, C) of each frame; with I, of drive times intensity."""
    if chip.channels == "RGBI":
        lit = drives[..., :3].sum(axis=-1, dtype=np.int64)
        return np.asarray((lit * drives[..., 3]).sum(axis=-1))
    *stack, leds, channels = drives.shape
    # In 32 bits where the sum fits: twice as fast.
    kind = np.uint32 if leds * channels < 1 << 24 else np.int64
    steps = drives.reshape(*stack, leds * channels).sum(axis=-1, dtype=kind)
    return np.asarray(steps, dtype=np.int64)
