"""Levels between two drives, shown by alternating between them from frame to frame.

The fraction of a level, rounded to sixteenths, says in how many of 16 frames an LED shows the
higher drive. So the mean of the frames is within 1/32 of a drive step. Bit reversal (0 8 4 12 2 …)
gives the order of the frames, so that the higher drives are evenly spaced. Each LED has its own
place in that order, by the 4 × 4 matrix of ordered dithering [1]. So neighbours do not blink
together, and each block of 4 × 4 cells has the right mean in every frame.

The price is flicker. The smallest fraction, a sixteenth, comes once in 16 frames: at 30 frames/s
it blinks about twice a second, by one drive step. On levels of 20 and more that is 5 % or less and
hard to see. The lowest levels, up to about 4, visibly twinkle in the dark unless frames come fast:
16 × 50 = 800 frames/s would fuse, since the eye fuses at about 50 Hz (common practice, no source).
A level of 0, and every whole drive, does not change. Dithering needs frames: to dither a still
picture, send it again and again.

[1] B. E. Bayer, An optimum method for two-level rendition of continuous-tone pictures, IEEE
ICC 1973, from memory. The matrix follows from its recursion D(2n) = 4 D(n) + (0 2 / 3 1).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display

FRAMES = 16  # after so many the order repeats

_BAYER = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]])
_REVERSED = np.array([int(f"{n:04b}"[::-1], 2) for n in range(FRAMES)])


def dither(
    levels: NDArray[np.floating], offsets: NDArray[np.integer], first_frame: int = 0
) -> NDArray[np.uint8]:
    """Drives (…, N, C) uint8 for levels (…, N, C), float in drive steps 0…255.

    levels: one frame (N, C), or a stack (T, N, C) of frames shown one after the other.
    offsets: (N,) 0…15, each LED's place in the order (`led_offsets`). first_frame: the number of
    the first frame, counted from any start. All channels of an LED have the same place, so that
    its colour does not flicker more than its light.
    """
    frames = first_frame + np.arange(len(levels) if levels.ndim == 3 else 1)
    order = _REVERSED[frames % FRAMES][:, None] ^ offsets  # a permutation of 0…15 in 16 frames
    threshold = ((order + 0.5) / FRAMES).astype(np.float32)
    stepped = levels + threshold.reshape(*levels.shape[:-1], 1)
    drives: NDArray[np.uint8] = stepped.astype(np.uint8)  # the cast drops the fraction
    return drives


def led_offsets(display: Display) -> NDArray[np.integer]:
    """(N,) the place 0…15 of each LED in the order of dithering, by the cell it sits in."""
    row, column = display.wiring.row, display.wiring.column
    offsets: NDArray[np.integer] = _BAYER[row % 4, column % 4]
    return offsets
