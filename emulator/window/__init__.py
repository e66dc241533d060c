"""The wall on a screen, with pygame. Importing its modules needs pygame, but no screen."""

import os

from emulator.errors import WindowError

# Without this, pygame prints a greeting to standard output, between our own lines.
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
# With this, Windows measures in points, as macOS does, and does not stretch our pixels (SDL 2.24).
os.environ.setdefault("SDL_WINDOWS_DPI_SCALING", "1")

try:
    import pygame  # noqa: F401
except ImportError as error:
    raise WindowError(
        f"the window needs pygame, which cannot be imported ({error})",
        fix="pip install pygame-ce, or do without a screen: open_output('memory:', …) or"
        " `foreglow render`.",
    ) from error

from emulator.window.wall_window import WallWindow

__all__ = ["WallWindow"]
