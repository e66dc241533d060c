"""Where things are in the window: the wall with its cells, the instruments, the strip below."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum, auto

import pygame

from emulator.description.display import Display
from emulator.light.wall import Part
from emulator.view.zoom import Zoom
from emulator.window.style import LEAST_WIDE, MARGIN, STRIP_HIGH

SIDE_WIDE, SIDE_HIGH = 212, 300  # of the instruments beside the wall: exact width, least height
# Heights of the instruments in order: one line; with a bar, words or both below it.
GAUGE_HIGHS = (46, 30, 46, 36, 20, 20, 36, 20)
GAUGE_WIDE, GAUGE_APART = 150, 24  # of each instrument below the wall, at least
_LEAST_WALL = 0.7  # share of the wall's width that the instruments must leave


class Place(Enum):
    """Where the instruments are: beside the wall, below it, or nowhere."""

    BESIDE = auto()
    BELOW = auto()
    NOWHERE = auto()


@dataclass(frozen=True)
class Layout:
    """Rectangles in pixels of the window; the wall keeps its proportions, centred on the stage.

    wall: what is seen of it. full: all of it, which reaches beyond the stage if zoomed. stage: all
    but strip and instruments. room: the stage without its margins, the most that is seen. scale:
    pixels for one of a screen of usual density.
    """

    window: tuple[int, int]
    stage: pygame.Rect
    room: pygame.Rect
    wall: pygame.Rect
    full: pygame.Rect
    strip: pygame.Rect
    instruments: pygame.Rect
    place: Place
    columns: int
    rows: int
    scale: float = 1.0

    @property
    def margins(self) -> tuple[pygame.Rect, ...]:
        """What of the stage lies above, below, left and right of the wall."""
        stage, wall = self.stage, self.wall
        return (
            pygame.Rect(stage.left, stage.top, stage.width, wall.top - stage.top),
            pygame.Rect(stage.left, wall.bottom, stage.width, stage.bottom - wall.bottom),
            pygame.Rect(stage.left, wall.top, wall.left - stage.left, wall.height),
            pygame.Rect(wall.right, wall.top, stage.right - wall.right, wall.height),
        )

    @classmethod
    def fit(
        cls,
        display: Display,
        window: tuple[int, int],
        scale: float = 1.0,
        instruments: bool = True,
    ) -> Layout:
        """The layout of a window of (width, height) pixels with the wall as large as possible.

        Instruments that would take too much room are left out.
        """
        places = [Place.NOWHERE]
        if instruments:
            places += [Place.BESIDE, Place.BELOW]
        alone, *beside = (cls._placed(display, window, scale, place) for place in places)
        fitting = [each for each in beside if each._leaves_enough(alone)]
        return max(fitting, key=lambda each: each.wall.width) if fitting else alone

    @classmethod
    def _placed(
        cls, display: Display, window: tuple[int, int], scale: float, place: Place
    ) -> Layout:
        strip_high = round(STRIP_HIGH * scale)
        strip = pygame.Rect(0, window[1] - strip_high, window[0], strip_high)
        side, below = _room(place, window[0], scale)
        stage = pygame.Rect(0, 0, max(window[0] - side, 1), max(strip.top - below, 1))
        around = pygame.Rect(
            stage.right if side else 0,
            stage.bottom if below else 0,
            side or window[0],
            below or strip.top,
        )
        margin = round(MARGIN * scale)
        wide, high = max(stage.width - 2 * margin, 1), max(stage.height - 2 * margin, 1)
        room = pygame.Rect(0, 0, wide, high)
        room.center = (stage.width // 2, margin + high // 2)
        tall = tallness(display)
        wall = pygame.Rect(0, 0, min(wide, max(int(high / tall), 1)), 0)
        wall.height = max(min(round(wall.width * tall), high), 1)
        wall.center = room.center
        if place is Place.NOWHERE:
            around.size = (0, 0)
        grid = display.grid
        return cls(
            window, stage, room, wall, wall.copy(), strip, around, place,
            grid.columns, grid.rows, scale,
        )  # fmt: skip

    def zoomed(self, zoom: Zoom) -> Layout:
        """The layout of the whole wall, zoomed. No empty space where there could be wall."""
        if zoom.factor == 1:
            return self
        room = self.room
        full = pygame.Rect(
            0, 0, round(self.wall.width * zoom.factor), round(self.wall.height * zoom.factor)
        )
        full.left = room.centerx - round(zoom.x * full.width)
        full.top = room.centery - round(zoom.y * full.height)
        full.left = max(min(full.left, room.left), room.right - full.width)
        full.top = max(min(full.top, room.top), room.bottom - full.height)
        if full.width <= room.width:
            full.centerx = self.wall.centerx
        if full.height <= room.height:
            full.centery = self.wall.centery
        return replace(self, full=full, wall=full.clip(room))

    def in_sight(self, zoom: Zoom, by: tuple[int, int] = (0, 0)) -> Zoom:
        """The zoom with what is in the middle here; by: so many pixels right of it and below."""
        x, y = self.share_at((self.room.centerx + by[0], self.room.centery + by[1]))
        return replace(zoom, x=x, y=y)

    def share_at(self, at: tuple[int, int]) -> tuple[float, float]:
        """A place in the window as shares of the wall."""
        full = self.full
        return (at[0] - full.left) / full.width, (at[1] - full.top) / full.height

    @property
    def part(self) -> Part:
        """What is seen of the wall."""
        left, top = self.wall.left - self.full.left, self.wall.top - self.full.top
        return Part(self.full.size, left, top, *self.wall.size)

    def _leaves_enough(self, alone: Layout) -> bool:
        room = self.instruments
        if self.place is Place.BESIDE and room.height < round(SIDE_HIGH * self.scale):
            return False
        if room.width < self.px(GAUGE_WIDE + 2 * MARGIN):
            return False
        return self.wall.width >= _LEAST_WALL * alone.wall.width

    def px(self, measure: float) -> int:
        """Pixels of this window for a length on a screen of usual density; at least 1."""
        return max(round(measure * self.scale), 1)

    @property
    def cell_size(self) -> tuple[float, float]:
        """(width, height) of a cell in pixels."""
        return self.full.width / self.columns, self.full.height / self.rows

    def centre(self, column: float, row: float) -> tuple[float, float]:
        """Middle of a cell, from the top-left corner of what is seen of the wall."""
        wide, high = self.cell_size
        left, top = self.wall.left - self.full.left, self.wall.top - self.full.top
        return (column + 0.5) * wide - left, (row + 0.5) * high - top

    def cell(self, column: int, row: int) -> pygame.Rect:
        """A cell in the window."""
        wide, high = self.cell_size
        left, top = round(column * wide), round(row * high)
        right, bottom = round((column + 1) * wide), round((row + 1) * high)
        return pygame.Rect(
            self.full.left + left, self.full.top + top, max(right - left, 1), max(bottom - top, 1)
        )

    def cell_at(self, at: tuple[int, int]) -> tuple[int, int] | None:
        """(column, row) of the cell at a place in the window; None outside what is seen of the
        wall."""
        if not self.wall.collidepoint(at):
            return None
        x, y = at[0] - self.full.left, at[1] - self.full.top
        return (  # of the pixel's middle
            (2 * x + 1) * self.columns // (2 * self.full.width),
            (2 * y + 1) * self.rows // (2 * self.full.height),
        )


def gauge_columns(wide: int, scale: float) -> int:
    """How many instruments fit side by side in a row `wide` pixels across."""
    room, apart = wide / scale - 2 * MARGIN + GAUGE_APART, GAUGE_WIDE + GAUGE_APART
    count = len(GAUGE_HIGHS)
    fit = min(max(int(room / apart), 1), count)
    return -(-count // -(-count // fit))  # so that rows are as even as possible


def gauge_rows(columns: int) -> list[int]:
    """Height of each row: that of its highest instrument, and the space below it."""
    starts = range(0, len(GAUGE_HIGHS), columns)
    return [max(GAUGE_HIGHS[start : start + columns]) + GAUGE_APART // 2 for start in starts]


def _room(place: Place, wide: int, scale: float) -> tuple[int, int]:
    """(width, height) of the instruments in a window `wide` pixels across."""
    if place is Place.BESIDE:
        return round(SIDE_WIDE * scale), 0
    if place is Place.BELOW:
        return 0, round((sum(gauge_rows(gauge_columns(wide, scale))) + MARGIN) * scale)
    return 0, 0


def tallness(display: Display) -> float:
    """Height of the wall divided by its width."""
    grid = display.grid
    across_mm, down_mm = grid.pitches_mm
    return (grid.rows * down_mm) / (grid.columns * across_mm)


def first_size(
    display: Display,
    pixels_wide: int,
    most: tuple[int, int] | None = None,
    scale: float = 1.0,
) -> tuple[int, int]:
    """(width, height) of a window for a wall `pixels_wide` × scale across, with instruments.

    It is at most `most`.
    """
    best: tuple[int, tuple[int, int]] | None = None
    for place in (Place.BESIDE, Place.BELOW, Place.NOWHERE):
        size = _size_around(display, pixels_wide, most, scale, place)
        layout = Layout.fit(display, size, scale)
        if layout.place is place and (best is None or layout.wall.width > best[0]):
            best = layout.wall.width, size
    return best[1] if best else _size_around(display, pixels_wide, most, scale, Place.NOWHERE)


def _size_around(
    display: Display,
    pixels_wide: int,
    most: tuple[int, int] | None,
    scale: float,
    place: Place,
) -> tuple[int, int]:
    tall, margins = tallness(display), 2 * round(MARGIN * scale)
    wide = round(pixels_wide * scale)
    strip_high, least_wide = round(STRIP_HIGH * scale), round(LEAST_WIDE * scale)
    side, below = _room(place, max(wide + margins, least_wide), scale)
    if most is not None:
        room_high = most[1] - margins - strip_high - below
        wide = max(min(wide, most[0] - margins - side, int(room_high / tall)), 1)
        least_wide = min(least_wide, most[0])
    high = max(math.ceil(wide * tall - 1e-9), 1) + margins + strip_high + below
    return max(wide + margins + side, least_wide), high
