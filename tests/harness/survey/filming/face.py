"""The wall's front as a raster of luminance that a camera looks at.

The light of an LED on a front is E = I · cos^(m+3) θ / h² (`emulator.light.cover`), and the front
shows T·E/π; a bare LED is a disc of I over its area. White walls mirror it. Light that leaks or
spreads comes from a coarse raster. The lamps of the room light the front as well.

Not modelled: fronts that stand out from the plane, and the shadow of the LED's own package.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from emulator.light.cover import beam_exponent, illuminance_lx
from emulator.light.primaries import chip_primaries
from emulator.light.screen import screen_from_xyz
from tests.harness.survey.filming import room as rooms
from tests.harness.survey.filming.lens import Floats
from tests.harness.survey.filming.room import Image
from tests.harness.survey.filming.settings import Front, Setting

_CUP_MM = 1.6  # radius of the lit cup of a 5050 package, from memory
_CROSSTALK = np.array([[0.88, 0.09, 0.03], [0.08, 0.84, 0.08], [0.02, 0.12, 0.86]])
_SUB = 4  # points of the coarse raster along a cell; even, so that an LED is between four
_MIRROR = 0.6  # white walls, as [cover] wall_reflectance


@dataclass(frozen=True)
class Raster:
    """Where px of a picture of the wall's plane are. shape: (h, w) px. mm_px: mm of a px across and
    down. corner_mm: the outer corner of the first px, from the wall's middle."""

    shape: tuple[int, int]
    mm_px: tuple[float, float]
    corner_mm: tuple[float, float]

    def px(self, mm: Floats) -> Floats:
        """Raster px (…, 2), as `cv2.remap` counts, of mm (…, 2) from the wall's middle."""
        return np.asarray((mm - self.corner_mm) / self.mm_px - 0.5)

    def mm(self, px: Floats) -> Floats:
        """The inverse of `px`."""
        return np.asarray((px + 0.5) * self.mm_px + self.corner_mm)


