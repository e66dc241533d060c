"""The hand that holds the camera: slow sway, and a tremor of about nine cycles a second.

Both are noise with a spectrum. Physiological tremor of the hand is at 8 to 12 Hz (Elble and Koller,
Tremor, 1990, from memory); the sizes are our own guess from films held by hand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from tests.harness.survey.filming.lens import Floats, Pose

_RATE_HZ = 200.0


@dataclass(frozen=True)
class Hand:
    """rotation (T, 3) in radians and shift (T, 3) in mm, every 5 ms from the start of the film."""

    rotation: Floats
    shift_mm: Floats

    @classmethod
    def holding(
        cls, seconds: float, sway: float, rng: np.random.Generator, arrives_s: float = 0.0
    ) -> Hand:
        """sway 0: a stand; 1: a calm hand with 0.25° and 6 mm of sway; 3: somebody who walks.

        arrives_s: how long it takes to turn to the wall, from 25° beside it.
        """
        count = int(seconds * _RATE_HZ) + 64
        slow = _noise(count, 6, 0.15, 0.8, rng)
        tremor = _noise(count, 3, 9.0, 2.0, rng)
        rotation = np.radians(0.25 * slow[:, :3] + 0.02 * tremor) * sway
        if arrives_s:
            left = np.clip(1 - np.arange(count) / _RATE_HZ / arrives_s, 0, 1)
            rotation[:, 1] += np.radians(25) * left**2
        return cls(rotation, 6.0 * sway * slow[:, 3:])

    def at(self, pose: Pose, times_s: Floats) -> Pose:
        """The pose at times (T,)."""
        ticks = np.clip(times_s * _RATE_HZ, 0, len(self.rotation) - 1.001)
        first = ticks.astype(int)
        share = (ticks - first)[:, None]
        rotation, shift = (
            (1 - share) * values[first] + share * values[first + 1]
            for values in (self.rotation, self.shift_mm)
        )
        turn = Rotation.from_rotvec(rotation).as_matrix() @ pose.turn
        return Pose(turn, pose.place_mm + shift)


def _noise(
    count: int, series: int, middle_hz: float, wide_hz: float, rng: np.random.Generator
) -> Floats:
    """(count, series) of unit variance, with a Gaussian spectrum."""
    hertz = np.fft.rfftfreq(count, 1 / _RATE_HZ)[:, None]
    shape = np.exp(-((hertz - middle_hz) ** 2) / (2 * wide_hz**2))
    values = np.fft.irfft(
        np.fft.rfft(rng.standard_normal((count, series)), axis=0) * shape, count, axis=0
    )
    return np.asarray(values / values.std(axis=0))
