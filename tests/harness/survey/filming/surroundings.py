"""What is around the wall in its own plane: the wall it hangs on, floor, lamps, windows.

A coarser raster than that of the front, but as large as the camera sees. The mirror image in the
floor is the wall upside down in its own plane, below its lower edge. The wall's own light falls on
all around it.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from emulator.description.display import Display
from tests.harness.survey.filming import room as rooms
from tests.harness.survey.filming.face import Raster
from tests.harness.survey.filming.lens import Floats
from tests.harness.survey.filming.room import Image
from tests.harness.survey.filming.settings import Setting

_LARGEST = 480  # px of the raster's longer side
_SPILL = 0.08


class Surroundings:
    """Made once for a film, then lit for each frame."""

    def __init__(
        self, display: Display, setting: Setting, seen_mm: Floats, rng: np.random.Generator
    ) -> None:
        """seen_mm: (P, 2) places on the plane at the edges of the camera's picture."""
        grid, room = display.grid, setting.room
        size = np.array([grid.columns * grid.pitches_mm[0], grid.rows * grid.pitches_mm[1]])
        most = 6 * float(np.hypot(*size))
        seen = np.clip(seen_mm, -most, most)
        low, high = np.minimum(seen.min(axis=0), -size), np.maximum(seen.max(axis=0), size)
        mm_px = float((high - low).max()) / _LARGEST
        wide, tall = (math.ceil(side / mm_px) for side in high - low)
        self.raster = Raster((tall, wide), (mm_px, mm_px), (float(low[0]), float(low[1])))
        corners = np.round(self.raster.px(np.stack((-size / 2, size / 2)))).astype(int)
        self._wall = (*corners[0].tolist(), *corners[1].tolist())
        bottom = self._wall[3]
        self._reflectance = rooms.plaster((tall, wide), rng)
        self._reflectance[bottom:] = 0.7 * rooms.wood((tall - bottom, wide), rng)
        still = (
            self._reflectance
            * rooms.lit_unevenly((tall, wide), rng)
            * np.float32(room.lux / math.pi)
        )
        rooms.add_lights(still, self._wall, room, rng)
        self._still = cv2.GaussianBlur(rooms.faded(still), (0, 0), 0.7)
        self._mirrors = setting.front.floor
        # The front's mean luminance for LEDs of 1 cd, about: T · flux / area / π.
        self._mean = np.float32(0.5 / (grid.pitches_mm[0] * grid.pitches_mm[1] / 1e6))
        self._blinker = rooms.blinker(self._wall, rng) if room.blinker_hz else None

    def light(self, candela: Image, lamps: Image | float, blink: bool) -> Image:
        """Luminance (h, w, 3) for the intensity of each LED (rows, columns, 3) of the wall.

        lamps: (h, w) or a number, the light of the room over its mean. blink: the other light.
        """
        if isinstance(lamps, np.ndarray):
            plane = cv2.multiply(self._still, cv2.merge((lamps, lamps, lamps)))
        else:
            plane = self._still * np.float32(lamps)
        left, top, right, bottom = self._wall
        tall, wide = self.raster.shape
        # The wall's light on its surroundings, on a raster of an eighth: beside its edge a few per
        # cent of its own luminance.
        small = np.zeros((tall // 8 + 1, wide // 8 + 1, 3), np.float32)
        mean = candela.mean(axis=(0, 1)) * self._mean
        small[top // 8 : bottom // 8 + 1, left // 8 : right // 8 + 1] = _SPILL * mean
        wide_px = max((right - left + bottom - top) / 16 * 0.15, 0.5)
        small = cv2.GaussianBlur(small, (0, 0), wide_px)
        plane += cv2.multiply(cv2.resize(small, (wide, tall)), self._reflectance)
        if self._mirrors:
            self._mirror(plane, candela)
        if blink and self._blinker is not None:
            x, y, patch = self._blinker
            part = plane[y : y + patch.shape[0], x : x + patch.shape[1]]
            part += patch[: part.shape[0], : part.shape[1]]
        return plane

    def _mirror(self, plane: Image, candela: Image) -> None:
        """Add the wall's mirror image in the floor below its lower edge, blurred, in place."""
        left, _, right, bottom = self._wall
        deep = min(plane.shape[0] - bottom, bottom - self._wall[1])
        image = cv2.resize(
            candela[::-1], (right - left, bottom - self._wall[1]), interpolation=cv2.INTER_NEAREST
        )[:deep]
        image = cv2.GaussianBlur(image, (0, 0), max(0.15 * (right - left) / candela.shape[1], 0.4))
        fade = np.exp(-np.arange(deep) / (0.6 * deep)).astype(np.float32)[:, None, None]
        plane[bottom : bottom + deep, left:right] += image * (self._mirrors * self._mean * fade)
