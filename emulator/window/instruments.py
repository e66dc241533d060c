"""The instruments beside the wall or below it, drawn."""

from __future__ import annotations

import pygame

from emulator.light.lettering import Colour
from emulator.view.colours import ACCENT, DIM, EDGE, INK, SURROUND
from emulator.view.gauges import Gauge
from emulator.window.layout import (
    GAUGE_APART,
    GAUGE_HIGHS,
    Layout,
    Place,
    gauge_columns,
    gauge_rows,
)
from emulator.window.style import MARGIN, SMALL, TEXT, Lettering

_BAR_HIGH = 4
_SIGN = 13
_TRACK: Colour = (40, 43, 50)


def draw_instruments(
    surface: pygame.Surface, layout: Layout, lettering: Lettering, shown: tuple[Gauge, ...]
) -> None:
    """Draw them where the layout places them; draw nothing if it has no room."""
    room, px = layout.instruments, layout.px
    if layout.place is Place.NOWHERE:
        return
    pygame.draw.rect(surface, SURROUND, room)
    inner = room.inflate(-2 * px(MARGIN), 0)
    if layout.place is Place.BESIDE:
        pygame.draw.rect(surface, EDGE, (room.left, room.top, px(1), room.height))
        _draw_column(surface, inner, layout, lettering, shown)
        return
    pygame.draw.rect(surface, EDGE, (room.left, room.top, room.width, px(1)))
    columns, apart = gauge_columns(room.width, layout.scale), px(GAUGE_APART)
    wide = (inner.width - apart * (columns - 1)) // columns
    top = room.top + px(MARGIN / 2)
    for row, high in enumerate(gauge_rows(columns)):
        for column, gauge in enumerate(shown[row * columns : (row + 1) * columns]):
            left = inner.left + column * (wide + apart)
            _draw_gauge(surface, pygame.Rect(left, top, wide, 0), layout, lettering, gauge)
        top += px(high)


def _draw_column(
    surface: pygame.Surface,
    room: pygame.Rect,
    layout: Layout,
    lettering: Lettering,
    shown: tuple[Gauge, ...],
) -> None:
    """Draw them one below the other, as far apart as there is room for."""
    px = layout.px
    highs = [px(high) for high in GAUGE_HIGHS]
    apart = (room.height - sum(highs) - 2 * px(MARGIN)) / (len(shown) - 1)
    top = float(room.top + px(MARGIN))
    apart = max(min(apart, px(22)), 0)
    for gauge, high in zip(shown, highs, strict=True):
        _draw_gauge(
            surface, pygame.Rect(room.left, round(top), room.width, high), layout, lettering, gauge
        )
        top += high + apart


def _draw_gauge(
    surface: pygame.Surface, room: pygame.Rect, layout: Layout, lettering: Lettering, gauge: Gauge
) -> None:
    px = layout.px
    middle, sign = room.top + px(9), px(_SIGN)
    beside = sign + px(5) if gauge.alarm else 0
    value = lettering.line(lettering.fitted(gauge.value, room.width - beside), INK, TEXT)
    value_at = value.get_rect(right=room.right, centery=middle)
    surface.blit(value, value_at)
    name_wide = value_at.left - beside - px(8) - room.left
    name = lettering.line(lettering.fitted(gauge.name, name_wide, SMALL), DIM, SMALL)
    surface.blit(name, name.get_rect(left=room.left, centery=middle))
    if gauge.alarm and not gauge.detail:
        _draw_sign(surface, pygame.Rect(value_at.left - beside, middle - sign // 2, sign, sign))
    if gauge.filled is not None:
        _draw_bar(surface, pygame.Rect(room.left, room.top + px(21), room.width, 0), layout, gauge)
    if not gauge.detail:
        return
    middle = room.top + px(37 if gauge.filled is not None else 27)
    if gauge.alarm:
        _draw_sign(surface, pygame.Rect(room.left, middle - sign // 2, sign, sign))
    words = lettering.fitted(gauge.detail, room.width - beside, SMALL)
    detail = lettering.line(words, ACCENT if gauge.alarm else DIM, SMALL)
    surface.blit(detail, detail.get_rect(left=room.left + beside, centery=middle))


def _draw_bar(surface: pygame.Surface, bar: pygame.Rect, layout: Layout, gauge: Gauge) -> None:
    assert gauge.filled is not None
    bar.height = layout.px(_BAR_HIGH)
    pygame.draw.rect(surface, _TRACK, bar)
    filled = round(bar.width * max(gauge.filled, 0.0))
    pygame.draw.rect(surface, ACCENT if gauge.alarm else DIM, (*bar.topleft, filled, bar.height))
    if gauge.mark is not None:
        wide, beyond = layout.px(2), layout.px(2)
        at = min(bar.left + round(bar.width * gauge.mark), bar.right - wide)
        tick = (at, bar.top - beyond, wide, bar.height + 2 * beyond)
        pygame.draw.rect(surface, INK, tick)


def _draw_sign(surface: pygame.Surface, sign: pygame.Rect) -> None:
    """Draw the warning sign: a triangle on its base, with a stroke and a dot in it."""
    middle, wide = sign.left + (sign.width - 1) / 2, max(round(sign.width / 8), 1)
    corners = [(sign.left, sign.bottom - 1), (middle, sign.top), (sign.right - 1, sign.bottom - 1)]
    pygame.draw.polygon(surface, ACCENT, corners)
    left = round(middle - wide / 2 + 0.5)
    stroke = (left, sign.top + round(sign.height * 0.38), wide, round(sign.height * 0.3))
    pygame.draw.rect(surface, SURROUND, stroke)
    pygame.draw.rect(surface, SURROUND, (left, sign.top + round(sign.height * 0.77), wide, wide))
