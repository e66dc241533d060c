"""Automatic levels: a dim or hazy camera picture uses the full range of the wall."""

from __future__ import annotations

import math

import numpy as np

from emulator.arrays import Light
from emulator.picture.srgb import LUMINANCE

DARK, BRIGHT = 2.0, 98.0  # percentiles that become black and full light
SLOW_S = 2.0  # time constant: too slow to notice, and it makes no flash
MOST_GAIN = 8.0  # three stops: the noise of a camera in the dark stays dark
MOST_BLACK = 0.5  # of the bright percentile: a plain picture keeps half of its light


class AutoLevels:
    """Slowly maps the darkest part of a picture to black and the brightest to full light.

    The 2nd percentile of luminance becomes black, but at most half of the 98th. The 98th becomes
    full light, with a gain from 1 to 8. Both follow the pictures with a time constant of 2 s. They
    start with the first picture, and again when the time goes back.
    """

    def __init__(self) -> None:
        self._time_s = math.inf
        self._dark = self._bright = 0.0

    def __call__(self, light: Light, time_s: float) -> Light:
        """A picture (rows, columns, 3) of linear light, at a time of the show in seconds."""
        dark, bright = np.percentile(light @ LUMINANCE, (DARK, BRIGHT))
        passed_s = time_s - self._time_s
        share = 1.0 if passed_s < 0 else -math.expm1(-passed_s / SLOW_S)
        self._dark += share * (float(dark) - self._dark)
        self._bright += share * (float(bright) - self._bright)
        self._time_s = time_s
        black = min(self._dark, MOST_BLACK * self._bright)
        gain = 1 / max(self._bright - black, 1 / MOST_GAIN)
        return ((light - black) * gain).clip(0, 1).astype(np.float32)
