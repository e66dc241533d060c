"""The window on the screen: opened, measured, resized and closed."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import ClassVar

import pygame

from emulator.errors import WindowError

_FIX = (
    "run it where there is a screen, or on a virtual one (xvfb-run), or do without:"
    " open_output('memory:', …) or `foreglow render`."
)
# SDL uses this by itself when it finds no screen; nobody would see the window.
_NO_SCREEN = {"offscreen", "dummy"}

FirstSize = Callable[[tuple[int, int] | None, float], tuple[int, int]]
"""Width and height that a window opens with, from the most that the desktop has, and its scale."""


class Glass:
    """A window and its density in pixels a point; the desktop measures in points.

    macOS, Wayland and Windows measure windows and mouse positions in points; a point may be
    several pixels. Everything here is in pixels. X11 knows only pixels, and SDL does not report
    their density: there the scale is 1 unless you give it.
    """

    _open: ClassVar[int] = 0  # windows of this process; SDL ends with the last one

    def __init__(self, title: str, size: FirstSize, scale: float | None) -> None:
        """Open the window. scale: None uses that of the screen. Raises WindowError."""
        self._asked_scale = scale
        try:
            self._open_window(title, size, scale)
        except (pygame.error, WindowError) as error:
            if not Glass._open:
                pygame.display.quit()
            if isinstance(error, WindowError):
                raise
            raise WindowError(f"no screen to open a window on ({error})", fix=_FIX) from error
        Glass._open += 1
        self._closed = False

    def _open_window(self, title: str, size: FirstSize, scale: float | None) -> None:
        pygame.display.init()
        driver = pygame.display.get_driver()
        asked = os.environ.get("SDL_VIDEODRIVER") or os.environ.get("SDL_VIDEO_DRIVER")
        if driver in _NO_SCREEN and not asked:
            raise WindowError("no screen to open a window on", fix=_FIX)
        desktop = pygame.display.get_desktop_sizes()[0]
        # A desktop keeps some room for its own bars and the window's title.
        most = None if driver in _NO_SCREEN else (desktop[0], int(desktop[1] * 0.92))
        self.window = pygame.Window(
            f"foreglow: {title}",
            size(most, scale or 1.0),
            resizable=True,
            allow_high_dpi=True,
        )
        if driver == "x11":
            # SDL would pass each picture through OpenGL. Where no graphics card does that, it takes
            # half a core and seven times as long as X's shared memory.
            os.environ.setdefault("SDL_FRAMEBUFFER_ACCELERATION", "0")
        self.surface = self.window.get_surface()
        if scale is not None and self.density != 1:
            points = scale / self.density
            self.window.size = size(most, points)
        pygame.key.set_repeat(350, 60)  # ms: hold S to step on

    @property
    def density(self) -> float:
        """Pixels a point."""
        return self.surface.get_width() / max(self.window.size[0], 1)

    @property
    def scale(self) -> float:
        """How much larger than on a screen of usual density everything is drawn."""
        return self.density if self._asked_scale is None else self._asked_scale

    def pixel(self, at: tuple[int, int]) -> tuple[int, int]:
        """The pixel at a place in points, where the mouse is."""
        density = self.density
        return int(at[0] * density), int(at[1] * density)

    def fill_screen(self) -> None:
        """Fill the screen, without title and mouse pointer; needs no window manager."""
        self.window.borderless = True
        self.window.position = (0, 0)
        self.window.size = pygame.display.get_desktop_sizes()[0]
        self.window.set_fullscreen(desktop=True)
        pygame.mouse.set_visible(False)

    def flip(self) -> None:
        """Show what has been drawn on the surface."""
        self.window.flip()

    def close(self) -> None:
        """Close the window and free pygame; a second call does nothing."""
        if self._closed:
            return
        self._closed = True
        Glass._open -= 1
        self.window.destroy()
        if not Glass._open:
            pygame.display.quit()
