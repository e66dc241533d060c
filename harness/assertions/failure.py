"""Failed assertions on what a wall shows: the message, and the pictures or the course to draw."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.arrays import Bools, Light
from emulator.description.display import Display
from emulator.picture.srgb import linear_to_srgb, srgb_to_linear
from harness.report.picture import letter_picture
from harness.result.course import Course

_MOST_WIDE = 120  # letters in a line of a terminal or a CI log
_LEAST_SEEN = 0.4  # sRGB: how bright the smallest difference is drawn


class PictureFailure(AssertionError):
    """The wall does not show what was expected; the message ends with the pictures as letters.

    display: the display under test. pictures: (label, linear light (rows, columns, 3)) of each, for
    files. differs: (rows, columns), True for the cells to mark with X in the last picture.
    cell: (column, row) of the cell that the message names, to mark in the pictures; or None.
    """

    def __init__(
        self,
        message: str,
        display: Display,
        pictures: Sequence[tuple[str, Light]],
        differs: Bools | None = None,
        cell: tuple[int, int] | None = None,
    ) -> None:
        self.display = display
        self.pictures = tuple(pictures)
        self.cell = cell
        letters = [(label, letter_picture(light, display.gap)) for label, light in pictures]
        if differs is not None:
            marks = ["".join(".X"[int(d)] for d in line) for line in differs]
            letters[-1] = (letters[-1][0], marks)
        key = "\n(r g b y c m w: colours, capitals bright; . dark; space: a gap)"
        super().__init__(f"{message}\n\n{_side_by_side(letters)}{key}")

    @classmethod
    def of_difference(
        cls,
        message: str,
        display: Display,
        expected: Light,
        shown: Light,
        differs: Bools,
        cell: tuple[int, int] | None = None,
    ) -> PictureFailure:
        """Two pictures of linear light (rows, columns, 3) that differ in some cells."""
        off = np.abs(linear_to_srgb(expected) - linear_to_srgb(shown))
        seen = np.where(off > 0, np.maximum(off, _LEAST_SEEN), 0) * differs[..., None]
        difference = srgb_to_linear(seen).astype(np.float32)
        pictures = [("expected", expected), ("shown", shown), ("different", difference)]
        return cls(message, display, pictures, differs, cell)


class CourseFailure(AssertionError):
    """Something over time is not as expected.

    display: the display under test. course: what was measured. cell: (column, row) of the cell that
    the message names; or None.
    """

    def __init__(
        self,
        message: str,
        display: Display,
        course: Course,
        cell: tuple[int, int] | None = None,
    ) -> None:
        self.display = display
        self.course = course
        self.cell = cell
        super().__init__(message)


def place_of(display: Display, column: int, row: int) -> str:
    """Where a cell is, in words: its column and row, its line and LED."""
    led = int(display.wiring.led_at[row, column])
    line, number = int(display.wiring.line[led]), int(display.wiring.led[led])
    return f"column {column}, row {row} (line {line}, LED {number})"


def hexadecimal(light: Light) -> str:
    """A colour (3,) of linear light as #rrggbb."""
    red, green, blue = (int(v) for v in np.round(255 * linear_to_srgb(light)))
    return f"#{red:02x}{green:02x}{blue:02x}"


def _side_by_side(pictures: Sequence[tuple[str, list[str]]]) -> str:
    width = max(len(pictures[0][1][0]), max(len(title) for title, _ in pictures))
    if len(pictures) * (width + 2) > _MOST_WIDE:
        return "\n".join(line for title, rows in pictures for line in (title, *rows))
    lines = zip(*([title, *rows] for title, rows in pictures), strict=True)
    return "\n".join("  ".join(part.ljust(width) for part in line).rstrip() for line in lines)
