"""LED numbers written over the cells of a drawn wall: which, how large, in light or dark ink."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from emulator.picture.srgb import srgb_to_linear

LEAST_PX, MOST_PX = 9, 22  # smallest legible and largest unobtrusive digits, judged by eye
_RUN_PX = 11  # if only the first LED of a run gets its number
_DIGIT_WIDTH = 0.6  # of the size in px; bold sans digits, by eye

# Black and white ink have the same contrast on a ground of this relative luminance: (Y + 0.05)/0.05
# = 1.05/(Y + 0.05) (WCAG 2.2, contrast ratio).
EVEN_LUMINANCE = float(np.sqrt(1.05 * 0.05) - 0.05)
_LUMINANCE = srgb_to_linear(np.arange(256) / 255)


class Number(NamedTuple):
    """An LED's number along its line, to be drawn in the middle of its cell."""

    column: int
    row: int
    text: str


def led_numbers(
    display: Display, cell_wide: float, cell_high: float
) -> tuple[int, tuple[Number, ...]]:
    """The size of the digits in pixels, and the numbers; for cells of a size in pixels.

    Every LED with a cell has its number. If those would be too small to read, only the first of
    each run has one, and only if it does not touch another number.
    """
    wiring = display.wiring
    digits = len(str(max(wiring.line_lengths) - 1))
    size = min(0.82 * cell_wide / (digits * _DIGIT_WIDTH), 0.62 * cell_high, MOST_PX)
    if size >= LEAST_PX:
        shown = wiring.without_hidden
        every = zip(shown.column.tolist(), shown.row.tolist(), shown.led.tolist(), strict=True)
        return int(size), tuple(Number(column, row, str(led)) for column, row, led in every)
    kept: list[Number] = []
    apart_x, apart_y = (digits + 0.5) * _DIGIT_WIDTH * _RUN_PX, 1.1 * _RUN_PX
    for run in wiring.runs:
        if all(
            abs(run.from_column - other.column) * cell_wide >= apart_x
            or abs(run.from_row - other.row) * cell_high >= apart_y
            for other in kept
        ):
            at = int(wiring.led_at[run.from_row, run.from_column])
            first = run.first if at < 0 else int(wiring.led[at])  # hidden ones may come before
            kept.append(Number(run.from_column, run.from_row, str(first)))
    return _RUN_PX, tuple(kept)


def wants_dark_ink(ground: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """bool (…): whether black has more contrast than white on sRGB grounds (…, 3).

    Relative luminance as WCAG 2.2 defines it (the weights of IEC 61966-2-1).
    """
    red, green, blue = (_LUMINANCE[ground[..., channel]] for channel in range(3))
    return np.asarray(0.2126 * red + 0.7152 * green + 0.0722 * blue > EVEN_LUMINANCE)
