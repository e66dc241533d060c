"""The strip below the wall: what plays, on which clock, and what the instruments leave out."""

from __future__ import annotations

import pygame

from emulator.light.lettering import Colour
from emulator.view.colours import ACCENT, DIM, EDGE, INK, STRIP
from emulator.view.controls import Action, State
from emulator.view.status import Status, clock_words, rate_words, supply_words
from emulator.window.layout import Layout, Place
from emulator.window.style import Lettering

_PAD, _APART, _MARK = 14, 22, 12


def draw_strip(
    surface: pygame.Surface,
    layout: Layout,
    lettering: Lettering,
    name: str,
    state: State,
    status: Status,
) -> list[tuple[pygame.Rect, Action]]:
    """Draw the strip; returns the places that can be clicked. Leaves out items that do not fit."""
    strip, px = layout.strip, layout.px
    pygame.draw.rect(surface, STRIP, strip)
    pygame.draw.rect(surface, EDGE, (strip.left, strip.top, strip.width, px(1)))
    places: list[tuple[pygame.Rect, Action]] = []
    mark = pygame.Rect(strip.left + px(_PAD), 0, px(_MARK), px(_MARK))
    mark.centery = strip.centery
    _draw_mark(surface, mark, state.paused)
    places.append((mark.inflate(px(16), strip.height - mark.height), Action.PAUSE))

    words = status.note or status.playing
    least_left = mark.right + px(12) + lettering.wide(name) + lettering.wide(words)
    x = strip.right - px(_PAD)
    for text, colour, action in _told(layout, state, status):
        image = lettering.line(text, colour)
        if text and x - image.get_width() > least_left + px(_APART + 10):
            place = image.get_rect(right=x, centery=strip.centery)
            surface.blit(image, place)
            if action is not None and state.offers(action):
                places.append((place.inflate(px(12), strip.height - place.height), action))
            x = place.left - px(_APART)

    image = lettering.line(name, INK)
    place = image.get_rect(left=mark.right + px(12), centery=strip.centery)
    surface.blit(image, place)
    words_left = place.right + px(10)
    words = lettering.fitted(words, max(x - words_left, px(20)))
    image = lettering.line(words, ACCENT if status.note else DIM)
    place = image.get_rect(left=words_left, centery=strip.centery)
    surface.blit(image, place)
    if state.offers(Action.LIST):
        places.append((place.inflate(px(12), strip.height - place.height), Action.LIST))
    return places


def _told(layout: Layout, state: State, status: Status) -> list[tuple[str, Colour, Action | None]]:
    """The items from the right end, the most important first."""
    time = f"{clock_words(status.time_ns)}  {'real' if state.real_time else 'simulated'} time"
    told: list[tuple[str, Colour, Action | None]] = [
        ("H  help", DIM, Action.HELP),
        (time, INK, Action.TIME),
        ("paused" if state.paused else "", ACCENT, None),
    ]
    if layout.place is not Place.NOWHERE:
        return told
    supply, viewing = status.supply, state.viewing
    too_much = supply is not None and supply.trouble
    return [
        *told,
        ("" if state.paused else rate_words(status), INK, None),
        ("" if status.wire_ns is None else f"wire {status.wire_ns / 1e6:.1f} ms", DIM, None),
        (("!  " if too_much else "") + supply_words(status), ACCENT if too_much else DIM, None),
        (f"{viewing.distance_words}, {viewing.light_words}", DIM, None),
    ]


def _draw_mark(surface: pygame.Surface, mark: pygame.Rect, paused: bool) -> None:
    """Two bars while paused, a triangle while it plays."""
    part = mark.width / 12
    if paused:
        for left in (1, 7):
            bar = (mark.left + round(left * part), mark.top, round(4 * part), mark.height)
            pygame.draw.rect(surface, ACCENT, bar)
    else:
        left = mark.left + round(part)
        corners = [(left, mark.top), (mark.right, mark.centery), (left, mark.bottom)]
        pygame.draw.polygon(surface, DIM, corners)
