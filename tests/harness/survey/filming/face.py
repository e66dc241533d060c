"""The wall's front and all in its plane, as one raster of luminance that a camera looks at.

The light of an LED on a front is E = I · cos^(m+3) θ / h² (`emulator.light.cover`), and the front
shows T·E/π; a bare LED is a disc of I over its area. White walls mirror it. Light that leaks or
spreads, and the wall's light on the room, come from a coarse raster. Lamps light the same plane.
The mirror image in the floor is the wall upside down in its own plane, below its lower edge.

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
_SUB = 4  # points of the coarse raster along a cell
_MIRROR = 0.6  # white walls, as [cover] wall_reflectance


@dataclass(frozen=True)
class Frame:
    """How the raster lies on the plane: px (across, down) of a cell, margins in cells (left, top,
    right, bottom), grid (rows, columns), pitch_mm (across, down)."""

    cell_px: tuple[int, int]
    margin: tuple[int, int, int, int]
    grid: tuple[int, int]
    pitch_mm: tuple[float, float]

    @classmethod
    def of(cls, display: Display, pitch_px: float) -> Frame:
        """A raster a little finer than the film; pitch_px: of the widest cell in it."""
        rows, columns = display.grid.rows, display.grid.columns
        across, down = display.grid.pitches_mm
        longer = max(across, down)
        fine = min(max(1.2 * pitch_px, 6.0), math.sqrt(1.2e6 / (rows * columns)))
        cell = (max(round(fine * across / longer), 4), max(round(fine * down / longer), 4))
        size_mm = math.sqrt(rows * down * columns * across)
        beside, above = math.ceil(0.4 * size_mm / across) + 2, math.ceil(0.3 * size_mm / down) + 2
        return cls(cell, (beside, above, beside, above), (rows, columns), (across, down))

    @property
    def shape(self) -> tuple[int, int]:
        """(h, w) of the raster in px."""
        left, top, right, bottom = self.margin
        (wide, high), (rows, columns) = self.cell_px, self.grid
        return (rows + top + bottom) * high, (columns + left + right) * wide

    @property
    def wall(self) -> tuple[int, int, int, int]:
        """Left, top, right and bottom px of the wall."""
        (wide, high), (rows, columns) = self.cell_px, self.grid
        left, top = self.margin[0] * wide, self.margin[1] * high
        return left, top, left + columns * wide, top + rows * high

    def px(self, mm: Floats) -> Floats:
        """Raster px (…, 2), as `cv2.remap` counts, of mm (…, 2) from the wall's middle."""
        left, top, right, bottom = self.wall
        middle = np.array([left + right - 1, top + bottom - 1]) / 2
        return np.asarray(mm * np.array(self.cell_px) / np.array(self.pitch_mm) + middle)


