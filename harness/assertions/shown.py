"""What the wall shows now, against a colour, a picture, or a picture stored beside the test."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageColor

from emulator.arrays import Light
from emulator.bench import Bench
from emulator.canvas import check_picture, meant_light
from emulator.description.display import Display
from emulator.errors import PictureError
from emulator.light.still import png
from emulator.picture.srgb import linear_to_srgb, srgb_to_linear
from emulator.signal.framing import has_seven_bits
from harness.assertions.failure import PictureFailure, hexadecimal, place_of
from harness.assertions.latched import shown_now
from harness.assertions.runningtest import RunningTest

__tracebackhide__ = True  # a failure points to the line of the test


def assert_shows(bench: Bench, expected: ArrayLike, tolerance: int = 2) -> None:
    """Fail unless the display shows a picture now.

    expected: (rows, columns, 3), uint8 sRGB or float linear light 0…1, as you give it to the
    display: the assertion applies the [canvas] of the display file. tolerance: how far a channel
    may be off, in code values of sRGB (0 to 255), beyond the rounding to a whole drive. Gap cells
    are not compared.

    Raises AssertionError with what was expected, what is shown and where they differ;
    PictureError if `expected` does not fit the display.
    """
    array = check_picture(expected, bench.display)
    if array.ndim != 3:
        raise PictureError(
            "a wall shows one picture, not a stack", fix="give one, or use assert_sequence."
        )
    _compare(bench, meant_light(array, bench.display), tolerance)


def assert_cell(
    bench: Bench, column: int, row: int, colour: str | Sequence[int], tolerance: int = 2
) -> None:
    """Fail unless one cell shows a colour now.

    column, row: from 0, from the top left. colour: '#ff8000', a name of CSS such as 'orange', or
    (red, green, blue) of sRGB, 0 to 255; the assertion applies the [canvas] of the display file.
    tolerance: as in assert_shows. Raises AssertionError; PictureError for a cell outside the grid
    or without an LED, and for an invalid colour.
    """
    display = bench.display
    rows, columns, _ = display.picture_shape
    if not (0 <= column < columns and 0 <= row < rows) or display.gap[row, column]:
        raise PictureError(
            f"'{display.name}' has no LED in column {column}, row {row}",
            fix=f"name a column from 0 to {columns - 1} and a row from 0 to {rows - 1},"
            " outside the gaps.",
        )
    picture = np.full(display.picture_shape, _codes(colour), dtype=np.uint8)
    meant, shown = meant_light(picture, display)[row, column], shown_now(bench)
    if _differs(meant, shown[row, column], tolerance, display).any():
        raise PictureFailure(
            f"{place_of(display, column, row)}: expected {hexadecimal(meant)}, shown"
            f" {hexadecimal(shown[row, column])}",
            display,
            [("shown", shown)],
            cell=(column, row),
        )


def assert_picture(bench: Bench, name: str, tolerance: int = 2) -> None:
    """Fail unless the display shows the picture in `pictures/<test module>/<name>.png` now.

    The file is beside the test, sRGB with one pixel for each cell; `pytest --foreglow-update`
    writes it from what is shown. Without it the assertion fails. tolerance: as in assert_shows.
    Raises AssertionError; ForeglowError outside a test that pytest runs.
    """
    test = RunningTest.now()
    path = test.path(name, ".png")
    display, shown = bench.display, shown_now(bench)
    codes = np.round(255 * linear_to_srgb(shown)).astype(np.uint8)
    stored = _read(path)
    if test.update:
        if stored is None or not np.array_equal(stored, codes):
            test.write(path, png(Image.fromarray(codes)))
        return
    fix = f"  To store what is shown: {test.command}"
    if stored is None:
        why = "cannot be read" if path.exists() else "does not exist yet"
        message = f"the picture {test.told(path)} {why}\n{fix}"
        raise PictureFailure(message, display, [("shown", shown)])
    if stored.shape != codes.shape:
        high, wide, _ = stored.shape
        message = (
            f"the picture {test.told(path)} has {wide} × {high} cells, '{display.name}' has"
            f" {codes.shape[1]} × {codes.shape[0]}\n{fix}"
        )
        raise PictureFailure(message, display, [("shown", shown)])
    meant = srgb_to_linear(stored / 255).astype(np.float32)
    _compare(bench, meant, tolerance, f"not the picture {test.told(path)}\n{fix}\n")


def _compare(bench: Bench, meant: Light, tolerance: int, about: str = "") -> None:
    """Raise a PictureFailure if cells differ by more than the tolerance."""
    display, shown = bench.display, shown_now(bench)
    differs = _differs(meant, shown, tolerance, display) & ~display.gap
    if not differs.any():
        return
    row, column = (int(v) for v in np.argwhere(differs)[0])
    raise PictureFailure.of_difference(
        f"{about}{int(differs.sum())} of {display.leds} cells differ; the first is"
        f" {place_of(display, column, row)}: expected {hexadecimal(meant[row, column])},"
        f" shown {hexadecimal(shown[row, column])}",
        display,
        meant,
        shown,
        differs,
        (column, row),
    )


def _differs(meant: Light, shown: Light, tolerance: int, display: Display) -> NDArray[np.bool_]:
    """(…) whether linear light (…, 3) differs by more than a tolerance in code values of sRGB."""
    # A drive is a whole number: half a step (a whole one if dithered) is rounding, not a fault. 7
    # bits of level take one more, since the drive is rounded to them afterwards.
    step = ((1.0 if display.canvas.dither else 0.5) + has_seven_bits(display.chip)) / 255
    off = np.abs(255 * linear_to_srgb(shown) - 255 * linear_to_srgb(meant)) > tolerance
    differs: NDArray[np.bool_] = (off & (np.abs(shown - meant) > step)).any(axis=-1)
    return differs


def _codes(colour: str | Sequence[int]) -> tuple[int, ...]:
    """A colour as three code values. Raises PictureError."""
    try:
        codes = ImageColor.getrgb(colour)[:3] if isinstance(colour, str) else tuple(colour)
        if len(codes) != 3 or any(not 0 <= code <= 255 or code != int(code) for code in codes):
            raise ValueError
    except (TypeError, ValueError):
        raise PictureError(
            f"{colour!r} is not a valid colour",
            fix="give '#rrggbb', a name of CSS, or red, green and blue from 0 to 255.",
        ) from None
    return codes


def _read(path: object) -> NDArray[np.uint8] | None:
    """Pixels (rows, columns, 3) of a stored picture; None if it cannot be read."""
    try:
        with Image.open(str(path)) as image:
            return np.asarray(image.convert("RGB"))
    except (OSError, ValueError, SyntaxError):  # Pillow raises all of these for a broken file
        return None
