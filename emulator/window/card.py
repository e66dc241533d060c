"""The card of a picked cell, drawn beside it."""

from __future__ import annotations

import pygame

from emulator.view.colours import ACCENT, DIM, EDGE, INK
from emulator.view.reading import Reading
from emulator.window.layout import Layout
from emulator.window.style import SMALL, TEXT, Lettering, panel

_PAD, _GAP = 12, 7
_SWATCH = 16


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
    surface.set_clip(layout.wall.inflate(px(6), px(6)))  # it may have been scrolled out of sight
    pygame.draw.rect(surface, (0, 0, 0), spot.inflate(px(6), px(6)), px(4), border_radius=px(3))
    pygame.draw.rect(surface, ACCENT, spot.inflate(px(4), px(4)), px(2), border_radius=px(2))
    surface.set_clip(None)
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
