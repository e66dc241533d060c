"""How the window looks: its colours, measures and lettering."""

from __future__ import annotations

import pygame

Colour = tuple[int, int, int]

SURROUND: Colour = (9, 10, 12)
STRIP: Colour = (20, 22, 26)
PANEL: Colour = (28, 30, 36)
EDGE: Colour = (62, 66, 75)
INK: Colour = (222, 220, 212)
DIM: Colour = (146, 149, 157)
ACCENT: Colour = (238, 178, 104)  # a lamp's afterglow: paused, chosen, picked

# Okabe & Ito, Color Universal Design (2008): told apart with any kind of colour vision.
LINE_COLOURS: tuple[Colour, ...] = (
    (230, 159, 0),
    (86, 180, 233),
    (0, 158, 115),
    (240, 228, 66),
    (0, 114, 178),
    (213, 94, 0),
    (204, 121, 167),
)

MARGIN = 20  # px round the wall
STRIP_HIGH = 34
TEXT = 14  # px, height of a line of lettering without its leading
SMALL = 12
ROUND = 7  # px, corner radius of panels

_KEPT_LINES = 256


class Lettering:
    """Renders lines of text in pygame's bundled face, and keeps what it rendered."""

    def __init__(self) -> None:
        pygame.font.init()
        self._faces: dict[int, pygame.font.Font] = {}
        self._lines: dict[tuple[str, int, Colour], pygame.Surface] = {}

    def face(self, px: int) -> pygame.font.Font:
        """The face at a size in pixels."""
        if px not in self._faces:
            # pygame renders its bundled face at 0.6875 of the size asked for.
            self._faces[px] = pygame.font.Font(None, round(px / 0.6875))
        return self._faces[px]

    def line(self, text: str, colour: Colour = INK, px: int = TEXT) -> pygame.Surface:
        """One line of text on a clear ground."""
        key = (text, px, colour)
        if key not in self._lines:
            if len(self._lines) >= _KEPT_LINES:
                self._lines.clear()  # the running clock makes new lines all day
            self._lines[key] = self.face(px).render(text, True, colour)
        return self._lines[key]

    def fitted(self, text: str, wide: int, colour: Colour = INK, px: int = TEXT) -> pygame.Surface:
        """One line of text, cut short with an ellipsis where it is wider than `wide` pixels."""
        face = self.face(px)
        if face.size(text)[0] > wide:
            while text and face.size(text + "…")[0] > wide:
                text = text[:-1]
            text = text.rstrip() + "…"
        return self.line(text, colour, px)


def panel(surface: pygame.Surface, rect: pygame.Rect) -> None:
    """The ground and edge of a card, list or overlay."""
    pygame.draw.rect(surface, PANEL, rect, border_radius=ROUND)
    pygame.draw.rect(surface, EDGE, rect, width=1, border_radius=ROUND)
