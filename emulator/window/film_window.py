"""A window that shows the frames of a camera or a film, with words below, and takes clicks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.arrays import Srgb
from emulator.closing import Closing
from emulator.view.colours import ACCENT, INK, PANEL, SURROUND
from emulator.window.opening import Glass
from emulator.window.style import MARGIN, TEXT, Lettering

_LINES = 3  # of words that there is room for
_LINE_HIGH = 24
_SIZE = 1120, 720


class FilmWindow(Closing):
    """A window for pictures of any size. Raises WindowError without a screen.

    ended: the user wants to end: Q, Escape, or the window closed. clicks: (x, y) in pixels of the
    picture shown; Backspace takes the last one back.
    """

    def __init__(self, title: str, *, scale: float | None = None) -> None:
        self._glass = Glass(title, _first_size, scale)
        self._lettering = Lettering(self._glass.scale)
        self.ended = False
        self.clicks: list[tuple[float, float]] = []
        self._picture = pygame.Rect(0, 0, 1, 1)
        self._pixels = 1.0, 1.0  # of the picture, to a pixel of the window

    @property
    def surface(self) -> pygame.Surface:
        """The window as it was last drawn."""
        return self._glass.surface

    def take(self) -> None:
        """Take what the user has done since the last call."""
        for event in pygame.event.get():
            if event.type == pygame.QUIT:
                self.ended = True
            elif event.type == pygame.KEYDOWN:
                if event.key in (pygame.K_ESCAPE, pygame.K_q):
                    self.ended = True
                elif event.key == pygame.K_BACKSPACE:
                    del self.clicks[-1:]
            elif event.type == pygame.MOUSEBUTTONDOWN and event.button == pygame.BUTTON_LEFT:
                x, y = self._glass.pixel(event.pos)
                if self._picture.collidepoint(x, y):
                    across, down = self._pixels
                    self.clicks.append(
                        ((x + 0.5 - self._picture.left) * across - 0.5,
                         (y + 0.5 - self._picture.top) * down - 0.5)
                    )  # fmt: skip

    def show(
        self,
        picture: Srgb,
        words: Sequence[str],
        marked: NDArray[np.bool_] | None = None,
    ) -> None:
        """Draw a picture (h, w, 3), lines of words, the clicks, and a frame around some blocks.

        marked: (rows, columns) blocks of the picture.
        """
        import cv2  # of the extra `survey`

        surface, px = self._glass.surface, self._glass.scale
        surface.fill(SURROUND)
        width, height = surface.get_size()
        edge, below = round(MARGIN / 2 * px), round((_LINES * _LINE_HIGH + MARGIN) * px)
        high, wide = picture.shape[:2]
        share = max(min((width - 2 * edge) / wide, (height - edge - below) / high), 1 / wide)
        size = max(round(wide * share), 1), max(round(high * share), 1)
        how = cv2.INTER_AREA if share < 1 else cv2.INTER_NEAREST
        drawn = np.ascontiguousarray(cv2.resize(picture, size, interpolation=how))
        self._picture = pygame.Rect((width - size[0]) // 2, edge, *size)
        self._pixels = wide / size[0], high / size[1]
        surface.blit(pygame.image.frombuffer(drawn.data, size, "RGB"), self._picture)
        if marked is not None:
            self._frame(marked)
        for number, click in enumerate(self.clicks, 1):
            self._cross(click, str(number))
        panel = pygame.Rect(0, height - below, width, below)
        pygame.draw.rect(surface, PANEL, panel)
        for number, text in enumerate(words[:_LINES]):
            line = self._lettering.line(
                self._lettering.fitted(text, width - 4 * edge), ACCENT if number == 0 else INK, TEXT
            )
            top = panel.top + edge + round(number * _LINE_HIGH * px)
            surface.blit(line, (2 * edge, top))
        self._glass.flip()

    def close(self) -> None:
        self._glass.close()

    def _frame(self, marked: NDArray[np.bool_]) -> None:
        """Lines where marked blocks meet others."""
        rows, columns = marked.shape
        place = self._picture
        padded = np.pad(marked, 1)
        wide = max(round(2 * self._glass.scale), 1)

        def at(column: int, row: int) -> tuple[int, int]:
            x = place.left + column * (place.width - 1) // columns
            return x, place.top + row * (place.height - 1) // rows

        for row, column in np.argwhere(padded[1:] != padded[:-1]).tolist():
            pygame.draw.line(self.surface, ACCENT, at(column - 1, row), at(column, row), wide)
        for row, column in np.argwhere(padded[:, 1:] != padded[:, :-1]).tolist():
            pygame.draw.line(self.surface, ACCENT, at(column, row - 1), at(column, row), wide)

    def _cross(self, click: tuple[float, float], name: str) -> None:
        across, down = self._pixels
        x = self._picture.left + round((click[0] + 0.5) / across)
        y = self._picture.top + round((click[1] + 0.5) / down)
        reach, wide = round(9 * self._glass.scale), max(round(2 * self._glass.scale), 1)
        pygame.draw.line(self.surface, ACCENT, (x - reach, y), (x + reach, y), wide)
        pygame.draw.line(self.surface, ACCENT, (x, y - reach), (x, y + reach), wide)
        self.surface.blit(self._lettering.line(name, ACCENT), (x + reach, y + wide))


def _first_size(most: tuple[int, int] | None, scale: float) -> tuple[int, int]:
    wide, high = (round(side * scale) for side in _SIZE)
    return (wide, high) if most is None else (min(wide, most[0]), min(high, most[1]))
