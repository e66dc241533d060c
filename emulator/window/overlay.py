"""Drawn over the wall: LED numbers, and the path of the data along the LEDs."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.description.display import Display
from emulator.light.numbers import led_numbers, wants_dark_ink
from emulator.view.colours import LINE_COLOURS
from emulator.window.layout import Layout
from emulator.window.style import rendered

_BLACK, _WHITE = (0, 0, 0), (255, 255, 255)
_CASING = (8, 9, 11, 215)  # round the path, so that it stands out on a lit wall
_FAINT = 130  # of 255
_FINE = 3  # the path is drawn so many times as large, then scaled down smoothly

Point = tuple[float, float]


class Numbers:
    """LED numbers of one display at one size, ready to draw on a picture of its wall."""

    def __init__(self, display: Display, layout: Layout) -> None:
        wide, high = layout.cell_size
        size, numbers = led_numbers(display, wide / layout.scale, high / layout.scale)
        size = layout.px(size)
        wall = layout.wall
        every = [(number, layout.centre(number.column, number.row)) for number in numbers]
        seen = [(n, (x, y)) for n, (x, y) in every if 0 <= x < wall.width and 0 <= y < wall.height]
        centres = np.array([centre for _, centre in seen]).reshape(-1, 2).astype(np.int64)
        self._x = np.clip(centres[:, 0], 0, wall.width - 1)
        self._y = np.clip(centres[:, 1], 0, wall.height - 1)
        inked: dict[str, tuple[pygame.Surface, pygame.Surface]] = {}
        self._placed: list[tuple[pygame.Surface, pygame.Surface, tuple[int, int]]] = []
        for number, (x, y) in seen:
            if number.text not in inked:
                inked[number.text] = (
                    rendered(number.text, _WHITE, size, halo=_BLACK),
                    rendered(number.text, _BLACK, size, halo=_WHITE),
                )
            light, dark = inked[number.text]
            wide, high = light.get_size()
            left = min(max(round(x - wide / 2), 0), max(wall.width - wide, 0))
            self._placed.append((light, dark, (left, round(y - high / 2))))

    def draw(self, wall: pygame.Surface) -> None:
        """Write the numbers on a drawn wall, each in a colour that contrasts with its cell."""
        pixels: NDArray[np.uint8] = pygame.surfarray.pixels3d(wall)
        ground = pixels[self._x, self._y]
        del pixels  # it locks the surface
        dark_ink = wants_dark_ink(ground).tolist()
        wall.fblits(
            [
                (dark if use_dark else light, place)
                for use_dark, (light, dark, place) in zip(dark_ink, self._placed, strict=True)
            ]
        )


def data_path(display: Display, layout: Layout, *, faint: bool = False) -> pygame.Surface:
    """The path of the data on a transparent surface over what is seen of the wall.

    faint: for below numbers. Each line has its own colour, a ring at its LED 0 and a bar at its
    end. Arrows show the direction. A piece of strip is thick, the cable from one piece to the next
    is thin.
    """
    size = (layout.wall.width * _FINE, layout.wall.height * _FINE)
    image = pygame.Surface(size, pygame.SRCALPHA)
    cell = min(layout.cell_size) * _FINE
    pixel = _FINE * layout.scale  # a pixel of a screen of usual density
    thick = max(round(min(cell * 0.11, 3.0 * pixel)), 1)
    pieces = list(_pieces(display, layout))
    for casing in (True, False):  # all casings first, so that none hides another line
        for number, cells, points, first in pieces:
            colour = _CASING if casing else LINE_COLOURS[number % len(LINE_COLOURS)]
            more = max(thick // 2, 2) if casing else 0
            if first is not None:
                _stroke(image, [first, points[0]], max(thick // 2, 1) + more, colour)
            _stroke(image, points, thick + 2 * more, colour)
            _arrows(image, points, cells, _arrow(cell, pixel) + more, colour)
        for number, first_led, last_led in _line_ends(display, layout):
            colour = _CASING if casing else LINE_COLOURS[number % len(LINE_COLOURS)]
            more = max(thick // 2, 2) if casing else 0
            radius = max(cell * 0.30, thick)
            pygame.draw.circle(image, colour, first_led, radius + more, thick + 2 * more)
            half = max(cell * 0.24, thick) + more
            end = pygame.Rect(0, 0, 2 * half, 2 * half)
            end.center = (round(last_led[0]), round(last_led[1]))
            pygame.draw.rect(image, colour, end)
    path = pygame.transform.smoothscale(image, layout.wall.size)
    if faint:
        path.set_alpha(_FAINT)
    return path


def _pieces(
    display: Display, layout: Layout
) -> Iterator[tuple[int, int, list[Point], Point | None]]:
    """(line, cells, centres of both ends, end of the run before it) of each run, fine pixels."""
    before: tuple[int, Point] | None = None
    for run in display.wiring.runs:
        start = _fine(layout, run.from_column, run.from_row)
        end = _fine(layout, run.to_column, run.to_row)
        joined = before[1] if before is not None and before[0] == run.line else None
        yield run.line, run.cells_along, [start, end], joined
        before = run.line, end


def _line_ends(display: Display, layout: Layout) -> Iterator[tuple[int, Point, Point]]:
    wiring = display.wiring
    for line, (start, length) in enumerate(
        zip(wiring.line_starts, wiring.line_lengths, strict=True)
    ):
        if length:
            first, last = (
                _fine(layout, int(wiring.column[at]), int(wiring.row[at]))
                for at in (start, start + length - 1)
            )
            yield line, first, last


def _fine(layout: Layout, column: int, row: int) -> Point:
    x, y = layout.centre(column, row)
    return x * _FINE, y * _FINE


def _stroke(image: pygame.Surface, points: list[Point], wide: int, colour: tuple[int, ...]) -> None:
    pygame.draw.line(image, colour, points[0], points[1], wide)
    for x, y in points:
        pygame.draw.circle(image, colour, (x, y), wide / 2)


def _arrow(cell: float, pixel: float) -> float:
    """Length of an arrow's head, in fine pixels; cell: of a cell, pixel: of a screen's pixel."""
    return min(max(cell * 0.27, 3.0 * pixel), 9.0 * pixel)


def _arrows(
    image: pygame.Surface,
    points: list[Point],
    cells: int,
    size: float,
    colour: tuple[int, ...],
) -> None:
    """Draw arrow heads along a run of so many cells, about six apart; a single one has none."""
    (x0, y0), (x1, y1) = points
    length = math.hypot(x1 - x0, y1 - y0)
    if cells < 2:
        return
    along = ((x1 - x0) / length, (y1 - y0) / length)
    step = length / (cells - 1)
    count = max(round(cells / 6), 1)
    for number in range(count):
        # Half way between two LEDs, next to their numbers.
        at = step * (int((cells - 1) * (number + 0.5) / count) + 0.5)
        x, y = x0 + along[0] * at, y0 + along[1] * at
        tip = (x + along[0] * size, y + along[1] * size)
        back = (x - along[0] * size * 0.8, y - along[1] * size * 0.8)
        side = (-along[1] * size * 0.85, along[0] * size * 0.85)
        pygame.draw.polygon(
            image,
            colour,
            [tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1])],
        )
