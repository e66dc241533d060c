"""The card of a picked cell: where it is in the wiring, and what it shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.bench import led_light
from emulator.canvas import linear_to_srgb
from emulator.description.display import Display
from emulator.window.layout import Layout
from emulator.window.style import ACCENT, DIM, EDGE, INK, SMALL, TEXT, Lettering, panel

_PAD, _GAP = 12, 7
_SWATCH = 16


@dataclass(frozen=True)
class Reading:
    """What a cell reads, as words; `colour` is sRGB 0…255, None in a gap."""

    cell: str
    place: str
    drive: str = ""
    colour: tuple[int, int, int] | None = None

    @property
    def colour_name(self) -> str:
        """'#rrggbb', '' in a gap."""
        return "" if self.colour is None else "#{:02x}{:02x}{:02x}".format(*self.colour)


def read_cell(display: Display, drives: NDArray[np.uint8], cell: tuple[int, int]) -> Reading:
    """The reading of cell (column, row) for drives (N, C) in the order of chip.channels."""
    column, row = cell
    where = f"column {column}, row {row}"
    wiring = display.wiring
    position = int(wiring.led_at[row, column])
    if position < 0:
        return Reading(where, "gap: no LED")
    line, channels = int(wiring.line[position]), display.chip.channels
    name = wiring.line_names[line]
    named = "" if name == f"line {line}" else f" ({name})"
    place = f"LED {wiring.led[position]} · line {line}{named} · run {wiring.run[position]}"
    values = drives[position].tolist()
    drive = "   ".join(f"{letter} {v}" for letter, v in zip(channels, values, strict=True))
    red, green, blue = np.round(255 * linear_to_srgb(led_light(drives[position], channels)))
    return Reading(where, place, drive, (int(red), int(green), int(blue)))


def draw_card(
    surface: pygame.Surface,
    layout: Layout,
    lettering: Lettering,
    reading: Reading,
    cell: tuple[int, int],
) -> pygame.Rect:
    """Draw the card beside its cell and mark the cell; returns where the card is."""
    spot = layout.cell(*cell)
    pygame.draw.rect(surface, (0, 0, 0), spot.inflate(6, 6), width=4, border_radius=3)
    pygame.draw.rect(surface, ACCENT, spot.inflate(4, 4), width=2, border_radius=2)
    lines = [
        lettering.line(reading.cell, DIM, SMALL),
        lettering.line(reading.place, INK, TEXT),
    ]
    if reading.drive:
        lines.append(lettering.line(f"drive   {reading.drive}", INK, TEXT))
        lines.append(lettering.line(reading.colour_name, INK, TEXT))
    indent = _SWATCH + 8
    wide = max(
        line.get_width() + (indent if reading.colour and line is lines[-1] else 0) for line in lines
    )
    high = sum(max(line.get_height(), TEXT) for line in lines) + _GAP * (len(lines) - 1)
    card = pygame.Rect(0, 0, wide + 2 * _PAD, high + 2 * _PAD)
    card.topleft = spot.right + 12, spot.top - 12
    if card.right > layout.window[0] - 8:
        card.right = spot.left - 12
    card.clamp_ip(pygame.Rect(8, 8, layout.window[0] - 16, layout.strip.top - 16))
    panel(surface, card)
    y = card.top + _PAD
    for line in lines:
        x = card.left + _PAD
        if reading.colour is not None and line is lines[-1]:
            swatch = pygame.Rect(x, y + line.get_height() // 2 - _SWATCH // 2, _SWATCH, _SWATCH)
            pygame.draw.rect(surface, reading.colour, swatch, border_radius=3)
            pygame.draw.rect(surface, EDGE, swatch, width=1, border_radius=3)
            x += indent
        surface.blit(line, (x, y))
        y += max(line.get_height(), TEXT) + _GAP
    return card
