"""The wall in the window, seen from the chosen place, with the overlays that are on."""

from __future__ import annotations

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.view.controls import State
from emulator.view.seen import Seen
from emulator.window.behind import Behind
from emulator.window.layout import Layout
from emulator.window.overlay import Numbers, data_path


class WallPicture:
    """Draws the wall for one layout of the window.

    behind: a thread that draws, one picture late; without it, `draw` does. It draws into one of two
    pictures while the other is shown.
    """

    def __init__(self, display: Display, layout: Layout, behind: Behind | None = None) -> None:
        self._display, self._behind = display, behind
        self._seen = Seen(display, layout.full.width, layout.part)
        self.show(layout)

    @property
    def surface(self) -> pygame.Surface:
        """What was last drawn of the wall."""
        return self._pictures[-1][0]

    def show(self, layout: Layout) -> None:
        """Draw what this layout shows of the wall from now on."""
        if self._behind is not None:
            self._behind.wait()
        self.layout = layout
        self._pictures = [_picture(layout.wall.size) for _ in range(1 + (self._behind is not None))]
        self._numbers: Numbers | None = None
        self._paths: dict[bool, pygame.Surface] = {}
        self._seen.show(layout.part)
        self._overlaid: tuple[bool, bool] | None = None

    def draw(self, light: Light, state: State, time_ns: int) -> bool:
        """Draw the light (N, 3) of the LEDs at a time of the display's clock.

        Returns whether anything changed.
        """
        if not self._changes(light, state, time_ns):
            return False
        self._seen.draw(light, onto=self._pictures[-1][1])
        self._overlay(state)
        return True

    def begin(self, light: Light, state: State, time_ns: int) -> bool:
        """As `draw`, but behind: `finish` comes before the next one, and has the picture."""
        assert self._behind is not None
        if not self._changes(light, state, time_ns):
            return False
        seen, pixels = self._seen, self._pictures[0][1]
        self._behind.begin(lambda: seen.draw(light, onto=pixels))
        return True

    def finish(self, state: State) -> bool:
        """Wait for a picture that was begun; returns whether there was one."""
        if self._behind is None or not self._behind.wait():
            return False
        self._pictures.reverse()
        self._overlay(state)
        return True

    def _changes(self, light: Light, state: State, time_ns: int) -> bool:
        self._seen.look(state.viewing)
        wanted, before = (state.numbers, state.path), self._overlaid
        self._overlaid = wanted
        return self._seen.changes(light, time_ns) or before != wanted

    def _overlay(self, state: State) -> None:
        """Draw over the picture: the next one replaces all."""
        if state.path:
            if state.numbers not in self._paths:
                path = data_path(self._display, self.layout, faint=state.numbers)
                self._paths[state.numbers] = path
            self.surface.blit(self._paths[state.numbers], (0, 0))
        if state.numbers:
            self._numbers = self._numbers or Numbers(self._display, self.layout)
            self._numbers.draw(self.surface)


def _picture(size: tuple[int, int]) -> tuple[pygame.Surface, NDArray[np.uint8]]:
    """A surface of a size, and its pixels (height, width, 3)."""
    rgb = np.empty((size[1], size[0], 3), dtype=np.uint8)
    return pygame.image.frombuffer(rgb, size, "RGB"), rgb  # type: ignore[arg-type]
