"""How the window looks: its measures and lettering."""

from __future__ import annotations

import pygame
from PIL import Image, ImageDraw

from emulator.light.lettering import Colour, fitted, line_high, text_wide, write
from emulator.view.colours import EDGE, INK, PANEL

# Measures are in pixels of a screen of usual density; `Layout.px` and Lettering scale them.
MARGIN = 20  # around the wall
LEAST_WIDE = 520  # of the window when it opens: the strip has room for the main items
STRIP_HIGH = 34
TEXT = 15
SMALL = 13
ROUND = 7  # corner radius of panels

_KEPT_LINES = 256


class Lettering:
    """Renders lines of text and keeps them; `scale` multiplies all sizes.

    It uses the font of the stills: pygame's own is only bold, and uneven at these sizes.
    """

    def __init__(self, scale: float = 1.0) -> None:
        self._scale = scale
        self._lines: dict[tuple[str, int, Colour], pygame.Surface] = {}

    def line(self, text: str, colour: Colour = INK, px: int = TEXT) -> pygame.Surface:
        """One line of text on a transparent surface."""
        key = (text, px, colour)
        if key not in self._lines:
            if len(self._lines) >= _KEPT_LINES:
                self._lines.clear()  # the running clock makes new lines all day
            self._lines[key] = rendered(text, colour, self.size(px))
        return self._lines[key]

    def size(self, px: int) -> int:
        """A size in screen pixels."""
        return max(round(px * self._scale), 1)

    def wide(self, text: str, px: int = TEXT) -> int:
        """Width of a line of text in screen pixels."""
        return text_wide(text, self.size(px))

    def fitted(self, text: str, wide: float, px: int = TEXT) -> str:
        """The text; cut short with an ellipsis if it is wider than `wide` screen pixels."""
        return fitted(text, self.size(px), wide)


def rendered(text: str, colour: Colour, px: int, halo: Colour | None = None) -> pygame.Surface:
    """A line of text on a transparent surface, with a halo of one pixel if it has a colour."""
    edge = 0 if halo is None else 1
    high = sum(line_high(px))
    size = (max(text_wide(text, px) + 2 * edge, 1), high + 2 * edge)
    image = Image.new("RGBA", size, (*(halo or colour), 0))
    write(ImageDraw.Draw(image), edge, edge + high / 2, text, px, colour, halo)
    return pygame.image.frombytes(image.tobytes(), image.size, "RGBA").convert_alpha()


def panel(surface: pygame.Surface, rect: pygame.Rect, scale: float) -> None:
    """Draw the background and edge of a card, list or overlay."""
    round_px, edge_px = round(ROUND * scale), max(round(scale), 1)
    pygame.draw.rect(surface, PANEL, rect, border_radius=round_px)
    pygame.draw.rect(surface, EDGE, rect, width=edge_px, border_radius=round_px)
