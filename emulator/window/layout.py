"""Where things are in the window: the wall with its cells, and the strip below it."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from emulator.description.display import Display
from emulator.window.style import LEAST_WIDE, MARGIN, STRIP_HIGH


@dataclass(frozen=True)
class Layout:
    """Rectangles in window pixels; the wall keeps its proportions and sits in the middle."""

    window: tuple[int, int]
    wall: pygame.Rect
    strip: pygame.Rect
    columns: int
    rows: int

    @classmethod
    def fit(cls, display: Display, window: tuple[int, int]) -> Layout:
        """The largest wall that fits a window of (width, height) pixels."""
        wide, high = max(window[0] - 2 * MARGIN, 1), max(window[1] - 2 * MARGIN - STRIP_HIGH, 1)
        tall = tallness(display)
        wall = pygame.Rect(0, 0, min(wide, max(int(high / tall), 1)), 0)
        wall.height = max(min(round(wall.width * tall), high), 1)
        wall.center = (window[0] // 2, MARGIN + high // 2)
        strip = pygame.Rect(0, window[1] - STRIP_HIGH, window[0], STRIP_HIGH)
        return cls(window, wall, strip, display.grid.columns, display.grid.rows)

    @property
    def cell_size(self) -> tuple[float, float]:
        """(width, height) of a cell in pixels."""
        return self.wall.width / self.columns, self.wall.height / self.rows

    def centre(self, column: float, row: float) -> tuple[float, float]:
        """Middle of a cell, from the wall's top-left corner."""
        wide, high = self.cell_size
        return (column + 0.5) * wide, (row + 0.5) * high

    def cell(self, column: int, row: int) -> pygame.Rect:
        """A cell in the window."""
        wide, high = self.cell_size
        left, top = round(column * wide), round(row * high)
        right, bottom = round((column + 1) * wide), round((row + 1) * high)
        return pygame.Rect(
            self.wall.left + left, self.wall.top + top, max(right - left, 1), max(bottom - top, 1)
        )

    def cell_at(self, at: tuple[int, int]) -> tuple[int, int] | None:
        """(column, row) of the cell at a place in the window, None beside the wall."""
        if not self.wall.collidepoint(at):
            return None
        x, y = at[0] - self.wall.left, at[1] - self.wall.top
        return (  # of the pixel's middle
            (2 * x + 1) * self.columns // (2 * self.wall.width),
            (2 * y + 1) * self.rows // (2 * self.wall.height),
        )


def tallness(display: Display) -> float:
    """Height of the wall over its width."""
    grid = display.grid
    across_mm, down_mm = grid.pitches_mm
    return (grid.rows * down_mm) / (grid.columns * across_mm)


def first_size(
    display: Display, pixels_wide: int, most: tuple[int, int] | None = None
) -> tuple[int, int]:
    """(width, height) of a window for a wall `pixels_wide` across, or as large as `most` allows."""
    wide, tall = pixels_wide, tallness(display)
    if most is not None:
        room_high = most[1] - 2 * MARGIN - STRIP_HIGH
        wide = max(min(wide, most[0] - 2 * MARGIN, int(room_high / tall)), 1)
    return max(wide + 2 * MARGIN, LEAST_WIDE), max(round(wide * tall), 1) + 2 * MARGIN + STRIP_HIGH
