"""The light that each cell gives while the shutter of its line of the sensor is open.

The pattern's pictures follow each other, and within each of them every LED is switched by the pulse
width modulation of its own chip, whose oscillator runs freely. Both are integrated in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.harness.survey.filming.lens import Floats


@dataclass(frozen=True)
class Played:
    """What a wall shows over time.

    starts_s: (S,) when each picture begins, rising; the last one stays. pictures: (S, rows,
    columns, 3) linear light, 1 is full drive.
    """

    starts_s: Floats
    pictures: NDArray[np.float32]

    @property
    def ends_s(self) -> Floats:
        """(S,) when each picture ends."""
        return np.append(self.starts_s[1:], np.inf)


@dataclass(frozen=True)
class Pwm:
    """hertz, phase: (rows, columns) of each LED's own oscillator; phase in periods."""

    hertz: Floats
    phase: Floats

    @classmethod
    def of(cls, shape: tuple[int, int], hertz: float, rng: np.random.Generator) -> Pwm:
        """RC oscillators on the chips spread by some per cent."""
        return cls(hertz * (1 + 0.03 * rng.standard_normal(shape)), rng.random(shape))

    def lit_s(self, duty: Floats, begin_s: Floats, end_s: Floats) -> Floats:
        """Seconds of light (rows, columns, 3) between two times (rows, columns)."""
        duty = np.clip(duty, 0.0, 1.0)

        def until(time_s: Floats) -> Floats:
            periods = (time_s * self.hertz + self.phase)[..., None]
            whole = np.floor(periods)
            return np.asarray(whole * duty + np.minimum(periods - whole, duty))

        return np.asarray((until(end_s) - until(begin_s)) / self.hertz[..., None])


def mean_light(played: Played, pwm: Pwm, begin_s: Floats, open_s: float) -> NDArray[np.float32]:
    """(rows, columns, 3) mean light while the shutter is open from begin_s (rows, columns) on."""
    first = max(int(np.searchsorted(played.starts_s, begin_s.min(), "right")) - 1, 0)
    last = int(np.searchsorted(played.starts_s, begin_s.max() + open_s, "right"))
    total = np.zeros((*begin_s.shape, 3))
    ends_s = played.ends_s
    for step in range(first, max(last, first + 1)):
        picture = played.pictures[step].astype(np.float64)
        if not picture.any():
            continue
        opens = np.clip(begin_s, played.starts_s[step], ends_s[step])
        shuts = np.clip(begin_s + open_s, played.starts_s[step], ends_s[step])
        part = pwm.lit_s(picture, opens, shuts)
        # Light above full drive, of several channels on one place, is only brighter.
        total += part * np.maximum(picture, 1.0)
    return (total / open_s).astype(np.float32)
