"""The strip below the wall: what plays, on which clock, how long its frames take."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from emulator.light.lettering import fitted, text_wide
from emulator.window.controls import Action, State
from emulator.window.style import ACCENT, DIM, EDGE, INK, STRIP, TEXT, Lettering

_PAD, _APART = 14, 22


@dataclass(frozen=True)
class Supply:
    """What the supplies give, all together, and the lowest voltage at an LED.

    rated_a: what they can give. limit_a: what the code is meant to keep under, None for none.
    off: a supply has tripped. full: one gives all it can.
    """

    current_a: float
    rated_a: float
    limit_a: float | None
    lowest_v: float
    off: bool = False
    full: bool = False

    @property
    def too_much(self) -> bool:
        """Whether one is off or at its rating, or all together are over the limit."""
        over = self.limit_a is not None and self.current_a > self.limit_a * (1 + 1e-6)
        return self.off or self.full or over


@dataclass(frozen=True)
class Status:
    """What the strip tells. Times in ns on the display's clock; None where nothing is known yet.

    frame_rate: frames the display got in the last second of real time. wanted: frames a second
    asked for, None where the program's own pace decides.
    """

    playing: str
    time_ns: int
    wire_ns: int | None = None
    frame_rate: float | None = None
    wanted: float | None = None
    supply: Supply | None = None
    note: str = ""


def clock_words(time_ns: int) -> str:
    """Hours, minutes, seconds and tenths: '0:00:12.3'; tenths are cut, not rounded."""
    tenths = time_ns // 100_000_000
    return f"{tenths // 36000}:{tenths // 600 % 60:02d}:{tenths // 10 % 60:02d}.{tenths % 10}"


def rate_words(status: Status) -> str:
    """'29.9 of 30 frames/s'."""
    if status.frame_rate is None:
        return ""
    of = "" if status.wanted is None else f" of {status.wanted:g}"
    return f"{status.frame_rate:.1f}{of} frames/s"


def supply_words(status: Status) -> str:
    """'12.3 of 45 A, lowest 4.71 V'; of the limit where there is one."""
    supply = status.supply
    if supply is None:
        return ""
    if supply.off:
        return "supply tripped"
    most = f"{supply.rated_a:.4g} A" if supply.limit_a is None else f"{supply.limit_a:.4g} A limit"
    return f"{supply.current_a:.1f} of {most}, lowest {supply.lowest_v:.2f} V"


def _supply_colour(supply: Supply | None) -> tuple[int, int, int]:
    return ACCENT if supply is not None and supply.too_much else DIM


def draw_strip(
    surface: pygame.Surface,
    strip: pygame.Rect,
    lettering: Lettering,
    name: str,
    state: State,
    status: Status,
) -> list[tuple[pygame.Rect, Action]]:
    """Draw it; returns the places that may be clicked. What does not fit is left out."""
    pygame.draw.rect(surface, STRIP, strip)
    pygame.draw.line(surface, EDGE, strip.topleft, strip.topright)
    places: list[tuple[pygame.Rect, Action]] = []
    mark = pygame.Rect(strip.left + _PAD, 0, 12, 12)
    mark.centery = strip.centery
    _draw_mark(surface, mark, state.paused)
    places.append((mark.inflate(16, strip.height - mark.height), Action.PAUSE))

    time = f"{clock_words(status.time_ns)}  {'real' if state.real_time else 'simulated'} time"
    right: list[tuple[str, tuple[int, int, int], Action | None]] = [
        ("H  help", DIM, Action.HELP),
        (time, INK, Action.TIME),
        ("paused" if state.paused else rate_words(status), ACCENT if state.paused else INK, None),
        ("" if status.wire_ns is None else f"wire {status.wire_ns / 1e6:.1f} ms", DIM, None),
        (supply_words(status), _supply_colour(status.supply), None),
    ]
    words = status.note or status.playing
    least_left = mark.right + 12 + text_wide(name, TEXT) + text_wide(words, TEXT)
    x = strip.right - _PAD
    for text, colour, action in right:
        image = lettering.line(text, colour)
        if text and x - image.get_width() > least_left + _APART + 10:
            place = image.get_rect(right=x, centery=strip.centery)
            surface.blit(image, place)
            if action is not None and state.offers(action):
                places.append((place.inflate(12, strip.height - place.height), action))
            x = place.left - _APART

    place = lettering.line(name, INK).get_rect(left=mark.right + 12, centery=strip.centery)
    surface.blit(lettering.line(name, INK), place)
    words_left = place.right + 10
    words = fitted(words, TEXT, max(x - words_left, 20))
    image = lettering.line(words, ACCENT if status.note else DIM)
    place = image.get_rect(left=words_left, centery=strip.centery)
    surface.blit(image, place)
    if state.offers(Action.LIST):
        places.append((place.inflate(12, strip.height - place.height), Action.LIST))
    return places


def _draw_mark(surface: pygame.Surface, mark: pygame.Rect, paused: bool) -> None:
    """Two bars while paused, a triangle while it plays."""
    if paused:
        for left in (mark.left + 1, mark.left + 7):
            pygame.draw.rect(surface, ACCENT, (left, mark.top, 4, mark.height))
    else:
        corners = [
            (mark.left + 1, mark.top),
            (mark.right, mark.centery),
            (mark.left + 1, mark.bottom),
        ]
        pygame.draw.polygon(surface, DIM, corners)
