"""From a picture to the bytes on the wire: the same steps for the stand-in and for hardware.

The steps, in order: judge the picture, transfer curve (sRGB to linear light, since an LED's
light is linear in its drive), pick each LED's cell, white channel, current limit, wire order.
Each is a pure function of arrays and takes one picture or a stack with a leading time axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.chips import Chip
from emulator.description.display import Display
from emulator.errors import PictureError
from emulator.signal.framing import frame_bytes

Bytes = NDArray[np.uint8]


def srgb_to_linear(value: ArrayLike) -> NDArray[np.float64]:
    """sRGB value 0…1 to linear light 0…1, any shape (IEC 61966-2-1)."""
    v = np.asarray(value, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(light: ArrayLike) -> NDArray[np.float64]:
    """Linear light to sRGB value 0…1, any shape; light above 1 is cut off (IEC 61966-2-1)."""
    v = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0)
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * v ** (1 / 2.4) - 0.055)


# Nearer to 1 than this the release is over: it could not change an 8-bit drive by half a step.
_RELEASED = 1 - 1 / 512
RELEASE_NS = 1_500_000_000  # climbs two thirds of the way back in this time; our choice

_DRIVE_OF_SRGB: Bytes = np.round(255 * srgb_to_linear(np.arange(256) / 255)).astype(np.uint8)


def check_picture(picture: ArrayLike, display: Display) -> NDArray[np.generic]:
    """The picture as an array (…, rows, columns, 3) of uint8 (sRGB) or floats (linear, 0…1).

    Raises PictureError naming what was found, what the display needs and how to mend it.
    """
    try:
        array = np.asarray(picture)
    except ValueError:  # lists of unlike lengths
        array = np.empty(0)
    shape = display.picture_shape
    if array.shape[-3:] != shape or array.ndim not in (3, 4):
        hint = ""
        if array.shape[-3:] == (shape[1], shape[0], 3):
            hint = " Columns and rows are exchanged: the first axis is the rows."
        elif array.shape[-2:] == shape[:2]:
            hint = " The colour axis is missing: stack red, green and blue last."
        raise PictureError(
            f"a picture of shape {array.shape} does not fit '{display.name}':"
            f" it needs (rows, columns, 3) = {shape}\n  To mend: resize it to that shape.{hint}"
        )
    if array.dtype == np.uint8:
        return array
    if array.dtype.kind != "f":
        mend = "picture.astype(np.uint8), if its values are 0 to 255"
        if array.dtype == np.bool_:
            mend = "picture.astype(np.uint8) * 255"
        raise PictureError(
            f"a picture of dtype {array.dtype}: it needs uint8 (sRGB, 0 to 255) or a float dtype"
            f" (linear light, 0 to 1)\n  To mend: {mend}."
        )
    bad = ~((array >= 0) & (array <= 1))  # NaN fails both
    if bad.any():
        place = tuple(int(i) for i in np.argwhere(bad)[0])
        raise PictureError(
            f"a float picture must hold linear light from 0 to 1, but is {array[place]} at"
            f" {place} and wrong in {int(bad.sum())} places\n"
            "  To mend: np.clip(np.nan_to_num(picture), 0, 1), or divide by 255 first."
        )
    return array


def to_drives(picture: ArrayLike, display: Display) -> Bytes:
    """Drives (…, N, C) of each LED in the order R G B, then W or I (chip.channels).

    picture: (…, rows, columns, 3) uint8 sRGB, or float linear 0…1. A white channel takes what
    red, green and blue have in common; a common intensity is sent at its full 31.
    Raises PictureError.
    """
    array = check_picture(picture, display)
    lead = array.shape[:-3]
    flat = array.reshape(*lead, -1, 3)
    picked = np.take(flat, display.wiring.cell, axis=-2)
    if picked.dtype == np.uint8:
        rgb = _DRIVE_OF_SRGB[picked]
    else:
        rgb = np.round(picked * 255).astype(np.uint8)
    channels = display.chip.channels
    if channels == "RGB":
        return rgb
    drives = np.empty((*rgb.shape[:-1], 4), dtype=np.uint8)
    drives[..., 3] = rgb.min(axis=-1) if channels == "RGBW" else 31
    drives[..., :3] = rgb - drives[..., 3:] if channels == "RGBW" else rgb
    return drives


def to_wire(drives: Bytes, display: Display) -> list[Bytes]:
    """Bytes (…, B) each line sends for drives (…, N, C), with the chip's own framing."""
    ordered = drives[..., display.chip.to_wire]
    ends = (*display.wiring.line_starts[1:], len(display.wiring))
    parts = [ordered[..., a:b, :] for a, b in zip(display.wiring.line_starts, ends, strict=True)]
    if drives.ndim == 2:
        return [frame_bytes(part, display.chip) for part in parts]
    return [np.stack([frame_bytes(leds, display.chip) for leds in part]) for part in parts]


