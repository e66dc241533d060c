"""A current limit over time that does not pump with every flash."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes
from emulator.canvas.current import current_a, dark_a, refuse_below_dark, scale_to
from emulator.description.chips import Chip

# From here up to 1 the release counts as over: it changes no 8-bit drive by half a step.
_RELEASED = 1 - 1 / 512
RELEASE_NS = 1_500_000_000  # time to recover two thirds of the scale; our choice


@dataclass(frozen=True)
class LimiterState:
    """For the next call: the scale 0…1 of the last frame and its time (None: no frame yet)."""

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

    Attack: at once. It scales the frame that draws too much itself, so that no frame exceeds the
    limit. Release: slow. The difference to 1 shrinks as e^(−t/release), so that short flashes do
    not make the rest pump. It works a stack at a time, or frame by frame with real hardware: give
    the state of one call to the next.

    times_ns: int64 (T,), when each frame is shown, in order. Raises ValueError if the dark LEDs
    take the limit or more, if times go backwards or are not one a frame, if the limit is not a
    finite number, or if release_ns is not above 0.
    """
    state = state or LimiterState()
    before_ns = times_ns[:1] if state.time_ns is None else [state.time_ns]
    waited_ns = np.diff(times_ns, prepend=before_ns)
    if drives.ndim != 3 or len(times_ns) != len(drives) or (waited_ns < 0).any():
        raise ValueError("give a stack (T, N, C) of frames, and T times that do not fall")
    if not np.isfinite(limit_a) or release_ns <= 0:
        raise ValueError(f"a limit of {limit_a} A and a release of {release_ns} ns cannot be kept")
    if not len(drives):
        return drives, state
    leds = drives.shape[-2]
    refuse_below_dark(leds, chip, limit_a)
    lit_a = current_a(drives, chip) - dark_a(leds, chip)
    allowed = (limit_a - dark_a(leds, chip)) / np.maximum(lit_a, 1e-12)
    missing = np.exp(-waited_ns / release_ns)
    scale = state.scale
    scales = np.empty(len(drives))
    for number, (most, still) in enumerate(zip(allowed.tolist(), missing.tolist(), strict=True)):
        climbed = 1 - (1 - scale) * still
        scales[number] = scale = min(most, climbed if climbed < _RELEASED else 1.0)
    cut = np.flatnonzero((scales < 1) & (lit_a > 0))
    limited = drives.copy()
    frame_a = np.minimum(limit_a, dark_a(leds, chip) + scales[cut] * lit_a[cut])
    limited[cut] = scale_to(drives[cut], chip, frame_a)
    return limited, LimiterState(scale, int(times_ns[-1]))
