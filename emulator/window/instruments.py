"""The instruments beside the wall: current, voltage, time on the wire, frames, and the view."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from emulator.light.lettering import Colour
from emulator.window.layout import (
    GAUGE_APART,
    GAUGE_HIGHS,
    Layout,
    Place,
    gauge_columns,
    gauge_rows,
)
from emulator.window.status import Status, Supply
from emulator.window.style import (
    ACCENT,
    DIM,
    EDGE,
    INK,
    MARGIN,
    SMALL,
    SURROUND,
    TEXT,
    Lettering,
)
from emulator.window.viewing import Viewing

_BAR_HIGH = 4
_SIGN = 13
_TRACK: Colour = (40, 43, 50)
_UNKNOWN = "none"


@dataclass(frozen=True)
class Gauge:
    """One instrument. `name` and `value` share a line; `detail` is small, below it and any bar.

    filled: how much of the bar, 0…1; None: no bar. mark: where on the bar the limit is, 0…1.
    alarm: a sign marks the detail (the value, if there is no detail), whose words say what is
    wrong.
    """

    name: str
    value: str
    detail: str = ""
    filled: float | None = None
    mark: float | None = None
    alarm: bool = False


def gauges(viewing: Viewing, status: Status) -> tuple[Gauge, ...]:
    """The instruments in their order, as many as layout.GAUGE_HIGHS."""
    return (
        *_supply_gauges(status.supply),
        _wire(status),
        _missed(status),
        _rate(status),
        Gauge("Seen from", viewing.distance_words),
        Gauge("Light around", viewing.light_words, _other_light(viewing)),
        Gauge("Colours", viewing.colour_words),
    )


def _supply_gauges(supply: Supply | None) -> tuple[Gauge, Gauge]:
    if supply is None:
        return Gauge("Current", _UNKNOWN), Gauge("Lowest rail", _UNKNOWN)
    scale_a = max(supply.rated_a, supply.limit_a or 0.0)
    limit = "no limit set" if supply.limit_a is None else f"limit {supply.limit_a:.4g} A"
    current = Gauge(
        "Current",
        f"{supply.current_a:.1f} of {supply.rated_a:.4g} A",
        supply.trouble or limit,
        min(supply.current_a / scale_a, 1.0),
        None if supply.limit_a is None else supply.limit_a / scale_a,
        bool(supply.trouble),
    )
    rail = Gauge(
        "Lowest rail",
        f"{supply.lowest_v:.2f} of {supply.nominal_v:g} V",
        filled=min(supply.lowest_v / supply.nominal_v, 1.0),
    )
    return current, rail


def _wire(status: Status) -> Gauge:
    if status.wire_ns is None or status.period_ns is None:
        return Gauge("Wire time", _UNKNOWN)
    share = status.wire_ns / status.period_ns
    words = "longer than a frame" if share > 1 else f"{share:.0%} of a frame".replace("%", " %")
    value, over = f"{status.wire_ns / 1e6:.1f} ms", share > 1
    return Gauge("Wire time", value, words, min(share, 1.0), alarm=over)


def _missed(status: Status) -> Gauge:
    """How many frames were missed; below, how many of each kind."""
    words = ", ".join(f"{count} {how}" for count, how in status.missed if count)
    total = sum(count for count, _ in status.missed)
    return Gauge("Missed", f"{total} frame{'s' * (total != 1)}", words, alarm=bool(words))


def _rate(status: Status) -> Gauge:
    if status.frame_rate is None:
        return Gauge("Frames/s", _UNKNOWN)
    of = "" if status.wanted is None else f" of {status.wanted:g}"
    return Gauge("Frames/s", f"{status.frame_rate:.1f}{of}")


def _other_light(viewing: Viewing) -> str:
    """The keys for the ambient light, which changes the picture most."""
    if viewing.night:
        return "E: ends the night"
    return "PgDn: darker, E: night" if viewing.ambient_lx else "PgUp: lighter, E: night"


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
