"""From luminance before the lens to the picture that a camera stores.

The exposure is H = 0.65 · L·t/N² lx·s, and the sensor is full at 78/S lx·s (ISO 12232,
saturation-based speed). Its electrons are Poisson (a Gaussian of that variance), the reading adds
three. The order is that of a telephone: veil of the lens, mosaic, noise, clipping, white balance
and tone curve, demosaicing, edges sharpened, noise reduced over time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.harness.survey.filming.room import Image
from tests.harness.survey.filming.scene import ROUGH, Light
from tests.harness.survey.filming.settings import Camera

Picture = NDArray[np.uint8]
_STOP = 1.8  # f-number
_READ_E = 3.0
_CLIPPED = 0.03  # of a frame may be clipped: our guess
_LEVELS = 40_000  # of a full pixel, in tables
_GREY = 0.16  # mean of a metered frame, as a share of a full pixel: our guess


@dataclass(frozen=True)
class Exposed:
    """open_s: how long the shutter is open. iso: the gain."""

    open_s: float
    iso: float

    @property
    def per_cdm2(self) -> float:
        """Share of a full pixel for 1 cd/m²."""
        return 0.65 * self.open_s * self.iso / (_STOP**2 * 78)


class Meter:
    """The camera's automatic exposure: what it aims at, and how fast it follows.

    It looks at the wall, as telephones do where you tap on the picture. It measures with the
    sensor, where what is clipped counts as full, and it protects highlights: no more than 3 % of
    the wall may be far above white. stops: log2 of time · gain.
    """

    def __init__(self, camera: Camera) -> None:
        self._camera = camera
        self.stops = 0.0
        self._last_s = 0.0

    def start(self, rough: Image) -> None:
        """Set what fits a scene (h, w, 3) in cd/m²."""
        low, high = -12.0, 14.0
        for _ in range(24):
            self.stops = (low + high) / 2
            low, high = (self.stops, high) if self._missing(rough) > 0 else (low, self.stops)

    def sees(self, rough: Image, time_s: float) -> None:
        """Follow a frame (h, w, 3) in cd/m²."""
        share = 1 - math.exp(-(time_s - self._last_s) / self._camera.settles_s)
        self.stops += min(max(self._missing(rough), -2.0), 2.0) * share
        self._last_s = time_s

    def _missing(self, rough: Image) -> float:
        """By how many stops the frame is too dark: in the mean, or for its brightest parts."""
        full = np.float32(2.0**self.stops * Exposed(1.0, 1.0).per_cdm2)
        seen = rough[::2, ::2] * full
        mean = float(np.minimum(seen, 1).mean())
        bright = float(np.percentile(seen.max(axis=-1), 100 * (1 - _CLIPPED)))
        stops = min(math.log2(_GREY / max(mean, 1e-6)), math.log2(1.5 / max(bright, 1e-6)))
        return stops + self._camera.bias_ev

    def exposed(self, mains_hz: float, fps: float) -> Exposed:
        """Time and gain: whole ripples of the lamps as long as that is bright enough, as short as
        needed in bright light, more gain in the dark."""
        product = 2.0**self.stops
        ripple_s, longest_s = 1 / (2 * mains_hz), 0.98 / fps
        if product < 50 * ripple_s:
            return Exposed(max(product / 50, 1 / 16000), 50)
        whole = max(math.floor(longest_s / ripple_s), 1)
        open_s = min(ripple_s * min(max(math.floor(product / 200 / ripple_s), 1), whole), longest_s)
        return Exposed(open_s, min(product / open_s, self._camera.iso_most))


class Sensor:
    """A camera's sensor and its processing; made once for a film."""

    def __init__(self, camera: Camera, rng: np.random.Generator) -> None:
        self._camera, self._rng = camera, rng
        self._noise = rng.standard_normal((camera.height + 64, camera.width + 256), np.float32)
        # The least gain is 1, so that what is clipped is white.
        gains = np.array([camera.balance[0], 1.0, camera.balance[1]])
        self._curves = [tone_curve(gain, camera.shoulder) for gain in gains / gains.min()]
        self._before: Picture | None = None

    def veil(self, light: Light) -> Light:
        """The light with the lens's glare, and its ghost mirrored through the middle; in place."""
        camera, rough = self._camera, light.rough
        high, wide = rough.shape[:2]
        half = cv2.resize(rough, (wide // 2, high // 2), interpolation=cv2.INTER_AREA)
        tiny = cv2.resize(half, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        veil = cv2.GaussianBlur(half, (0, 0), high / 240)
        veil += cv2.resize(cv2.GaussianBlur(tiny, (0, 0), high / 4 / 12), veil.shape[1::-1])
        veil *= np.float32(0.5 * camera.glare)
        if camera.ghost:
            veil += np.array([0.4, 1.0, 0.6], np.float32) * camera.ghost * half[::-1, ::-1]
        veil = cv2.resize(veil, (wide, high))
        cv2.scaleAdd(rough, 1 - camera.glare, veil, rough)
        for plane, channel in zip(light.fine, (0, 1, 1, 2), strict=True):
            cv2.scaleAdd(plane, 1 - camera.glare, light.in_box(veil[..., channel]), plane)
        return light

    def develop(self, light: Light, exposed: Exposed) -> Picture:
        """Picture (h, w, 3) uint8 of a frame's light; uses its memory.

        Outside the box, noise is that of four px together, as reduced as most cameras' is.
        """
        electrons = self._camera.full_well_e * 50 / exposed.iso
        rough = cv2.merge(
            [
                self._read(plane, exposed, 4 * electrons, channel)
                for channel, plane in enumerate(cv2.split(light.rough))
            ]
        )
        picture = cv2.resize(rough, (self._camera.width, self._camera.height))
        _, high, wide = light.fine.shape
        code = np.empty((2 * high, 2 * wide), np.uint8)
        for number, channel in enumerate((0, 1, 1, 2)):
            plane = self._read(light.fine[number], exposed, electrons, channel)
            code[number // 2 :: 2, number % 2 :: 2] = plane
        left, top, right, bottom = (ROUGH * edge for edge in light.box)
        part = (slice(top, bottom), slice(left, right))
        fine = cv2.demosaicing(code, cv2.COLOR_BayerRGGB2RGB)
        before = None if self._before is None else self._before[part]
        picture[part] = self._finished(fine, before)
        self._before = picture
        return np.asarray(picture)

    def _read(self, light: Image, exposed: Exposed, electrons: float, channel: int) -> Picture:
        """Code values (h, w) of light (h, w) in cd/m², with noise; electrons: of a full pixel."""
        light *= np.float32(exposed.per_cdm2 * electrons)
        noise = np.sqrt(light + np.float32(_READ_E**2))
        noise *= self._grain(light.shape)
        # Above white as well, as the noise is added first; below 0 nothing is left.
        filled = cv2.addWeighted(light, _LEVELS / electrons, noise, _LEVELS / electrons, 0)
        np.clip(filled, 0, 65535, out=filled)
        return np.asarray(self._curves[channel].take(filled.astype(np.uint16)))

    def _grain(self, shape: tuple[int, ...]) -> Image:
        """A part (h, w) of the noise, another one each time."""
        down = self._rng.integers(0, self._noise.shape[0] - shape[0])
        across = self._rng.integers(0, self._noise.shape[1] - shape[1])
        return self._noise[down : down + shape[0], across : across + shape[1]]

    def _finished(self, picture: Picture, before: Picture | None) -> Picture:
        """Sharpened, with halos; and less noisy where little changed since the frame before."""
        camera = self._camera
        if camera.sharpen:
            soft = cv2.GaussianBlur(picture, (5, 5), 1.5)
            picture = cv2.addWeighted(picture, 1 + camera.sharpen, soft, -camera.sharpen, 0)
        if camera.smooth and before is not None:
            green = [cv2.extractChannel(each, 1) for each in (picture, before)]
            still = cv2.blur(cv2.compare(cv2.absdiff(*green), 20, cv2.CMP_LT), (5, 5))
            kept = cv2.addWeighted(picture, 1 - camera.smooth, before, camera.smooth, 0)
            cv2.copyTo(kept, cv2.compare(still, 200, cv2.CMP_GT), picture)
        return np.asarray(picture)


def tone_curve(gain: float, shoulder: float) -> Picture:
    """(65536,) code values of what the sensor read, `_LEVELS` if full: gain, a soft end, then
    the curve of sRGB (IEC 61966-2-1)."""
    light = np.minimum(np.minimum(np.arange(65536) / _LEVELS, 1) * gain, 1)
    light *= (1 + shoulder) / (1 + shoulder * light)
    toned = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(255 * toned).astype(np.uint8)