class Face:
    """The plane of the wall: made once for a film, then lit for each frame."""

    def __init__(self, display: Display, setting: Setting, pitch_px: float, rng: np.random.Generator) -> None:
        self.frame = Frame.of(display, pitch_px)
        front, rows, columns = setting.front, display.grid.rows, display.grid.columns
        primaries = chip_primaries(display.chip)
        colours = np.maximum(primaries.xyz[:3] @ screen_from_xyz().T, 0)
        self._colours = (colours @ _CROSSTALK.T).astype(np.float32)  # cd of each channel
        batch = 1 + 0.04 * rng.standard_normal((rows, columns, 3)) * front.spread / 0.06
        bins = 1 + front.spread * rng.standard_normal((rows, columns, 1))
        self._bins = np.clip(batch * bins, 0.3, 2).astype(np.float32)
        self._placed = ~display.gap
        exponent = beam_exponent(display.chip.half_angle_deg)
        glued = self._glued(display, front.glued_mm, rng)
        self._own, self._transmission = self._spots(front, exponent, glued, rng)
        self._wide = self._kernel(front, exponent)
        self._still, self._reflectance = self._surroundings(setting, rng)
        self._floor = front.floor
        self._blinker = self._other_light(rng) if setting.room.blinker_hz else None

    def light(self, cells: NDArray[np.float32], lamps: Image | float, blink: bool) -> Image:
        """Luminance (h, w, 3) of the whole plane for the light of each cell (rows, columns, 3).

        lamps: (h, w) or a number, the light of the room over its mean. blink: the other light.
        """
        candela = (cells * self._bins) @ self._colours
        wide, high = self.frame.cell_px
        plane = self._still * (lamps[..., None] if isinstance(lamps, np.ndarray) else np.float32(lamps))
        left, top, right, bottom = self.frame.wall
        lit = self._own * np.repeat(np.repeat(candela, high, axis=0), wide, axis=1)
        spread, spill = self._spread(candela)
        lit += spread
        lit *= self._transmission
        plane += spill
        plane[top:bottom, left:right] += lit
        if self._floor:
            self._mirror(plane, bottom)
        if blink and self._blinker is not None:
            x, y, patch = self._blinker
            plane[y : y + patch.shape[0], x : x + patch.shape[1]] += patch
        return plane

    def _spread(self, candela: NDArray[np.float32]) -> tuple[Image, Image]:
        """Light that leaks on the wall (h, w, 3), and that of the wall on the room (H, W, 3)."""
        (rows, columns), (left, top, right, bottom) = self.frame.grid, self.frame.margin
        points = np.zeros((rows * _SUB, columns * _SUB, 3), np.float32)
        middle = slice(_SUB // 2, None, _SUB)
        points[middle, middle] = candela
        spread = cv2.filter2D(points, -1, self._wide, borderType=cv2.BORDER_CONSTANT)
        x0, y0, x1, y1 = self.frame.wall
        # The points are half a step right of and below the cells' middles.
        half = 0.5 / _SUB
        fit = np.array(
            [[_SUB / self.frame.cell_px[0], 0, half * _SUB - 0.5 + 0.5 * _SUB / self.frame.cell_px[0]],
             [0, _SUB / self.frame.cell_px[1], half * _SUB - 0.5 + 0.5 * _SUB / self.frame.cell_px[1]]]
        )
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        wall = cv2.warpAffine(spread, fit, (x1 - x0, y1 - y0), flags=how, borderMode=cv2.BORDER_REPLICATE)
        whole = np.zeros((rows + top + bottom, columns + left + right, 3), np.float32)
        whole[top : top + rows, left : left + columns] = candela
        whole = cv2.GaussianBlur(whole, (0, 0), 3.0)
        pitch_m2 = self.frame.pitch_mm[0] * self.frame.pitch_mm[1] / 1e6
        whole *= np.float32(0.02 / pitch_m2)  # a few per cent of the light come back to the plane
        room = cv2.resize(whole, self.frame.shape[::-1], interpolation=cv2.INTER_LINEAR)
        return wall, np.asarray(room * self._reflectance)

    def _mirror(self, plane: Image, edge: int) -> None:
        """Add the wall's mirror image in the floor below its lower edge, blurred, in place."""
        deep = min(plane.shape[0] - edge, edge)
        image = cv2.flip(plane[edge - deep : edge], 0)
        small = cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), max(0.12 * self.frame.cell_px[0], 0.5))
        image = cv2.resize(small, (plane.shape[1], deep))
        fade = np.exp(-np.arange(deep) / (0.6 * deep)).astype(np.float32)[:, None, None]
        plane[edge : edge + deep] += image * (self._floor * fade)

    def _glued(self, display: Display, glued_mm: float, rng: np.random.Generator) -> Floats:
        """(rows, columns, 2) mm: how far each LED is off its cell's middle, by strips."""
        (rows, columns), along = self.frame.grid, display.wiring.along
        strips = rows if along == "rows" else columns
        off = rng.normal(0, glued_mm, (strips, 2))
        each = np.repeat(off[:, None], columns, 1) if along == "rows" else np.repeat(off[None], rows, 0)
        return np.asarray(each + rng.normal(0, 0.15, (rows, columns, 2)))

    def _spots(self, front: Front, exponent: float, glued_mm: Floats, rng: np.random.Generator) -> tuple[Image, Image]:
        """Luminance (h, w, 1) of each LED's own cell for 1 cd, and the front's colour (h, w, 3)."""
        (wide, high), (rows, columns), pitch = self.frame.cell_px, self.frame.grid, self.frame.pitch_mm
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
            for i in range(-2, 3):
                for j in range(-2, 3):
                    from_x = i * opening[0] + (-1) ** i * off_x - across
                    from_y = j * opening[1] + (-1) ** j * off_y - down
                    away = np.hypot(from_x, from_y)
                    share = _MIRROR ** (abs(i) + abs(j))
                    own += share * illuminance_lx(away, front.depth_mm, 1.0, exponent)
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
        return (own * lit).astype(np.float32)[..., None], colour

    def _kernel(self, front: Front, exponent: float) -> Image:
        """What an LED of 1 cd gives the points around it, in cd/m²."""
        step = [pitch / _SUB for pitch in self.frame.pitch_mm]
        reach = 3 * _SUB
        at = np.arange(-reach, reach + 1)
        away = np.hypot(at * step[0], (at * step[1])[:, None])
        if front.kind == "bleeding":
            # Points before their LED see it nearer than a step: the mean over the point's area.
            inner = np.hypot(away, 0.4 * step[0])
            return (illuminance_lx(inner, front.depth_mm, 1.0, exponent) * 0.5 / math.pi).astype(np.float32)
        around = np.exp(-(away**2) / (2 * (0.7 * self.frame.pitch_mm[0]) ** 2))
        cell_m2 = self.frame.pitch_mm[0] * self.frame.pitch_mm[1] / 1e6
        # A cell's mean luminance for 1 cd is about T · flux / area / π = 0.5 / area.
        whole = 0.5 / cell_m2 * _SUB**2 * (0.2 if front.kind == "bare" else 1.0)
        return (around / around.sum() * front.leak * whole).astype(np.float32)

    def _surroundings(self, setting: Setting, rng: np.random.Generator) -> tuple[Image, Image]:
        """Luminance (H, W, 3) by the room's light, and the reflectance of all surfaces."""
        shape, (left, top, right, bottom) = self.frame.shape, self.frame.wall
        front, room = setting.front, setting.room
        reflectance = rooms.plaster(shape, rng)
        floor = rooms.wood((shape[0] - bottom, shape[1]), rng)
        reflectance[bottom:] = floor * 0.7
        wide, high = self.frame.cell_px
        dark = rng.uniform(0.02, 0.06)
        edge = reflectance[top - high : bottom + high, left - wide : right + wide]
        edge[:] = dark if front.kind in ("bare", "bleeding") else rooms.wood(edge.shape[:2], rng)
        reflectance[top:bottom, left:right] = self._front_reflectance(front, dark, rng)
        still = reflectance * rooms.lit_unevenly(shape, rng) * np.float32(room.lux / math.pi)
        rooms.add_lights(still, self.frame.wall, room, rng)
        if front.gloss:
            still[top:bottom, left:right] += front.gloss * rooms.reflections(
                (bottom - top, right - left), room, rng
            )
        return still.astype(np.float32), reflectance

    def _front_reflectance(self, front: Front, dark: float, rng: np.random.Generator) -> Image:
        """(h, w, 3) of the wall by daylight."""
        (wide, high), (rows, columns), pitch = self.frame.cell_px, self.frame.grid, self.frame.pitch_mm
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
            shown *= self._transmission
            shown[walls] *= 0.9  # the cells' walls shine through the print a little
        else:
            shown[walls] = timber[walls]
        gaps = ~np.repeat(np.repeat(self._placed, high, 0), wide, 1)
        shown[gaps] = timber[gaps]
        return shown

    def _other_light(self, rng: np.random.Generator) -> tuple[int, int, Image]:
        """A lamp beside the wall that blinks: its place and its light."""
        left, top, _, bottom = self.frame.wall
        size = max(int(0.3 * self.frame.cell_px[0]), 2)
        patch = np.zeros((4 * size, 4 * size, 3), np.float32)
        one = cv2.getGaussianKernel(4 * size, size / 1.5)
        patch += ((one @ one.T) / (one.max() ** 2) * rng.uniform(100, 3000))[..., None] * rng.random(3)
        x = int(rng.uniform(0.3, 0.8) * left)
        y = int(rng.uniform(top, bottom - 4 * size))
        return x, y, patch
