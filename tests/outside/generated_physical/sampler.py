"""A logic analyser: samples lines at its own rate and records when they had changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATES = (8e6, 12e6, 16e6, 24e6, 50e6, 100e6)
ODD_RATES = (10e6, 13.7e6, 20e6, 25e6, 33.333e6, 40e6, 48e6, 62.5e6, 80e6, 125e6, 200e6, 250e6)


@dataclass
class Seen:
    """Samples: `at[k]` is the number of a sample that differs from the one before, `levels[k]`
    what all lines show from there on; `count` samples in all. `at[0]` is 0."""

    rate: float
    at: NDArray[np.int64]
    levels: NDArray[np.uint8]  # (changes, lines)
    count: int

    @property
    def step_ns(self) -> float:
        return 1e9 / self.rate

    def every(self) -> NDArray[np.uint8]:
        """(samples, lines): one row a sample."""
        return np.repeat(self.levels, np.diff(np.append(self.at, self.count)), axis=0)

    def with_lines(self, levels: NDArray[np.uint8]) -> Seen:
        return Seen(self.rate, self.at, levels, self.count)


def sample(
    edges: list[NDArray[np.float64]], end_ns: float, rate: float, lead_ns: float, phase: float
) -> Seen:
    """Look at the lines, all low before their first edge, `rate` times a second (± some ppm: the
    clocks of sender and analyser are two, so the phase drifts)."""
    step = 1e9 / rate
    count = int((lead_ns + end_ns) / step) + 2
    marks = [np.ceil((e + lead_ns) / step + phase).astype(np.int64) for e in edges]
    at = np.unique(np.concatenate([[0], *marks]))
    at = at[at < count]
    levels = np.stack(
        [np.searchsorted(m, at, side="right").astype(np.int64) % 2 for m in marks], axis=1
    ).astype(np.uint8)
    keep = np.append(True, np.any(np.diff(levels.astype(np.int8), axis=0) != 0, axis=1))
    return Seen(rate, at[keep], levels[keep], count)
