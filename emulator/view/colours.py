"""The colours of every window on the wall: sRGB, 0…255."""

from __future__ import annotations

from emulator.light.lettering import Colour

SURROUND: Colour = (9, 10, 12)
STRIP: Colour = (20, 22, 26)
PANEL: Colour = (28, 30, 36)
EDGE: Colour = (62, 66, 75)
INK: Colour = (222, 220, 212)
DIM: Colour = (146, 149, 157)
ACCENT: Colour = (238, 178, 104)  # the state paused, the chosen source, the picked cell

# Okabe & Ito, Color Universal Design (2008): distinct with every kind of colour vision.
LINE_COLOURS: tuple[Colour, ...] = (
    (230, 159, 0),
    (86, 180, 233),
    (0, 158, 115),
    (240, 228, 66),
    (0, 114, 178),
    (213, 94, 0),
    (204, 121, 167),
)
