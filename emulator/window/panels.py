"""Panels that a key opens over the wall: the help, and the list of sources."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pygame

from emulator.view.colours import ACCENT, DIM, EDGE, INK
from emulator.view.controls import CONTROLS, State, pointing
from emulator.window.layout import Layout
from emulator.window.style import SMALL, TEXT, Lettering, panel

_PAD = 18
_ROW = 25
_KEY_PAD = 8  # on both sides of a key's name
_APART = 26  # from column to column
_HELP_SIZES = (TEXT, 14, SMALL, 12, 11, 10, 9)


@dataclass(frozen=True)
class _HelpPage:
    """One arrangement of the help: letter size, and columns with rows. [screen pixels]"""

    size: int
    columns: int
    rows: int
    key_wide: int
    words_wide: int
    row_high: int

    @property
    def column_wide(self) -> int:
        return self.key_wide + self.row_high // 2 + self.words_wide

    def wide(self, apart: int) -> int:
        """The width of all columns, `apart` pixels apart."""
        return self.columns * (self.column_wide + apart) - apart


def help_entries(state: State) -> list[tuple[str, str]]:
    """The keys and what the mouse does, each with its words, as far as they can be used."""
    entries = [(c.key_name, c.words) for c in CONTROLS if state.offers(c.action)]
    return entries + pointing(state)


def draw_help(
    surface: pygame.Surface, layout: Layout, lettering: Lettering, state: State
) -> pygame.Rect:
    """Draw every control that can be used here, in the middle of the window above the strip.

    The letters are as large as possible, and then the columns as few as possible.
    """
    entries = help_entries(state)
    px, pad, apart = layout.px, layout.px(_PAD), layout.px(_APART)
    above = pygame.Rect(0, 0, layout.window[0], layout.strip.top)
    wide, high = (side - 2 * px(8) - 2 * pad for side in above.size)
    pages = [
        _help_page(entries, size, columns, layout, lettering)
        for size in _HELP_SIZES
        for columns in (1, 2, 3)
    ]
    high_enough = [p for p in pages if p.rows * p.row_high <= high] or pages[-1:]
    page = next((p for p in high_enough if p.wide(apart) <= wide), None)
    if page is None:  # a window so small that words are cut short
        page = next(p for p in high_enough if p.size == high_enough[-1].size)
        room = (wide + apart) // page.columns - apart - page.column_wide + page.words_wide
        page = replace(page, words_wide=max(room, 1))
    rect = pygame.Rect(0, 0, page.wide(apart), page.rows * page.row_high)
    rect.inflate_ip(2 * pad, 2 * pad)
    rect.center = above.center
    panel(surface, rect, layout.scale)
    for number, (key, words) in enumerate(entries):
        left = rect.left + pad + number // page.rows * (page.column_wide + apart)
        middle = rect.top + pad + number % page.rows * page.row_high + page.row_high // 2
        cap = pygame.Rect(left, 0, page.key_wide, round(page.row_high * 0.8))
        cap.centery = middle
        pygame.draw.rect(surface, EDGE, cap, width=px(1), border_radius=px(4))
        name = lettering.line(key, DIM, page.size - 2)
        surface.blit(name, name.get_rect(center=cap.center))
        words = lettering.fitted(words, page.words_wide, page.size)
        text = lettering.line(words, INK, page.size)
        surface.blit(text, text.get_rect(left=cap.right + page.row_high // 2, centery=middle))
    return rect


def _help_page(
    entries: list[tuple[str, str]], size: int, columns: int, layout: Layout, lettering: Lettering
) -> _HelpPage:
    keys = max(lettering.wide(key, size - 2) for key, _ in entries)
    words = max(lettering.wide(text, size) for _, text in entries)
    row_high = layout.px(size * _ROW / TEXT)
    key_wide = keys + 2 * layout.px(_KEY_PAD)
    return _HelpPage(size, columns, -(-len(entries) // columns), key_wide, words, row_high)


def draw_list(
    surface: pygame.Surface, layout: Layout, lettering: Lettering, state: State
) -> tuple[pygame.Rect, list[tuple[pygame.Rect, int]]]:
    """Draw the sources above the strip. Returns where the list and each source shown is.

    If not all fit, it shows those next to the one that plays.
    """
    px, pad, row, edge = layout.px, layout.px(_PAD), layout.px(_ROW), layout.px(8)
    fit = max((layout.strip.top - 2 * edge - pad) // row, 1)
    count = min(len(state.sources), fit)
    first = min(max(state.playing - count // 2, 0), len(state.sources) - count)
    shown = range(first, first + count)
    wide = max(lettering.wide(state.sources[number]) for number in shown) + 2 * pad + px(12)
    wide = max(min(wide, layout.window[0] - 2 * edge), 2 * pad + px(20))
    rect = pygame.Rect(edge, 0, wide, count * row + pad)
    rect.bottom = layout.strip.top - edge
    panel(surface, rect, layout.scale)
    places = []
    for place_number, number in enumerate(shown):
        top = rect.top + pad // 2 + place_number * row
        place = pygame.Rect(rect.left + px(4), top, rect.width - px(8), row)
        plays = number == state.playing
        if plays:
            bar = pygame.Rect(place.left + px(6), 0, px(3), place.height - px(12))
            bar.centery = place.centery
            pygame.draw.rect(surface, ACCENT, bar)
        name = lettering.fitted(state.sources[number], wide - 2 * pad)
        text = lettering.line(name, ACCENT if plays else INK)
        surface.blit(text, text.get_rect(left=place.left + pad, centery=place.centery))
        places.append((place, number))
    return rect, places
