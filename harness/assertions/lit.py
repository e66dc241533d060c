"""Which cells are lit, and how bright the wall is."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools
from emulator.bench import Bench, led_light
from emulator.errors import PictureError
from emulator.picture.srgb import LUMINANCE
from harness.assertions.failure import CourseFailure, PictureFailure, place_of
from harness.assertions.latched import latched_frames, shown_now
from harness.result.course import Course

__tracebackhide__ = True  # a failure points to the line of the test

_BLOCK = 1024  # frames in one go


def assert_lit(
    bench: Bench, cells: int | Bools | Iterable[tuple[int, int]], above: float = 0.0
) -> None:
    """Fail unless exactly these cells are lit now.

    cells: how many; or which, as bool (rows, columns) or as (column, row) of each. above: linear
    light, 0…1; a cell is lit if a colour exceeds it. Raise it above the light of a background. Gap
    cells are never lit. Raises AssertionError, and PictureError for cells without an LED.
    """
    display, shown = bench.display, shown_now(bench)
    lit: Bools = shown.max(axis=-1) > above
    if isinstance(cells, int):
        if int(lit.sum()) != cells:
            message = f"{_cells(lit)} lit; expected {cells}"
            raise PictureFailure(message, display, [("shown", shown)])
        return
    meant = _mask(bench, cells)
    differs = meant != lit
    if not differs.any():
        return
    row, column = (int(v) for v in np.argwhere(differs)[0])
    is_lit = "lit, and should be dark" if lit[row, column] else "dark, and should be lit"
    raise PictureFailure.of_difference(
        f"{_cells(meant & ~lit)} dark that should be lit,"
        f" {int((lit & ~meant).sum())} lit that should be dark; the first is"
        f" {place_of(display, column, row)}: {is_lit}",
        display,
        np.repeat(meant[..., None], 3, axis=-1).astype(np.float32),
        (shown * lit[..., None]).astype(np.float32),
        differs,
        (column, row),
    )


def assert_dark(bench: Bench) -> None:
    """Fail unless every LED is dark now, as after the end of a show. Raises AssertionError."""
    display, shown = bench.display, shown_now(bench)
    lit = shown.max(axis=-1) > 0
    if not lit.any():
        return
    row, column = (int(v) for v in np.argwhere(lit)[0])
    message = f"{_cells(lit)} still lit; the first is {place_of(display, column, row)}"
    raise PictureFailure(message, display, [("shown", shown)], cell=(column, row))


def assert_brightness(
    bench: Bench, *, at_most: float | None = None, at_least: float | None = None
) -> None:
    """Fail unless the brightness of every frame latched so far is within these limits.

    Brightness is the mean relative luminance of the LEDs, with the weights of sRGB (IEC 61966-2-1):
    0 is dark, 1 is every channel of every LED at full drive. None sets no limit. Raises
    AssertionError, which names the worst frame.
    """
    bright = _brightness(bench)
    times_s = bench.recorder.times_ns / 1e9
    if at_most is not None and (bright > at_most).any():
        worst, over = int(bright.argmax()), int((bright > at_most).sum())
        limits = ((at_most, f"at most {at_most:g}"),)
        raise CourseFailure(
            f"{over} of {len(bright)} frames are brighter than {at_most:g}; the brightest is"
            f" {bright[worst]:.3f}, frame {worst} at {times_s[worst]:.3f} s",
            bench.display,
            Course("brightness", "share of full", times_s, bright, limits, worst),
        )
    if at_least is not None and (bright < at_least).any():
        worst, under = int(bright.argmin()), int((bright < at_least).sum())
        limits = ((at_least, f"at least {at_least:g}"),)
        raise CourseFailure(
            f"{under} of {len(bright)} frames are darker than {at_least:g}; the darkest is"
            f" {bright[worst]:.3f}, frame {worst} at {times_s[worst]:.3f} s",
            bench.display,
            Course("brightness", "share of full", times_s, bright, limits, worst),
        )


def _brightness(bench: Bench) -> NDArray[np.float64]:
    """(T,) of each frame, 0…1. Raises AssertionError if there is none."""
    frames, channels = latched_frames(bench), bench.display.chip.channels
    full = 2.0 if channels == "RGBW" else 1.0  # led_light adds W to each of R, G and B
    placed = bench.display.wiring.placed
    means = [
        (led_light(frames[begin : begin + _BLOCK, placed], channels) @ LUMINANCE).mean(axis=-1)
        for begin in range(0, len(frames), _BLOCK)
    ]
    return np.concatenate(means).astype(np.float64) / full


def _cells(mask: Bools) -> str:
    count = int(mask.sum())
    return f"{count} cell{'s' * (count != 1)}"


def _mask(bench: Bench, cells: Bools | Iterable[tuple[int, int]]) -> Bools:
    """bool (rows, columns), True for the cells named. Raises PictureError for one without LED."""
    display = bench.display
    shape = display.picture_shape[:2]
    if isinstance(cells, np.ndarray) and cells.dtype == np.bool_:
        if cells.shape != shape:
            raise PictureError(
                f"a mask of shape {cells.shape} does not fit '{display.name}'",
                fix=f"give bool of shape (rows, columns) = {shape}.",
            )
        return cells & ~display.gap
    mask = np.zeros(shape, dtype=np.bool_)
    for column, row in cells:
        if not (0 <= column < shape[1] and 0 <= row < shape[0]) or display.gap[row, column]:
            raise PictureError(
                f"'{display.name}' has no LED in column {column}, row {row}",
                fix=f"give (column, row), columns from 0 to {shape[1] - 1} and rows from 0"
                f" to {shape[0] - 1}, outside the gaps.",
            )
        mask[row, column] = True
    return mask
