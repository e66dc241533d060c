"""The card of a picked cell: where it is in the wiring, and what it shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.bench import led_light
from emulator.description.display import Display
from emulator.description.wiring import Wiring
from emulator.picture.srgb import linear_to_srgb
from emulator.window.layout import Layout
from emulator.window.style import ACCENT, DIM, EDGE, INK, SMALL, TEXT, Lettering, panel

_PAD, _GAP = 12, 7
_SWATCH = 16


@dataclass(frozen=True)
class Reading:
    """The text for a cell; colour: sRGB 0…255, None in a gap."""

    cell: str
    place: str
    drive: str = ""
    colour: tuple[int, int, int] | None = None

    @property
    def colour_name(self) -> str:
        """'#rrggbb', '' in a gap."""
        return "" if self.colour is None else "#{:02x}{:02x}{:02x}".format(*self.colour)


def read_cell(display: Display, drives: NDArray[np.uint8], cell: tuple[int, int]) -> Reading:
    """The text for cell (column, row), from drives, uint8 (N, C), in the order of chip.channels."""
    column, row = cell
    where = f"column {column}, row {row}"
    wiring = display.wiring
    position = int(wiring.led_at[row, column])
    if position < 0:
        return Reading(where, _in_gap(wiring, column, row))
    line, channels = int(wiring.line[position]), display.chip.channels
    name = wiring.line_names[line]
    named = "" if name == f"line {line}" else f" ({name})"
    place = f"LED {wiring.led[position]} · line {line}{named} · run {wiring.run[position]}"
    values = drives[position].tolist()
    drive = "   ".join(f"{letter} {v}" for letter, v in zip(channels, values, strict=True))
    red, green, blue = np.round(255 * linear_to_srgb(led_light(drives[position], channels)))
    return Reading(where, place, drive, (int(red), int(green), int(blue)))


def _in_gap(wiring: Wiring, column: int, row: int) -> str:
    """What a gap has at a cell."""
    there = wiring.hidden & (wiring.column == column) & (wiring.row == row)
    if not there.any():
        return "gap: no LED"
    at = int(there.argmax())
    return f"gap: LED {wiring.led[at]} of line {wiring.line[at]} has no cell, stays dark"


def draw_card(
    surface: pygame.Surface,
    layout: Layout,
    lettering: Lettering,
    reading: Reading,
    cell: tuple[int, int],
) -> pygame.Rect:
    """Draw the card beside its cell and mark the cell; returns where the card is."""
    px = layout.px
    spot = layout.cell(*cell)
    pygame.draw.rect(surface, (0, 0, 0), spot.inflate(px(6), px(6)), px(4), border_radius=px(3))
    pygame.draw.rect(surface, ACCENT, spot.inflate(px(4), px(4)), px(2), border_radius=px(2))
    lines = [
        lettering.line(reading.cell, DIM, SMALL),
        lettering.line(reading.place, INK, TEXT),
    ]
    if reading.drive:
        lines.append(lettering.line(f"drive   {reading.drive}", INK, TEXT))
        lines.append(lettering.line(reading.colour_name, INK, TEXT))
    indent, pad = px(_SWATCH + 8), px(_PAD)
    wide = max(
        line.get_width() + (indent if reading.colour and line is lines[-1] else 0) for line in lines
    )
    highs = [max(line.get_height(), px(TEXT)) for line in lines]
    card = pygame.Rect(0, 0, wide + 2 * pad, sum(highs) + px(_GAP) * (len(lines) - 1) + 2 * pad)
    card.topleft = spot.right + pad, spot.top - pad
    if card.right > layout.stage.right - px(8):
        card.right = spot.left - pad
    card.clamp_ip(pygame.Rect(0, 0, layout.window[0], layout.strip.top).inflate(-px(16), -px(16)))
    panel(surface, card, layout.scale)
    y = card.top + pad
    for line, high in zip(lines, highs, strict=True):
        x = card.left + pad
        if reading.colour is not None and line is lines[-1]:
            swatch = pygame.Rect(x, 0, px(_SWATCH), px(_SWATCH))
            swatch.centery = y + line.get_height() // 2
            pygame.draw.rect(surface, reading.colour, swatch, border_radius=px(3))
            pygame.draw.rect(surface, EDGE, swatch, width=px(1), border_radius=px(3))
            x += indent
        surface.blit(line, (x, y))
        y += high + px(_GAP)
    return card
