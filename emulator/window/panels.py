"""What opens over the wall on a key: the help, and the list of sources."""

from __future__ import annotations

import pygame

from emulator.light.lettering import fitted, text_wide
from emulator.window.controls import CONTROLS, State
from emulator.window.layout import Layout
from emulator.window.style import ACCENT, DIM, EDGE, INK, SMALL, TEXT, Lettering, panel

_PAD = 18
_ROW = 25
_KEY_WIDE = 58


def draw_help(
    surface: pygame.Surface, layout: Layout, lettering: Lettering, state: State
) -> pygame.Rect:
    """The controls that mean something here, in the middle of the wall, or as many as fit."""
    rows = [(c.key_name, c.words) for c in CONTROLS if state.offers(c.action)]
    rows.append(("Click", "a cell: its LED, line, run, drive"))
    room = layout.strip.top - 16 - 2 * _PAD
    step = max(min(_ROW, room // len(rows)), SMALL + 4)
    wide = _KEY_WIDE + 16 + max(text_wide(words, TEXT) for _, words in rows)
    rect = pygame.Rect(0, 0, wide + 2 * _PAD, step * len(rows) + 2 * _PAD)
    rect.center = (layout.window[0] // 2, layout.strip.top // 2)
    panel(surface, rect)
    for number, (key, words) in enumerate(rows):
        middle = rect.top + _PAD + step * number + step // 2
        cap = pygame.Rect(rect.left + _PAD, 0, _KEY_WIDE, min(step - 4, 20))
        cap.centery = middle
        pygame.draw.rect(surface, EDGE, cap, width=1, border_radius=4)
        name = lettering.line(key, DIM, SMALL)
        surface.blit(name, name.get_rect(center=cap.center))
        text = lettering.line(words, INK)
        surface.blit(text, text.get_rect(left=cap.right + 16, centery=middle))
    return rect


def draw_list(
    surface: pygame.Surface, layout: Layout, lettering: Lettering, state: State
) -> tuple[pygame.Rect, list[tuple[pygame.Rect, int]]]:
    """The sources, above the strip: where the list is, and the place of each source shown.

    Where not all fit, those round the one that plays.
    """
    fit = max((layout.strip.top - 16 - _PAD) // _ROW, 1)
    count = min(len(state.sources), fit)
    first = min(max(state.playing - count // 2, 0), len(state.sources) - count)
    shown = range(first, first + count)
    wide = max(text_wide(state.sources[number], TEXT) for number in shown) + 2 * _PAD + 12
    wide = max(min(wide, layout.window[0] - 16), 2 * _PAD + 20)
    rect = pygame.Rect(8, 0, wide, count * _ROW + _PAD)
    rect.bottom = layout.strip.top - 8
    panel(surface, rect)
    places = []
    for place_number, number in enumerate(shown):
        place = pygame.Rect(
            rect.left + 4, rect.top + _PAD // 2 + place_number * _ROW, rect.width - 8, _ROW
        )
        plays = number == state.playing
        if plays:
            bar = pygame.Rect(place.left + 6, place.top + 6, 3, place.height - 12)
            pygame.draw.rect(surface, ACCENT, bar)
        name = fitted(state.sources[number], TEXT, wide - 2 * _PAD)
        text = lettering.line(name, ACCENT if plays else INK)
        surface.blit(text, text.get_rect(left=place.left + _PAD, centery=place.centery))
        places.append((place, number))
    return rect, places
