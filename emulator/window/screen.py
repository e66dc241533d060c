"""The pygame window: turns events into state, and the state and a frame into pixels."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.bench import cell_light
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.errors import WindowError, WriteError
from emulator.light.wall import WallView
from emulator.window.card import draw_card, read_cell
from emulator.window.controls import ACTION_OF_KEY, Action, State
from emulator.window.layout import Layout, first_size
from emulator.window.overlay import Numbers, data_path
from emulator.window.panels import draw_help, draw_list
from emulator.window.snapshot import save_snapshot
from emulator.window.status import Status, draw_strip
from emulator.window.style import SURROUND, Lettering

SCREEN_RATE = 60  # pictures a second, at most
SCREEN_PERIOD_NS = 1_000_000_000 // SCREEN_RATE
_NOTE_NS = 4_000_000_000  # how long a note stays in the strip
_MEND = (
    "\n  To mend: run it where there is a screen, or on a virtual one (xvfb-run), or do without:"
    " open_output('memory:', …) or `foreglow render`."
)
# What SDL falls back to, unasked, when it finds no screen: the window would open nowhere.
_NO_SCREEN = {"offscreen", "dummy"}

Light = NDArray[np.float32]
# What lies above the wall: picked cell, help, list, source that plays.
Above = tuple[tuple[int, int] | None, bool, bool, int]
# What the strip told last: tenths of a second, note, paused, real time.
Told = tuple[int, str, bool, bool]


class Screen:
    """One window on one display. `state` holds what the user has set; nothing else is shared.

    clock: times the notes in the strip. Raises WindowError when there is no screen.
    """

    def __init__(self, display: Display, state: State, clock: Clock, pixels_wide: int) -> None:
        self.display = display
        self.state = state
        self._clock = clock
        self._surface = _opened(display, pixels_wide)
        pygame.display.set_caption(f"foreglow: {display.name}")
        pygame.key.set_repeat(350, 60)  # ms: hold S to step on
        self._lettering = Lettering()
        self._note, self._note_ends_ns = "", 0
        self._strip_places: list[tuple[pygame.Rect, Action]] = []
        self._list_places: list[tuple[pygame.Rect, int]] = []
        self._panel: pygame.Rect | None = None
        self._drawn: Light | None = None
        self._drawn_with = (False, False)
        self._drawn_above: Above | None = None
        self._drawn_strip: Told | None = None
        self._lay_out()

    def _lay_out(self) -> None:
        self.layout = Layout.fit(self.display, self._surface.get_size())
        self._view = WallView(self.display, self.layout.wall.width)
        self._spots = pygame.Surface((self._view.width, self._view.height)).convert()
        self.wall = pygame.Surface(self.layout.wall.size).convert()
        self._numbers: Numbers | None = None
        self._paths: dict[bool, pygame.Surface] = {}
        self._drawn = None

    # Events ------------------------------------------------------------------------------

    def pump(self) -> None:
        """Take the events that have come since the last call into the state."""
        for event in pygame.event.get():
            if event.type == pygame.QUIT:
                self.state.do(Action.QUIT)
            elif event.type == pygame.WINDOWEXPOSED:
                self._drawn_above = None
            elif event.type == pygame.KEYDOWN and event.key in ACTION_OF_KEY:
                self.state.do(ACTION_OF_KEY[event.key])
            elif event.type == pygame.MOUSEBUTTONDOWN and event.button == pygame.BUTTON_LEFT:
                self._click(event.pos)

    def _click(self, at: tuple[int, int]) -> None:
        state = self.state
        for place, number in self._list_places if state.listing else ():
            if place.collidepoint(at):
                state.playing = number
                return
        if self._panel is not None and self._panel.collidepoint(at):
            return
        for place, action in self._strip_places:
            if place.collidepoint(at):
                state.do(action)
                return
        if state.help or state.listing:
            state.do(Action.DISMISS)
        else:
            cell = self.layout.cell_at(at)
            state.picked = None if cell == state.picked else cell

    # Pixels ------------------------------------------------------------------------------

    def draw(self, drives: NDArray[np.uint8], light: Light, status: Status) -> bool:
        """Show the light (N, 3) of the LEDs, and the strip below it.

        drives: (N, C), in the order of chip.channels, for the card of a picked cell.

        Returns whether anything had changed: handing pixels to the screen costs most, and the
        strip's clock shows tenths of a second.
        """
        if self._surface.get_size() != self.layout.window:
            self._lay_out()
        new_wall = self._draw_wall(light)
        if self.state.save:
            self.state.save = False
            self._save()
        if self._clock.now_ns() < self._note_ends_ns:
            status = replace(status, note=self._note)
        surface, layout, lettering, state = self._surface, self.layout, self._lettering, self.state
        above = (state.picked, state.help, state.listing, state.playing)
        told = (status.time_ns // 100_000_000, status.note, state.paused, state.real_time)
        new_wall |= above != self._drawn_above
        if not new_wall and told == self._drawn_strip:
            return False
        self._drawn_above, self._drawn_strip = above, told
        self._strip_places = draw_strip(
            surface, layout.strip, lettering, self.display.name, state, status
        )
        if not new_wall:
            pygame.display.update(layout.strip)
            return True
        surface.fill(SURROUND, (0, 0, layout.window[0], layout.strip.top))
        surface.blit(self.wall, layout.wall)
        self._panel = None
        if state.picked is not None:
            reading = read_cell(self.display, drives, state.picked)
            self._panel = draw_card(surface, layout, lettering, reading, state.picked)
        elif state.listing:
            self._panel, self._list_places = draw_list(surface, layout, lettering, state)
        elif state.help:
            self._panel = draw_help(surface, layout, lettering, state)
        pygame.display.flip()
        return True

    def _draw_wall(self, light: Light) -> bool:
        """Bring `wall` up to date, the light of the LEDs and the overlays that are on.

        Returns whether there was anything to do.
        """
        state = self.state
        wanted = (state.numbers, state.path)
        if (
            self._drawn is not None
            and self._drawn_with == wanted
            and np.array_equal(self._drawn, light)
        ):
            return False
        pixels: NDArray[np.uint8] = pygame.surfarray.pixels3d(self._spots)
        self._view.draw(cell_light(light, self.display), onto=pixels.swapaxes(0, 1))
        del pixels  # it locks the surface
        if self._spots.get_size() == self.wall.get_size():
            self.wall.blit(self._spots, (0, 0))
        else:  # more cells than pixels
            pygame.transform.smoothscale(self._spots, self.wall.get_size(), self.wall)
        if state.path:
            if state.numbers not in self._paths:
                path = data_path(self.display, self.layout, faint=state.numbers)
                self._paths[state.numbers] = path
            self.wall.blit(self._paths[state.numbers], (0, 0))
        if state.numbers:
            self._numbers = self._numbers or Numbers(self.display, self.layout)
            self._numbers.draw(self.wall)
        self._drawn, self._drawn_with = light, wanted
        return True

    def _save(self) -> None:
        try:
            path = save_snapshot(self.wall, self.display.name, Path("."))
        except WriteError:
            self._note = "not saved: this folder cannot be written to"
        else:
            self._note = f"saved {path.name}"
        self._note_ends_ns = self._clock.now_ns() + _NOTE_NS

    def close(self) -> None:
        """Close the window and free pygame; a second call does nothing."""
        self.state.closed = True
        pygame.display.quit()


def _opened(display: Display, pixels_wide: int) -> pygame.Surface:
    """The window, no larger than the desktop. Raises WindowError."""
    try:
        pygame.display.init()
        driver = pygame.display.get_driver()
        asked = os.environ.get("SDL_VIDEODRIVER") or os.environ.get("SDL_VIDEO_DRIVER")
        if driver in _NO_SCREEN and not asked:
            pygame.display.quit()
            raise WindowError("no screen to open a window on" + _MEND)
        desktops = pygame.display.get_desktop_sizes()
        # A desktop keeps some room for its own bars and the window's title.
        most = None if driver in _NO_SCREEN else (desktops[0][0], int(desktops[0][1] * 0.92))
        return pygame.display.set_mode(first_size(display, pixels_wide, most), pygame.RESIZABLE)
    except pygame.error as error:
        pygame.display.quit()
        raise WindowError(f"no screen to open a window on ({error})" + _MEND) from error
