"""Assertions on what a display shows, that print small pictures when they fail."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.bench import Bench
from emulator.canvas import check_picture, linear_to_srgb, srgb_to_linear
from harness.report.picture import letter_picture

_MOST_WIDE = 120


def assert_shows(bench: Bench, expected: ArrayLike, tolerance: int = 2) -> None:
    """Fail unless the display shows a picture now.

    expected: (rows, columns, 3), uint8 sRGB or float linear light. tolerance: how far a channel
    may be off, in code values of sRGB (0 to 255); 2 allows for the rounding of linear drives in
    all but the darkest levels. Gap cells are not compared.

    Raises AssertionError with what was expected, what is shown and where they differ;
    PictureError when `expected` does not fit the display.
    """
    display = bench.display
    wanted = check_picture(expected, display)
    light = srgb_to_linear(wanted.astype(float) / 255) if wanted.dtype == np.uint8 else wanted
    meant = np.asarray(light, dtype=np.float32)
    shown = bench.picture
    step = 0.5 / 255  # a drive is a whole number: half a step is rounding, not a fault
    off = np.abs(255 * linear_to_srgb(shown) - 255 * linear_to_srgb(meant)) > tolerance
    differs = (off & (np.abs(shown - meant) > step)).any(axis=-1) & ~display.gap
    if not differs.any():
        return
    row, column = (int(v) for v in np.argwhere(differs)[0])
    led = int(display.wiring.led_at[row, column])
    line, number = int(display.wiring.line[led]), int(display.wiring.led[led])
    raise AssertionError(
        f"{int(differs.sum())} of {display.leds} cells differ; the first is column {column},"
        f" row {row} (line {line}, LED {number}): expected {_hex(meant[row, column])},"
        f" shown {_hex(shown[row, column])}\n\n"
        + _side_by_side(
            ("expected", letter_picture(meant, display.gap)),
            ("shown", letter_picture(shown, display.gap)),
            ("different", ["".join(".X"[int(d)] for d in line) for line in differs]),
        )
        + "\n(r g b y c m w: colours, capitals bright; . dark; space: a gap)"
    )


def _side_by_side(*pictures: tuple[str, list[str]]) -> str:
    width = max(len(pictures[0][1][0]), max(len(title) for title, _ in pictures))
    if len(pictures) * (width + 2) > _MOST_WIDE:
        return "\n".join(line for title, rows in pictures for line in (title, *rows))
    lines = zip(*([title, *rows] for title, rows in pictures), strict=True)
    return "\n".join("  ".join(part.ljust(width) for part in line).rstrip() for line in lines)


def _hex(light: NDArray[np.float32]) -> str:
    red, green, blue = (int(v) for v in np.round(255 * linear_to_srgb(light)))
    return f"#{red:02x}{green:02x}{blue:02x}"
