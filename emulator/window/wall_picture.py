"""The wall in the window, seen from the chosen place, with the overlays that are on."""

from __future__ import annotations

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.view.controls import State
from emulator.view.seen import Seen
from emulator.window.layout import Layout
from emulator.window.overlay import Numbers, data_path


class WallPicture:
    """Draws the wall for one layout of the window; `surface` is what was last drawn of it."""

    def __init__(self, display: Display, layout: Layout) -> None:
        self._display = display
        self._seen = Seen(display, layout.full.width, layout.part)
        self.show(layout)

    def show(self, layout: Layout) -> None:
        """Draw what this layout shows of the wall from now on."""
        self.layout = layout
        self.surface = pygame.Surface(layout.wall.size).convert()
        self._spots, self._pixels = _spots(layout.wall.size)
        self._numbers: Numbers | None = None
        self._paths: dict[bool, pygame.Surface] = {}
        self._seen.show(layout.part)
        self._overlaid: tuple[bool, bool] | None = None

    def draw(self, light: Light, state: State, time_ns: int) -> bool:
        """Draw the light (N, 3) of the LEDs at a time of the display's clock.

        Returns whether anything changed.
        """
        self._seen.look(state.viewing)
        wanted = (state.numbers, state.path)
        if not self._seen.changes(light, time_ns) and self._overlaid == wanted:
            return False
        self._seen.draw(light, onto=self._pixels)
        self.surface.blit(self._spots, (0, 0))
        self._overlay(state)
        self._overlaid = wanted
        return True

    def _overlay(self, state: State) -> None:
        if state.path:
            if state.numbers not in self._paths:
                path = data_path(self._display, self.layout, faint=state.numbers)
                self._paths[state.numbers] = path
            self.surface.blit(self._paths[state.numbers], (0, 0))
        if state.numbers:
            self._numbers = self._numbers or Numbers(self._display, self.layout)
            self._numbers.draw(self.surface)


def _spots(size: tuple[int, int]) -> tuple[pygame.Surface, NDArray[np.uint8]]:
    """A surface of a size, and its pixels (height, width, 3) in the order R, G, B."""
    bgra = np.empty((size[1], size[0], 4), dtype=np.uint8)
    spots = pygame.image.frombuffer(bgra, size, "BGRA")  # type: ignore[arg-type]
    spots.set_alpha(None)  # a plain copy
    return spots, bgra[:, :, 2::-1]
