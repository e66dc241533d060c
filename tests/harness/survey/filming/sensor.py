"""From luminance before the lens to the picture that a camera stores.

A pixel saturates at the exposure of ISO 12232 (saturation-based speed): H = 0.65 · L·t/N² lx·s, and
the sensor is full at 78/S lx·s. Its electrons are Poisson (a Gaussian of that variance), the reading
adds two. The order is that of a telephone: veil of the lens, mosaic, noise, clipping, white balance
and tone curve, demosaicing, chroma smoothed, edges sharpened, noise reduced over time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.harness.survey.filming.room import Image
from tests.harness.survey.filming.settings import Camera

_STOP = 1.8  # f-number
_READ_E = 3.0
_LEVELS = 4096  # of the converter: 12 bits
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
    """The camera's automatic exposure: what it aims at, and how fast it follows."""

    def __init__(self, camera: Camera, fps: float) -> None:
        self._camera, self._fps = camera, fps
        self._log: float | None = None  # log2 of time · gain
        self._last_s = 0.0

    def sees(self, mean_cdm2: float, time_s: float, hold: bool) -> None:
        """Take note of a frame's mean luminance; hold: keep the exposure."""
        aim = math.log2(_GREY / max(mean_cdm2, 1e-3) * _STOP**2 * 78 / 0.65) + self._camera.bias_ev
        if self._log is None:
            self._log = aim
        elif not hold:
            share = 1 - math.exp(-(time_s - self._last_s) / self._camera.settles_s)
            self._log += (aim - self._log) * share
        self._last_s = time_s

    def exposed(self, mains_hz: float) -> Exposed:
        """Time and gain: whole ripples of the lamps as long as that is bright enough, as short as
        needed in bright light, more gain in the dark."""
        assert self._log is not None
        product = 2.0**self._log
        ripple_s, longest_s = 1 / (2 * mains_hz), 0.98 / self._fps
        if product < 50 * ripple_s:
            return Exposed(max(product / 50, 1 / 16000), 50)
        whole = max(math.floor(longest_s / ripple_s), 1)
        open_s = min(ripple_s * min(max(math.floor(product / 200 / ripple_s), 1), whole), longest_s)
        return Exposed(open_s, min(product / open_s, self._camera.iso_most))


class Sensor:
    """A camera's sensor and its processing; made once for a film."""

    def __init__(self, camera: Camera, rng: np.random.Generator) -> None:
        self._camera, self._rng = camera, rng
        shape = (camera.height, camera.width)
        self._noise = rng.standard_normal((shape[0] + 192, shape[1] + 256), np.float32)
        red, blue = camera.balance
        self._tones = [self._tone(gain) for gain in (red, 1.0, blue)]
        self._before: NDArray[np.uint8] | None = None

    def _tone(self, gain: float) -> NDArray[np.uint8]:
        """Code value of each level: white balance, a soft end, then IEC 61966-2-1."""
        light = np.arange(_LEVELS) / (_LEVELS - 1) * gain
        soft = self._camera.shoulder
        if soft:
            light = light * (1 + soft) / (1 + soft * np.minimum(light, 1))
        light = np.minimum(light, 1)
        low = 12.92 * light
        code = np.where(light <= 0.0031308, low, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
        return np.asarray(np.round(255 * code), np.uint8)

    def veil(self, frame: Image) -> Image:
        """Luminance (h, w, 3) with the lens's glare and its mirrored ghost; done in place."""
        camera = self._camera
        high, wide = frame.shape[:2]
        small = cv2.resize(frame, (wide // 8, high // 8), interpolation=cv2.INTER_AREA)
        near = cv2.GaussianBlur(small, (0, 0), high / 8 / 120)
        far = cv2.GaussianBlur(small, (0, 0), high / 8 / 12)
        veil = camera.glare * (0.5 * near + 0.5 * far)
        if camera.ghost:
            quarter = cv2.resize(frame, (wide // 4, high // 4), interpolation=cv2.INTER_AREA)
            ghost = camera.ghost * np.array([0.4, 1.0, 0.6], np.float32) * quarter[::-1, ::-1]
            frame += cv2.resize(ghost, (wide, high))
        frame *= 1 - camera.glare
        frame += cv2.resize(veil, (wide, high))
        return frame

    def develop(self, frame: Image, exposed: Exposed) -> NDArray[np.uint8]:
        """Picture (h, w, 3) uint8 of a frame's luminance (h, w, 3)."""
        raw = np.empty(frame.shape[:2], np.float32)
        for (row, column), channel in zip(((0, 0), (0, 1), (1, 0), (1, 1)), (0, 1, 1, 2), strict=True):
            raw[row::2, column::2] = frame[row::2, column::2, channel]
        electrons = self._camera.full_well_e * 50 / exposed.iso
        raw *= exposed.per_cdm2 * electrons
        down, across = self._rng.integers(0, 192), self._rng.integers(0, 256)
        noise = self._noise[down : down + raw.shape[0], across : across + raw.shape[1]]
        raw += noise * np.sqrt(raw + _READ_E**2)
        raw *= (_LEVELS - 1) / electrons
        levels = np.clip(raw, 0, _LEVELS - 1, out=raw).astype(np.uint16)
        mosaic = np.empty(levels.shape, np.uint8)
        for (row, column), channel in zip(((0, 0), (0, 1), (1, 0), (1, 1)), (0, 1, 1, 2), strict=True):
            mosaic[row::2, column::2] = self._tones[channel][levels[row::2, column::2]]
        return self._finished(cv2.demosaicing(mosaic, cv2.COLOR_BayerRGGB2RGB))

    def _finished(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        camera = self._camera
        luma, *chroma = cv2.split(cv2.cvtColor(picture, cv2.COLOR_RGB2YCrCb))
        size = (picture.shape[1], picture.shape[0])
        for number, plane in enumerate(chroma):
            small = cv2.resize(plane, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
            chroma[number] = cv2.resize(cv2.GaussianBlur(small, (3, 3), 0), size)
        if camera.sharpen:
            soft = cv2.GaussianBlur(luma, (0, 0), 1.5)
            luma = cv2.addWeighted(luma, 1 + camera.sharpen, soft, -camera.sharpen, 0)
        done = cv2.cvtColor(cv2.merge((luma, *chroma)), cv2.COLOR_YCrCb2RGB)
        if camera.smooth and self._before is not None:
            # Where little has changed since the last frame, some of it stays.
            change = cv2.absdiff(done, self._before).max(axis=-1)
            still = cv2.blur((change < 24).astype(np.uint8) * 255, (5, 5))
            kept = cv2.addWeighted(done, 1 - camera.smooth, self._before, camera.smooth, 0)
            done = np.where((still > 200)[..., None], kept, done)
        self._before = done
        return np.asarray(done)