class Face:
    """The front: made once for a film, then lit for each frame. raster: with a cell of frame around
    the wall. candela: of the LEDs."""

    def __init__(
        self, display: Display, setting: Setting, pitch_px: float, rng: np.random.Generator
    ) -> None:
        front, (rows, columns) = setting.front, display.gap.shape
        self._pitch = pitch = display.grid.pitches_mm
        fine = min(max(1.1 * pitch_px, 6.0), math.sqrt(0.7e6 / (rows * columns)))
        wide, high = (max(round(fine * each / max(pitch)), 4) for each in pitch)
        self._cell, self._grid = (wide, high), (rows, columns)
        self.raster = Raster(
            ((rows + 2) * high, (columns + 2) * wide),
            (pitch[0] / wide, pitch[1] / high),
            (-(columns / 2 + 1) * pitch[0], -(rows / 2 + 1) * pitch[1]),
        )
        primaries = chip_primaries(display.chip)
        colours = np.maximum(primaries.xyz[:3] @ screen_from_xyz().T, 0)
        self._colours = (colours @ _CROSSTALK.T).astype(np.float32)  # cd of each channel
        batch = 1 + 0.6 * front.spread * rng.standard_normal((rows, columns, 3))
        bins = 1 + front.spread * rng.standard_normal((rows, columns, 1))
        self._bins = np.clip(batch * bins, 0.3, 2).astype(np.float32)
        self._placed = ~display.gap
        exponent = beam_exponent(display.chip.half_angle_deg)
        glued = self._glued(display, min(front.glued_mm, 0.08 * min(pitch)), rng)
        spots = self._spots(front, exponent, glued, rng)
        self._own, self._transmission = (cv2.split(each) for each in spots)
        self._wide = self._kernel(front, exponent)
        self._still = cv2.split(self._by_daylight(setting, rng))

    def candela(self, cells: NDArray[np.float32]) -> Image:
        """Luminous intensity (rows, columns, 3) of the LEDs, each as it is, for their light."""
        return np.asarray((cells * self._bins) @ self._colours)

    def light(self, candela: Image, lamps: Image | float) -> list[Image]:
        """Luminance (h, w) of the front, each channel, for the intensity of each LED (rows,
        columns, 3).

        lamps: (h, w) or a number, the light of the room over its mean.
        """
        (wide, high), (rows, columns) = self._cell, self._grid
        size = (columns * wide, rows * high)
        points = np.zeros((rows * _SUB, columns * _SUB, 3), np.float32)
        points[_SUB // 2 :: _SUB, _SUB // 2 :: _SUB] = candela
        middle = (self._wide.shape[0] // 2 - 1,) * 2
        around = cv2.filter2D(points, -1, self._wide, None, middle, 0, cv2.BORDER_CONSTANT)
        fronts = []
        for channel in range(3):
            front = cv2.multiply(self._still[channel], lamps)
            wall = front[high:-high, wide:-wide]
            lit = cv2.resize(candela[..., channel], size, interpolation=cv2.INTER_NEAREST)
            wall += cv2.multiply(lit, self._own[channel], lit)
            lit = cv2.resize(around[..., channel], size)
            wall += cv2.multiply(lit, self._transmission[channel], lit)
            fronts.append(front)
        return fronts

    def _glued(self, display: Display, glued_mm: float, rng: np.random.Generator) -> Floats:
        """(rows, columns, 2) mm: how far each LED is off its cell's middle, by strips."""
        (rows, columns), along = self._grid, display.wiring.along
        strips = rows if along == "rows" else columns
        off = rng.normal(0, glued_mm, (strips, 2))
        each = (
            np.repeat(off[:, None], columns, 1)
            if along == "rows"
            else np.repeat(off[None], rows, 0)
        )
        return np.asarray(each + rng.normal(0, 0.15 * glued_mm, (rows, columns, 2)))

    def _spots(
        self, front: Front, exponent: float, glued_mm: Floats, rng: np.random.Generator
    ) -> tuple[Image, Image]:
        """Luminance of each LED's own cell for 1 cd, and the front's colour, (h, w, 3) each."""
        (wide, high), (rows, columns), pitch = self._cell, self._grid, self._pitch
        x = ((np.arange(wide) + 0.5) / wide - 0.5) * pitch[0]
        y = ((np.arange(high) + 0.5) / high - 0.5) * pitch[1]
        px_mm = pitch[0] / wide
        across = np.tile(x, columns)[None, :]
        down = np.tile(y, rows)[:, None]
        off_x, off_y = (np.repeat(np.repeat(glued_mm[..., i], high, 0), wide, 1) for i in (0, 1))
        shape = (rows * high, columns * wide)
        colour = np.ones((*shape, 3), np.float32)
        if front.kind == "bare":
            variance = _CUP_MM**2 / 4 + px_mm**2 / 12
            square = (across - off_x) ** 2 + (down - off_y) ** 2
            own = 1e6 / (2 * math.pi * variance) * np.exp(-square / (2 * variance))
            # The package and the strip around it scatter a little.
            package = 4.0 if front.white_strips else 2.0
            own += 0.03e6 / (2 * math.pi * package**2) * np.exp(-square / (2 * package**2))
        elif front.kind == "bleeding":
            own = np.zeros(shape)
            colour *= 1 + 0.02 * rooms.cloud(shape, 2 * wide, rng)[..., None]
        else:
            frame_mm = 0.08 * min(pitch)  # the walls' thickness
            opening = (pitch[0] - frame_mm, pitch[1] - frame_mm)
            own = np.zeros(shape)
            depth_mm = front.depth * min(pitch)
            for i in range(-2, 3):
                for j in range(-2, 3):
                    from_x = i * opening[0] + (-1) ** i * off_x - across
                    from_y = j * opening[1] + (-1) ** j * off_y - down
                    away = np.hypot(from_x, from_y)
                    share = _MIRROR ** (abs(i) + abs(j))
                    own += share * illuminance_lx(away, depth_mm, 1.0, exponent)
            own *= 0.5 / math.pi
            # The paper's own spread softens the walls' edges by about a millimetre.
            soft = max(1.0, px_mm)
            inside = [
                np.clip((size / 2 - np.abs(at)) / soft + 0.5, 0, 1)
                for size, at in zip(opening, (across, down), strict=True)
            ]
            own *= inside[0] * inside[1]
            paper = 1 + 0.04 * rooms.cloud(shape, 3, rng) + 0.04 * rooms.cloud(shape, wide, rng)
            colour *= np.clip(paper, 0.7, 1.3)[..., None]
            if front.kind == "printed":
                colour *= rooms.motif(shape, rng)
        lit = np.repeat(np.repeat(self._placed, high, 0), wide, 1)
        colour = colour.astype(np.float32)
        return (own * lit).astype(np.float32)[..., None] * colour, colour

    def _kernel(self, front: Front, exponent: float) -> Image:
        """What an LED of 1 cd gives the points around it, in cd/m²."""
        step = [pitch / _SUB for pitch in self._pitch]
        # An LED is at the corner of four points.
        at = np.arange(-3 * _SUB, 3 * _SUB) + 0.5
        away = np.hypot(at * step[0], (at * step[1])[:, None])
        if front.kind == "bleeding":
            depth_mm = front.depth * min(self._pitch)
            return (illuminance_lx(away, depth_mm, 1.0, exponent) * 0.5 / math.pi).astype(
                np.float32
            )
        around = np.exp(-(away**2) / (2 * (0.7 * self._pitch[0]) ** 2))
        cell_m2 = self._pitch[0] * self._pitch[1] / 1e6
        # A cell's mean luminance for 1 cd is about T · flux / area / π = 0.5 / area.
        whole = 0.5 / cell_m2 * _SUB**2 * (0.2 if front.kind == "bare" else 1.0)
        return (around / around.sum() * front.leak * whole).astype(np.float32)

    def _by_daylight(self, setting: Setting, rng: np.random.Generator) -> Image:
        """Luminance (h, w, 3) by the room's light alone."""
        front, room, shape = setting.front, setting.room, self.raster.shape
        wide, high = self._cell
        dark = rng.uniform(0.02, 0.06)
        if front.kind in ("bare", "bleeding"):
            surface = np.full((*shape, 3), dark, np.float32)
        else:
            surface = rooms.wood(shape, rng)
        inner = (slice(high, -high), slice(wide, -wide))
        surface[inner] = self._front_reflectance(front, dark, rng)
        still = surface * rooms.lit_unevenly(shape, rng) * np.float32(room.lux / math.pi)
        if front.gloss:
            still[inner] += front.gloss * rooms.reflections(still[inner].shape[:2], room, rng)
        return np.asarray(still, np.float32)

    def _front_reflectance(self, front: Front, dark: float, rng: np.random.Generator) -> Image:
        """(h, w, 3) of the wall by daylight."""
        (wide, high), (rows, columns), pitch = self._cell, self._grid, self._pitch
        shape = (rows * high, columns * wide)
        if front.kind == "bleeding":
            return np.full((*shape, 3), 0.35, np.float32)
        x = np.abs((np.arange(columns * wide) % wide + 0.5) / wide - 0.5) * pitch[0]
        y = np.abs((np.arange(rows * high) % high + 0.5) / high - 0.5)[:, None] * pitch[1]
        shown = np.full((*shape, 3), dark, np.float32)
        if front.kind == "bare":
            strip = np.repeat((y < 5.0).astype(np.float32), shape[1], 1)
            led = (x < 2.5) & (y < 2.5)
            shown += strip[..., None] * (0.6 if front.white_strips else 0.02)
            shown[led] = 0.6
            return shown
        timber = rooms.wood(shape, rng)
        walls = np.maximum(x - 0.46 * pitch[0], y - 0.46 * pitch[1]) > 0
        shown[:] = 0.55
        if front.kind == "printed":
            shown *= cv2.merge(self._transmission)
            shown[walls] *= 0.9  # the cells' walls shine through the print a little
        else:
            shown[walls] = timber[walls]
        gaps = ~np.repeat(np.repeat(self._placed, high, 0), wide, 1)
        shown[gaps] = timber[gaps]
        return shown
