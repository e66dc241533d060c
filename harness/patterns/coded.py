"""The coded pattern: a few pictures that identify the cell which each LED shows.

Picture 0 lights every cell, picture 1 none. Each further picture shows one bit of the cell's
number in the binary-reflected Gray code [1]; cells with an LED are numbered from 0, row by row. So
N LEDs take ceil(log2 N) + 2 pictures. Gap cells are lit in both of the first two pictures and dark
in all others: an LED that shows this reads a gap cell.

[1] F. Gray, Pulse Code Communication, US patent 2632058, 1953: neighbours differ in one bit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.errors import PictureError

NEVER_LIT, ALWAYS_LIT, READS_GAP, UNCLEAR = -1, -2, -3, -4

# Shares of an LED's own range, from its darkest to its brightest: lit above the first, dark below
# the second. In between it shows a mixture, not the code of a cell.
_LIT, _DARK = 0.5, 0.15
# Shares of the brightest LED: a smaller range cannot be read; light that never changes is a lit LED
# beyond this share, and below it only a leak.
_RANGE, _FLOOR = 0.01, 0.05
# A black brighter than this share of the brightest LED counts as light.
_BLACK = 0.25


def coded_steps(leds: int) -> int:
    """The number of pictures for `leds` LEDs: ceil(log2 leds) + 2."""
    return max(leds - 1, 0).bit_length() + 2


def coded_masks(gap: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The pictures: bool (T, rows, columns), True where the cell is lit.

    gap: (rows, columns) bool, True where there is no LED. T is coded_steps of the other cells.
    """
    held = ~gap
    count = int(held.sum())
    ordinal = np.arange(count)
    gray = ordinal ^ (ordinal >> 1)
    masks = np.zeros((coded_steps(count), *gap.shape), dtype=bool)
    masks[0] = True
    masks[1] = gap
    masks[2:, held] = (gray >> np.arange(len(masks) - 2)[:, None]) & 1
    return masks


def read_codes(levels: ArrayLike, gap: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Which cell each LED shows, from its light in each picture of the pattern.

    levels: float (T, N), any unit, any N. gap: (rows, columns) bool as given to coded_masks.
    Returns int64 (N,): the flat cell number row · columns + column, or NEVER_LIT, ALWAYS_LIT,
    READS_GAP, UNCLEAR (a mixture, or a code that no cell has).

    Each LED is compared with its own darkest and brightest picture. So dim, tinted and one-channel
    LEDs are read like the others, and a lifted black does not matter. Dimming of a whole frame
    (gamma, brightness, a limiter) is removed first. An LED is lit above half of its range and dark
    below 15 % of it. One whose light hardly changes is always lit, or never lit if it shows less
    than 5 % of the brightest LED above the common black. On a wall of one LED there is no code
    picture: lit twice then means ALWAYS_LIT.

    Raises PictureError if levels are not (T, N), or not finite numbers of at least 0.
    """
    light = np.asarray(levels, dtype=np.float64)
    cells = np.flatnonzero(~gap)
    steps = coded_steps(len(cells))
    if light.ndim != 2 or light.shape[0] != steps:
        raise PictureError(
            f"the levels of the coded pattern have shape {light.shape}; {len(cells)} LEDs take "
            f"{steps} pictures, so the shape must be ({steps}, LEDs)",
            fix="give one row for each picture of coded_masks, in its order.",
        )
    wrong = ~(light >= 0) | np.isinf(light)
    if wrong.any():
        step, led = (int(i) for i in np.argwhere(wrong)[0])
        raise PictureError(
            f"the level of LED {led} in picture {step} is {light[step, led]}; light is 0 or more",
            fix="give finite numbers of at least 0.",
        )
    if light.shape[1] == 0:
        return np.zeros(0, dtype=np.int64)
    black = np.median(light[1])
    if black < _BLACK * light.max():
        light = np.maximum(light - black, 0)
    light = light / _frame_scale(light)[:, None]
    darkest, brightest = light.min(axis=0), light.max(axis=0)
    most, size = brightest.max(), brightest - darkest
    changes = (size > _RANGE * most) & (size > _DARK * brightest)
    share = (light - darkest) / np.where(changes, size, 1.0)
    lit = share > _LIT
    mixed = ((share > _DARK) & ~lit).any(axis=0)
    number = _from_gray(lit[2:])
    coded = lit[2:].any(axis=0)
    source = np.full(light.shape[1], UNCLEAR, dtype=np.int64)
    reads = lit[0] & ~lit[1] & (number < len(cells))
    source[reads] = cells[number[reads]]
    source[lit[0] & lit[1] & ~coded] = READS_GAP
    source[mixed] = UNCLEAR
    always = light.mean(axis=0) > _FLOOR * most
    source[~changes] = np.where(always, ALWAYS_LIT, NEVER_LIT)[~changes]
    return source


def _frame_scale(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """(T,) light of lit LEDs in each frame, as a share of the all-on frame (a limiter dims)."""
    on = light[0] > _RANGE * light[0].max()
    scale = np.ones(len(light))
    for step, ratio in enumerate(light[:, on] / light[0, on]):
        lit = ratio[ratio > _LIT]
        if lit.size:
            scale[step] = np.median(lit)
    return scale


def _from_gray(bits: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Numbers (N,) from their Gray code, bits (B, N), the lowest bit first."""
    number = np.zeros(bits.shape[1], dtype=np.int64)
    above = np.zeros(bits.shape[1], dtype=bool)
    for place in range(len(bits) - 1, -1, -1):
        above = above ^ bits[place]
        number |= above.astype(np.int64) << place
    return number