def line_bytes(display: Display) -> tuple[int, ...]:
    """Bytes of a whole frame on each line, with the chip's own framing."""
    per_led = display.chip.bytes_per_led
    dark = [np.zeros((leds, per_led), np.uint8) for leds in display.wiring.line_lengths]
    return tuple(frame_bytes(leds, display.chip).size for leds in dark)


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


@dataclass(frozen=True)
class LimiterState:
    """Carry-over: the scale 0…1 of the last frame, and when it was shown (None: no frame yet)."""

    scale: float = 1.0
    time_ns: int | None = None


def limit_smoothly(
    drives: Bytes,
    chip: Chip,
    limit_a: float,
    times_ns: NDArray[np.int64],
    state: LimiterState | None = None,
    release_ns: int = RELEASE_NS,
) -> tuple[Bytes, LimiterState]:
    """Drives (T, N, C) scaled to at most `limit_a` each, without pumping, and the next state.

    Attack: at once. The frame that asks too much is itself scaled, so that none exceeds the
    limit. Release: slow. What is missing from 1 shrinks as e^(−t/release), so that short flashes
    do not make everything else breathe. Works a stack at a time, or frame by frame with real
    hardware: the state of one call is given to the next.

    times_ns: (T,) when each frame is shown, not falling. Raises ValueError when the LEDs take
    more than the limit with everything dark, when times fall or there is not one a frame, when
    the limit is no number, or release_ns is not above 0.
    """
    state = state or LimiterState()
    all_ns = times_ns if state.time_ns is None else np.concatenate([[state.time_ns], times_ns])
    if drives.ndim != 3 or len(times_ns) != len(drives) or (np.diff(all_ns) < 0).any():
        raise ValueError("give a stack (T, N, C) of frames, and T times that do not fall")
    if not np.isfinite(limit_a) or release_ns <= 0:
        raise ValueError(f"a limit of {limit_a} A and a release of {release_ns} ns cannot be kept")
    if not len(drives):
        return drives, state
    limit_current(drives[0], chip, limit_a)  # raises where no frame could keep the limit
    dark_a = drives.shape[-2] * chip.dark_ma / 1000
    lit_a = current_a(drives, chip) - dark_a
    allowed = np.minimum(1, (limit_a - dark_a) / np.maximum(lit_a, 1e-12))
    scale, before_ns = state.scale, state.time_ns
    limited = drives.copy()
    for number, (most, now_ns) in enumerate(zip(allowed.tolist(), times_ns.tolist(), strict=True)):
        waited_ns = 0 if before_ns is None else now_ns - before_ns
        climbed = 1 - (1 - scale) * float(np.exp(-waited_ns / release_ns))
        scale = min(most, climbed if climbed < _RELEASED else 1.0)
        before_ns = now_ns
        if scale < 1 and lit_a[number] > 0:
            frame_a = min(limit_a, dark_a + scale * float(lit_a[number]))
            limited[number] = limit_current(drives[number], chip, frame_a)
    return limited, LimiterState(scale, before_ns)


class Canvas:
    """All steps in a row for one display, with the limiter's memory from frame to frame."""

    def __init__(self, display: Display) -> None:
        self._display = display
        self._limiter = LimiterState()

    def wire(self, picture: ArrayLike, now_ns: int) -> list[Bytes]:
        """Bytes (B,) of each line for one picture (rows, columns, 3), sent at `now_ns`.

        Dimmed where it would ask for more than the display file's `limit_a`. Raises PictureError.
        """
        display = self._display
        single = check_picture(picture, display)
        if single.ndim != 3:
            raise PictureError(
                "send takes one picture, not a stack\n  To mend: loop over the stack."
            )
        drives = to_drives(single, display)
        if display.power.limit_a is not None:
            times_ns = np.array([now_ns])
            stack, self._limiter = limit_smoothly(
                drives[None], display.chip, display.power.limit_a, times_ns, self._limiter
            )
            drives = stack[0]
        return to_wire(drives, display)
