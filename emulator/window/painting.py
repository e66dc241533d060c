"""A window in which a person paints what differs from how the wall should look.

They drag a box over cells with a brush. It shows the wall as it should look, and if there is an
emulated one, that one above it. `Brush` says what each cell was painted with.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import IntEnum
from functools import partial

import numpy as np
import pygame

from emulator.arrays import Ints, Srgb
from emulator.clock import Clock, RealClock
from emulator.description.display import Display
from emulator.errors import OutputClosedError
from emulator.light.lettering import Colour
from emulator.view.colours import ACCENT, DIM, EDGE, INK, PANEL, STRIP, SURROUND
from emulator.view.surface import SCREEN_PERIOD_NS
from emulator.window.layout import first_size
from emulator.window.opening import Glass
from emulator.window.style import MARGIN, ROUND, STRIP_HIGH, Lettering

_MOST_CELL = 48  # pixels
_GAP: Colour = (16, 17, 20)
_TITLE_HIGH = 30


class Brush(IntEnum):
    """What a cell is painted with."""

    NONE, DARK, WRONG, FLICKERS, DIM = range(5)


BRUSHES = {
    Brush.DARK: "1 dark",
    Brush.WRONG: "2 wrong colour",
    Brush.FLICKERS: "3 flickers",
    Brush.DIM: "4 dim",
    Brush.NONE: "0 erase",
}
_ENDS = {"done": "Enter: done", "unsure": "U: not sure", "undo": "Backspace: last answer back"}
_KEYS = {
    pygame.K_RETURN: "done", pygame.K_KP_ENTER: "done", pygame.K_u: "unsure",
    pygame.K_BACKSPACE: "undo",
}  # fmt: skip
_DIGITS = {getattr(pygame, f"K_{int(brush)}"): brush for brush in BRUSHES}
_INKS = {
    Brush.DARK: (86, 180, 233), Brush.WRONG: (213, 94, 0), Brush.FLICKERS: (240, 228, 66),
    Brush.DIM: (204, 121, 167),
}  # fmt: skip


class PaintingWindow:
    """A window for one person. Raises WindowError without a screen."""

    def __init__(
        self,
        display: Display,
        *,
        pixels_wide: int = 960,
        clock: Clock | None = None,
        scale: float | None = None,
    ) -> None:
        self._display, self._clock = display, clock or RealClock()
        self._glass = Glass(display.name, partial(first_size, display, pixels_wide), scale)
        self._lettering = Lettering(self._glass.scale)
        self.brush = Brush.DARK
        self.painted: Ints = np.zeros(display.picture_shape[:2], dtype=np.int64)
        self._begun: tuple[int, int] | None = None  # the cell where a box begins
        self._until: tuple[int, int] | None = None
        self._erases = False
        self._buttons: list[tuple[pygame.Rect, Brush | str]] = []
        self._cells = pygame.Rect(0, 0, 1, 1)

    @property
    def surface(self) -> pygame.Surface:
        """The window as it was last drawn."""
        return self._glass.surface

    def ask(
        self,
        title: str,
        should: Srgb,
        shows: Srgb | None = None,
        pump: Callable[[], None] = lambda: None,
    ) -> str:
        """Let the person paint until they say 'done', 'unsure' or 'undo'; `painted` has the cells.

        should, shows: (rows, columns, 3) uint8 sRGB, as it should look, and as an emulated wall
        does. pump: called often. Raises OutputClosedError if the window is closed.
        """
        self.painted[:] = Brush.NONE
        self._begun = self._until = None
        drawn = False
        while True:
            for event in pygame.event.get():
                drawn = False
                end = self._take(event)
                if end is not None:
                    return end
            if not drawn:  # a large wall takes long, and people think long
                self.draw(title, should, shows)
                drawn = True
            pump()
            self._clock.wait_until(self._clock.now_ns() + SCREEN_PERIOD_NS)

    def idle(self) -> None:
        """Call often while the person does something else. Raises OutputClosedError."""
        for event in pygame.event.get():
            if event.type == pygame.QUIT:
                self._take(event)

    def close(self) -> None:
        """Close the window; a second call does nothing."""
        self._glass.close()

    def _take(self, event: pygame.Event) -> str | None:
        """Act on an event; how the question ends, if it does."""
        if event.type == pygame.QUIT or (
            event.type == pygame.KEYDOWN and event.key in (pygame.K_ESCAPE, pygame.K_q)
        ):
            raise OutputClosedError(
                "the window has been closed", fix="give the same command to go on."
            )
        if event.type == pygame.KEYDOWN:
            self.brush = _DIGITS.get(event.key, self.brush)
            return _KEYS.get(event.key)
        if event.type == pygame.MOUSEBUTTONDOWN:
            at = self._glass.pixel(event.pos)
            for place, what in self._buttons:
                if place.collidepoint(at):
                    if isinstance(what, str):
                        return what
                    self.brush = what
                    return None
            self._begun = self._until = self._cell_at(at)
            self._erases = event.button == pygame.BUTTON_RIGHT
        elif event.type == pygame.MOUSEMOTION and self._begun is not None:
            self._until = self._cell_at(self._glass.pixel(event.pos)) or self._until
        elif event.type == pygame.MOUSEBUTTONUP and self._begun is not None:
            self._until = self._cell_at(self._glass.pixel(event.pos)) or self._until
            self.painted[self._box()] = Brush.NONE if self._erases else self.brush
            self._begun = self._until = None
        return None

    def _cell_at(self, at: tuple[int, int]) -> tuple[int, int] | None:
        """Row and column of the cell at a pixel of the wall as it should look."""
        rows, columns = self.painted.shape
        if not self._cells.collidepoint(at):
            return None
        column = (at[0] - self._cells.left) * columns // self._cells.width
        row = (at[1] - self._cells.top) * rows // self._cells.height
        return row, column

    def _box(self) -> tuple[slice, slice]:
        """The cells of the box that is dragged."""
        assert self._begun is not None
        assert self._until is not None
        spans = [sorted(pair) for pair in zip(self._begun, self._until, strict=True)]
        return slice(spans[0][0], spans[0][1] + 1), slice(spans[1][0], spans[1][1] + 1)

    def draw(self, title: str, should: Srgb, shows: Srgb | None) -> None:
        """Draw all."""
        surface, px = self._glass.surface, self._glass.scale
        width, height = surface.get_size()
        surface.fill(SURROUND)
        top, strip = round(_TITLE_HIGH * px), round(STRIP_HIGH * px)
        self._text(title, (round(MARGIN * px), round(top / 2)), INK, width)
        room = pygame.Rect(0, top, width, height - top - strip)
        if shows is not None:
            half = room.height // 2
            above = pygame.Rect(0, top, width, half)
            room = pygame.Rect(0, top + half, width, half)
            self._label("the rehearsed wall shows", above)
            self._draw_wall(shows, self._fit(above), None)
            self._label("paint here: the wall as it should look", room)
        self._cells = self._fit(room)
        painted = self.painted.copy()
        if self._begun is not None:
            painted[self._box()] = Brush.NONE if self._erases else self.brush
        self._draw_wall(should, self._cells, painted)
        self._draw_strip(pygame.Rect(0, height - strip, width, strip))
        self._glass.flip()

    def _label(self, text: str, room: pygame.Rect) -> None:
        size = round(18 * self._glass.scale)
        line = self._lettering.line(text, DIM, 13)
        self.surface.blit(line, (room.left + round(MARGIN * self._glass.scale), room.top))
        room.top += size
        room.height -= size

    def _fit(self, room: pygame.Rect) -> pygame.Rect:
        rows, columns = self.painted.shape
        margin = round(MARGIN / 2 * self._glass.scale)
        most = _MOST_CELL * self._glass.scale
        across, down = (room.width - 2 * margin) / columns, (room.height - 2 * margin) / rows
        cell = max(min(across, down, most), 1.0)
        cells = pygame.Rect(0, 0, round(cell * columns), round(cell * rows))
        cells.center = room.center
        return cells

    def _draw_wall(self, picture: Srgb, cells: pygame.Rect, painted: Ints | None) -> None:
        rows, columns, _ = picture.shape
        gap, surface = self._display.gap, self.surface
        xs = cells.left + np.arange(columns + 1) * cells.width // columns
        ys = cells.top + np.arange(rows + 1) * cells.height // rows
        for row in range(rows):
            for column in range(columns):
                x, y = int(xs[column]), int(ys[row])
                place = pygame.Rect(x, y, int(xs[column + 1]) - x - 1, int(ys[row + 1]) - y - 1)
                colour = _GAP if gap[row, column] else tuple(map(int, picture[row, column]))
                pygame.draw.rect(surface, colour, place)
                if not any(colour):
                    pygame.draw.rect(surface, EDGE, place, width=1)
                if painted is not None and painted[row, column] and not gap[row, column]:
                    self._mark(place, Brush(int(painted[row, column])))

    def _mark(self, place: pygame.Rect, brush: Brush) -> None:
        """What a painted cell looks like: a mark that differs in shape, not in colour alone."""
        surface, ink = self.surface, _INKS[brush]
        pygame.draw.rect(surface, (0, 0, 0), place)
        wide = max(min(place.width, place.height) // 7, 1)
        inner = place.inflate(-place.width // 3, -place.height // 3)
        if brush == Brush.DARK:
            pygame.draw.rect(surface, ink, place, width=wide)
        elif brush == Brush.WRONG:
            pygame.draw.line(surface, ink, inner.topleft, inner.bottomright, wide)
            pygame.draw.line(surface, ink, inner.bottomleft, inner.topright, wide)
        elif brush == Brush.FLICKERS:
            points = [inner.bottomleft, inner.midtop, inner.midbottom, inner.topright]
            pygame.draw.lines(surface, ink, False, points, wide)
        else:
            pygame.draw.rect(surface, ink, inner, width=0)

    def _draw_strip(self, strip: pygame.Rect) -> None:
        surface, lettering, px = self.surface, self._lettering, self._glass.scale
        pygame.draw.rect(surface, STRIP, strip)
        self._buttons = []
        x = strip.left + round(MARGIN / 2 * px)
        items: list[tuple[Brush | str, str]] = [*BRUSHES.items(), *_ENDS.items()]
        for what, text in items:
            chosen = what == self.brush and not isinstance(what, str)
            line = lettering.line(text, ACCENT if chosen else INK, 13)
            place = pygame.Rect(x, strip.top + round(4 * px), line.get_width() + round(20 * px),
                                strip.height - round(8 * px))  # fmt: skip
            pygame.draw.rect(surface, PANEL, place, border_radius=round(ROUND * px))
            edge = ACCENT if chosen else EDGE
            pygame.draw.rect(surface, edge, place, width=1, border_radius=round(ROUND * px))
            at = place.left + round(10 * px), place.centery - line.get_height() // 2
            if isinstance(what, Brush) and what in _INKS:
                dot = pygame.Rect(0, 0, round(6 * px), round(6 * px))
                dot.midleft = (place.left + round(3 * px), place.centery)
                pygame.draw.rect(surface, _INKS[what], dot)
            surface.blit(line, at)
            self._buttons.append((place, what))
            x = place.right + round(6 * px)

    def _text(self, text: str, at: tuple[int, int], ink: Colour, width: int) -> None:
        fitted = self._lettering.fitted(text, width - 2 * at[0])
        line = self._lettering.line(fitted, ink)
        self.surface.blit(line, (at[0], at[1] - line.get_height() // 2))
