"""The light of the wall as the chosen viewer sees it, drawn as pixels."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.bench import cell_light
from emulator.description.display import Display
from emulator.light.adaptation import DarkEye, response, share_of_field
from emulator.light.look import Look
from emulator.light.primaries import chip_primaries
from emulator.light.wall import Part, WallView
from emulator.view.viewing import Viewing

_SAME_GAIN = 0.005  # this change changes a code value of the screen by about one at most
_MEAN_WIDE = 240  # pixels of a wall of which only the mean counts


class Seen:
    """Draws the wall at one width in pixels, from a place and in a light that may change.

    part: draws only this part, and another after `show`. size: (width, height) of its pictures.
    """

    def __init__(self, display: Display, pixels_wide: int, part: Part | None = None) -> None:
        self._display, self._wide, self._part = display, pixels_wide, part
        self._primaries = chip_primaries(display.chip)
        self._looked: Viewing | None = None
        self._resized = False
        self._drawn: Light | None = None
        self._gain: float | None = None  # of an eye adapted to the dark; 1: adapted to full white

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels; known after the first `look`."""
        return self._view.width, self._view.height

    def show(self, part: Part) -> None:
        """Draw this part from now on."""
        before, self._part = self._part, part
        if before is None or before.whole != part.whole:
            self._resized = True
        elif before != part:
            self._view.show(part)
        self._drawn = None

    def look(self, viewing: Viewing) -> None:
        """Set the place and the light; a new distance needs new optics."""
        before, self._looked = self._looked, viewing
        if before == viewing and not self._resized:
            return
        moved = before is None or _optics(before) != _optics(viewing)
        if moved or self._resized:
            look = Look(viewing.distance_m, led_colours=viewing.led_colours)
            self._view = WallView(self._display, self._wide, look, self._part)
            self._resized = False
        self._view.expose(viewing.around_lx)
        if viewing.night and (before is None or moved or not before.night):
            share = share_of_field(self._display, viewing.distance_m)
            self._eye = DarkEye(share, self._view.peak_cdm2)
            self._mean_cdm2 = self._means(viewing)
            self._gain = None
        self._drawn = None

    def changes(self, light: Light, time_ns: int) -> bool:
        """Whether light (N, 3) of the LEDs at a time of the display's clock looks otherwise now."""
        assert self._looked is not None, "look first"
        changed = self._drawn is None
        if not self._looked.night:
            self._gain = None
        else:
            changed |= self._adapt(light, time_ns)
        return changed or self._drawn is None or not np.array_equal(self._drawn, light)

    def draw(self, light: Light, onto: NDArray[np.uint8] | None = None) -> NDArray[np.uint8]:
        """As WallView.draw, of the light (N, 3) of the LEDs that `changes` has judged."""
        self._drawn = light
        seen = light if self._gain is None else response(light, self._gain)
        return self._view.draw(cell_light(seen, self._display), onto=onto)

    def _means(self, viewing: Viewing) -> Light:
        """(C,) mean luminance of the wall in cd/m² with one channel of all LEDs at full drive."""
        whole = self._view
        if self._part is not None and self._part.whole != self.size:
            whole = WallView(self._display, _MEAN_WIDE, Look(viewing.distance_m))
        white = cell_light(np.ones((self._display.leds, 3), np.float32), self._display)
        share = self._primaries.xyz[:, 1] / self._primaries.intensity_cd
        return np.asarray(whole.luminance(white).mean() * share, dtype=np.float32)

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
