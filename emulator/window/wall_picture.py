"""The wall in the window, seen from the chosen place, with the overlays that are on."""

from __future__ import annotations

import math

import numpy as np
import pygame

from emulator.arrays import Light
from emulator.bench import cell_light
from emulator.description.display import Display
from emulator.light.adaptation import DarkEye, response, share_of_field
from emulator.light.look import Look
from emulator.light.primaries import chip_primaries
from emulator.light.wall import WallView
from emulator.window.controls import State
from emulator.window.layout import Layout
from emulator.window.overlay import Numbers, data_path
from emulator.window.viewing import Viewing

_SAME_GAIN = 0.005  # this change changes a code value of the screen by about one at most


class WallPicture:
    """Draws the wall for one layout of the window; `surface` is the wall as last drawn."""

    def __init__(self, display: Display, layout: Layout) -> None:
        self._display, self._layout = display, layout
        self._primaries = chip_primaries(display.chip)
        self.surface = pygame.Surface(layout.wall.size).convert()
        self._numbers: Numbers | None = None
        self._paths: dict[bool, pygame.Surface] = {}
        self._drawn: Light | None = None
        self._drawn_with: tuple[bool, bool, Viewing] | None = None
        self._gain: float | None = None  # of an eye adapted to the dark; 1: adapted to full white

    def draw(self, light: Light, state: State, time_ns: int) -> bool:
        """Draw the light (N, 3) of the LEDs at a time of the display's clock.

        Returns whether anything changed.
        """
        wanted = (state.numbers, state.path, state.viewing)
        changed = self._drawn_with != wanted
        if changed:
            self._look(state.viewing)
        if not state.viewing.night:
            self._gain = None
        else:
            changed |= self._adapt(light, time_ns)
        if not changed and self._drawn is not None and np.array_equal(self._drawn, light):
            return False
        seen = light if self._gain is None else response(light, self._gain)
        self._view.draw(cell_light(seen, self._display), onto=self._pixels)
        if self._spots.get_size() == self.surface.get_size():
            self.surface.blit(self._spots, (0, 0))
        else:  # more cells than pixels
            pygame.transform.smoothscale(self._spots, self.surface.get_size(), self.surface)
        self._overlay(state)
        self._drawn, self._drawn_with = light, wanted
        return True

    def _overlay(self, state: State) -> None:
        if state.path:
            if state.numbers not in self._paths:
                path = data_path(self._display, self._layout, faint=state.numbers)
                self._paths[state.numbers] = path
            self.surface.blit(self._paths[state.numbers], (0, 0))
        if state.numbers:
            self._numbers = self._numbers or Numbers(self._display, self._layout)
            self._numbers.draw(self.surface)

    def _look(self, viewing: Viewing) -> None:
        """Set the place and the light; a new distance needs new optics."""
        before = None if self._drawn_with is None else self._drawn_with[2]
        if before is None or _optics(before) != _optics(viewing):
            look = Look(viewing.distance_m, led_colours=viewing.led_colours)
            self._view = WallView(self._display, self._layout.wall.width, look)
            # The surface uses our own memory: a view by pygame would lock the surface as long as a
            # drawing thread keeps it.
            size = self._view.width, self._view.height
            bgra = np.empty((size[1], size[0], 4), dtype=np.uint8)
            self._spots = pygame.image.frombuffer(bgra, size, "BGRA")  # type: ignore[arg-type]
            self._spots.set_alpha(None)  # a plain copy
            self._pixels = bgra[:, :, 2::-1]
        self._view.expose(viewing.around_lx)
        if viewing.night and (
            before is None or not before.night or _optics(before) != _optics(viewing)
        ):
            share = share_of_field(self._display, viewing.distance_m)
            self._eye = DarkEye(share, self._view.peak_cdm2)
            self._mean_cdm2 = self._means()
            self._gain = None

    def _means(self) -> Light:
        """(C,) mean luminance of the wall in cd/m² with one channel of all LEDs at full drive."""
        white = cell_light(np.ones((self._display.leds, 3), np.float32), self._display)
        share = self._primaries.xyz[:, 1] / self._primaries.intensity_cd
        return np.asarray(self._view.luminance(white).mean() * share, dtype=np.float32)

    def _adapt(self, light: Light, time_ns: int) -> bool:
        """Adapt the eye in the dark to the light; returns whether the picture changes."""
        light = light[self._display.wiring.placed]
        mean_cdm2 = float(self._primaries.by_channel(light).mean(axis=0) @ self._mean_cdm2)
        gain = self._view.peak_cdm2 / self._eye.white_cdm2(mean_cdm2, time_ns)
        if self._gain is not None and abs(math.log(gain / self._gain)) < _SAME_GAIN:
            return False
        self._gain = gain
        return True


def _optics(viewing: Viewing) -> tuple[float, bool]:
    return viewing.distance_m, viewing.led_colours
