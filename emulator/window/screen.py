"""The pygame window: turns events into state, and the state and a frame into pixels."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pygame
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.errors import WriteError
from emulator.view.colours import SURROUND
from emulator.view.controls import Action, State
from emulator.view.gauges import Gauge, gauges
from emulator.view.reading import read_cell
from emulator.view.status import Status, Trouble
from emulator.view.viewing import Viewing
from emulator.view.zoom import WHEEL_STEP, Zoom
from emulator.window.behind import Behind
from emulator.window.card import draw_card
from emulator.window.instruments import draw_instruments
from emulator.window.keys import ACTION_OF_KEY, SCROLL_OF_KEY
from emulator.window.layout import Layout, first_size
from emulator.window.opening import Glass
from emulator.window.panels import draw_help, draw_list
from emulator.window.pointer import Pointer
from emulator.window.snapshot import save_snapshot
from emulator.window.strip import draw_strip
from emulator.window.style import Lettering
from emulator.window.trouble import draw_trouble
from emulator.window.wall_picture import WallPicture

_SCROLLS = 4  # a key scrolls by this part of what is seen
_DRAG = 4  # a pointer that moves less with its button down clicks; on a screen of usual density
_NOTE_NS = 4_000_000_000  # how long a note stays in the strip

# What is drawn over the wall: picked cell, help, list, playing source, why it gives no picture.
Above = tuple[tuple[int, int] | None, bool, bool, int, Trouble | None]
# What the figures were drawn for: tenths of a second, note, paused, real time, view, trouble.
Told = tuple[int, str, bool, bool, Viewing, Trouble | None]


class Screen:
    """One window on one display. state: what the user has set; nothing else is shared.

    clock: times the notes in the strip. scale: how large everything is drawn; None uses that of the
    screen. late: a thread draws each picture of the wall, with its instruments, while the next one
    is calculated; the next call of `draw` shows it. Raises WindowError if there is no screen.
    """

    def __init__(
        self,
        display: Display,
        state: State,
        clock: Clock,
        pixels_wide: int,
        scale: float | None = None,
        *,
        late: bool = False,
    ) -> None:
        self.display = display
        self._behind = Behind() if late else None
        self._coming: tuple[NDArray[np.uint8], Status] | None = None
        self.state = state
        self._clock = clock
        self._glass = Glass(display.name, partial(first_size, display, pixels_wide), scale)
        self._note, self._note_ends_ns = "", 0
        self._strip_places: list[tuple[pygame.Rect, Action]] = []
        self._list_places: list[tuple[pygame.Rect, int]] = []
        self._panel: pygame.Rect | None = None
        self._viewing = state.viewing
        state.zoom = self._zoom = Zoom.of(display)
        self._pointer = Pointer()
        self._lay_out()

    def _lay_out(self) -> None:
        glass, state = self._glass, self.state
        size = glass.surface.get_size()
        self._whole = Layout.fit(self.display, size, glass.scale, state.instruments)
        self._laid_out_for = (size, glass.scale, state.instruments)
        self._look_at(state.zoom)
        self._lettering = Lettering(glass.scale)
        if self._behind is not None:
            self._behind.wait()
        self._wall = WallPicture(self.display, self.layout, self._behind)
        self._drawn_above: Above | None = None
        self._told: Told | None = None
        self._gauges: tuple[Gauge, ...] = ()
        self._gauges_drawn = False

    def _look_at(self, zoom: Zoom) -> None:
        """Lay out what is seen of the wall; its edges stay at those of the stage."""
        self.layout = self._whole.zoomed(zoom)
        self.state.zoom = self._zoom = self.layout.in_sight(zoom) if zoom.factor > 1 else zoom

    def fill_screen(self) -> None:
        """Fill the screen with only the wall; the key `I` shows the instruments."""
        self._glass.fill_screen()
        self.state.instruments = False

    @property
    def surface(self) -> pygame.Surface:
        """The whole window as it was last drawn."""
        return self._glass.surface

    # Events ------------------------------------------------------------------------------

    def pump(self) -> None:
        """Take the events that have come since the last call into the state."""
        for event in pygame.event.get():
            if event.type == pygame.QUIT:
                self.state.do(Action.QUIT)
            elif event.type == pygame.WINDOWEXPOSED:
                self._drawn_above = None
            elif event.type == pygame.KEYDOWN:
                self._press(event.key, getattr(event, "mod", 0))
            elif event.type == pygame.MOUSEWHEEL:
                self._wheel(event.y)
            elif event.type in Pointer.EVENTS:
                self._point(event)

    def _press(self, key: int, mod: int) -> None:
        if mod & pygame.KMOD_CTRL and key in SCROLL_OF_KEY:
            across, down = SCROLL_OF_KEY[key]
            wall = self.layout.wall
            self._scroll(across * wall.width // _SCROLLS, down * wall.height // _SCROLLS)
        elif key in ACTION_OF_KEY:
            self.state.do(ACTION_OF_KEY[key])

    def _wheel(self, notches: int) -> None:
        """Zoom; what is below the pointer stays there."""
        at = self._pointer.at
        over = at is not None and self.layout.wall.collidepoint(at)
        share = self.layout.share_at(at) if at is not None and over else None
        self._look_at(self.state.zoom.nearer(WHEEL_STEP**notches, share))

    def _scroll(self, right: int, down: int) -> None:
        zoom = self.state.zoom
        if zoom.factor > 1:
            self._look_at(self.layout.in_sight(zoom, (right, down)))

    def _point(self, event: pygame.Event) -> None:
        """A click, or a drag, which scrolls a zoomed wall."""
        at = self._glass.pixel(event.pos)
        zoomed = self.state.zoom.factor > 1 and self.layout.wall.collidepoint(at)
        holds = zoomed and not (self._panel is not None and self._panel.collidepoint(at))
        dragged = self._pointer.take(event, at, self.layout.px(_DRAG), holds)
        if dragged is None:
            self._click(at)
        elif dragged != (0, 0):
            self._scroll(-dragged[0], -dragged[1])

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
        """Show the light (N, 3) of the LEDs, the instruments, and the strip below.

        drives: (N, C), in the order of chip.channels, for the card of a picked cell.

        Returns whether anything changed. Only then do pixels go to the screen, the slowest step;
        clock and figures change ten times a second.
        """
        state = self.state
        self._follow()
        if self._behind is None:
            return self._show(drives, status, self._wall.draw(light, state, status.time_ns))
        new = self._wall.finish(state)
        told = self._coming if new and self._coming is not None else (drives, status)
        begun = self._wall.begin(light, state, status.time_ns)
        if begun:
            self._coming = drives, status
        return self._show(*told, new) or begun

    def _follow(self) -> None:
        """Lay out again what the user has resized or zoomed."""
        state, glass = self.state, self._glass
        if self._laid_out_for != (glass.surface.get_size(), glass.scale, state.instruments):
            self._lay_out()
        elif state.zoom != self._zoom:
            self._look_at(state.zoom)
        if self.layout != self._wall.layout:
            self._wall.show(self.layout)
            self._say(state.zoom.words)

    def _show(self, drives: NDArray[np.uint8], status: Status, new_wall: bool) -> bool:
        """Show what has changed, the wall if it is new; returns whether anything has."""
        state, glass = self.state, self._glass
        if state.save:
            state.save = False
            self._save()
        if state.viewing != self._viewing:
            self._viewing = state.viewing
            self._say(state.viewing.words)
        if self._clock.now_ns() < self._note_ends_ns:
            status = replace(status, note=self._note)
        above = (state.picked, state.help, state.listing, state.playing, status.trouble)
        tenths = status.time_ns // 100_000_000
        told = (
            tenths,
            status.note,
            state.paused,
            state.real_time,
            state.viewing,
            status.trouble,
        )
        if not new_wall and above == self._drawn_above and told == self._told:
            return False
        if told != self._told:
            self._told, self._gauges = told, gauges(state.viewing, status)
            self._gauges_drawn = False
        self._drawn_above = above
        self._draw_all(drives, status)
        glass.flip()
        return True

    def _draw_all(self, drives: NDArray[np.uint8], status: Status) -> None:
        surface, layout, lettering = self._glass.surface, self.layout, self._lettering
        state = self.state
        for margin in layout.margins:
            surface.fill(SURROUND, margin)
        covered = self._panel is not None and self._panel.colliderect(layout.instruments)
        if covered or not self._gauges_drawn:
            draw_instruments(surface, layout, lettering, self._gauges)
            self._gauges_drawn = True
        name = self.display.name
        self._strip_places = draw_strip(surface, layout, lettering, name, state, status)
        surface.blit(self._wall.surface, layout.wall)
        self._panel = None
        if status.trouble is not None:
            self._panel = draw_trouble(surface, layout, lettering, status.trouble)
        if state.picked is not None:
            reading = read_cell(self.display, drives, state.picked)
            self._panel = draw_card(surface, layout, lettering, reading, state.picked)
        elif state.listing:
            self._panel, self._list_places = draw_list(surface, layout, lettering, state)
        elif state.help:
            self._panel = draw_help(surface, layout, lettering, state)

    def _save(self) -> None:
        try:
            path = save_snapshot(self._wall.surface, self.display.name, Path("."))
        except WriteError:
            self._say("not saved: you cannot write to this folder")
        else:
            self._say(f"saved {path.name}")

    def _say(self, note: str) -> None:
        self._note, self._note_ends_ns = note, self._clock.now_ns() + _NOTE_NS

    def close(self) -> None:
        """Close the window and free pygame; a second call does nothing."""
        self.state.closed = True
        if self._behind is not None:
            self._behind.close()
        self._glass.close()
