"""What the LEDs showed after each picture, and which picture that was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools

Levels = NDArray[np.int16]
Indices = NDArray[np.intp]

MOST_LAG = 8  # frames by which a picture may come late and still be found
FIRST = 8  # frames that may differ: the code under test may still be starting
DARK = MOST_LAG + 1  # as a state: the LED shows nothing; the states below are lags
_DITHERED = 2  # drive steps between two answers to one picture: one step up, one step down


def as_levels(drives: NDArray[np.uint8], channels: str) -> Levels:
    """Drives (…, C) times their common intensity, if there is one: (…, 3) for RGBI."""
    if channels != "RGBI":
        return drives.astype(np.int16)
    light = drives[..., :3] * (drives[..., 3:] / 31)
    return np.round(light).astype(np.int16)


@dataclass(frozen=True)
class Answers:
    """What N LEDs showed after each of T pictures.

    levels: (T, N, C) int16. order: (T,) which picture was asked for.
    """

    levels: Levels
    order: Indices

    @property
    def tolerance(self) -> int:
        """Steps by which two answers to one picture may differ: dithering is right.

        Less for a wall so dim that a few steps are its whole range.
        """
        return min(_DITHERED, int(np.ptp(self.levels)) // 3)

    @property
    def frames(self) -> int:
        return len(self.order)

    def asked(self, lag: int) -> Indices:
        """(T,) which picture was asked for `lag` frames earlier; -1 before the first."""
        return np.concatenate([np.full(lag, -1), self.order[: self.frames - lag]])

    def part(self, begin: int) -> Answers:
        """From a frame on."""
        return Answers(self.levels[begin:], self.order[begin:])


def constant_lags(answers: Answers, begin: int = FIRST) -> Indices:
    """(N,) by how many frames each LED is late; -1 if no lag makes its answers the same.

    An LED is late by the smallest lag with which it always shows the same for the same picture.
    The first `begin` frames do not count.
    """
    lags = np.full(answers.levels.shape[1], -1, dtype=np.intp)
    for lag in range(MOST_LAG + 1):
        left = np.flatnonzero(lags < 0)
        if not left.size:
            break
        steady = np.ones(left.size, dtype=bool)
        levels = answers.levels if left.size == lags.size else answers.levels[:, left]
        asked = answers.asked(lag)
        for picture in np.unique(answers.order):
            times = np.flatnonzero(asked == picture)
            of_one = levels[times[times >= max(begin, lag)]]
            if len(of_one):
                apart = of_one.max(axis=0) - of_one.min(axis=0)
                steady &= (apart <= answers.tolerance).all(axis=-1)
        lags[left[steady]] = lag
    return lags


def references_by_lag(answers: Answers, lags: Indices, begin: int = FIRST) -> Levels:
    """(K, N, C) what each LED shows for each picture, from answers that are late by `lags`."""
    _, leds, channels = answers.levels.shape
    shown = np.zeros((int(answers.order.max()) + 1, leds, channels), dtype=np.int16)
    for lag in np.unique(lags).tolist():
        late = np.flatnonzero(lags == lag)
        asked = answers.asked(lag)
        for picture in range(len(shown)):
            times = np.flatnonzero(asked == picture)
            times = times[times >= max(begin, lag)]
            if times.size:
                shown[picture, late] = np.round(np.median(answers.levels[times][:, late], axis=0))
    return shown


def most_often(levels: Levels, tolerance: int) -> Levels:
    """(N, C) what each LED showed most often among (M, N, C); the brighter one of two."""
    votes = np.zeros(levels.shape[:2], dtype=np.int64)
    for one in levels:
        votes += (np.abs(levels - one) <= tolerance).all(axis=-1)
    light = levels.sum(axis=-1, dtype=np.int64)
    best = (votes * (1 + int(light.max(initial=0))) + light).argmax(axis=0)
    chosen: Levels = levels[best, np.arange(levels.shape[1])]
    return chosen


def possible_states(answers: Answers, shown: Levels) -> Bools:
    """(S, T, N) whether each LED may be in a state: a lag 0 to MOST_LAG, or DARK.

    shown: (K, N, C) what each LED shows for each picture. Before the first picture every lag fits.
    """
    frames, leds, _ = answers.levels.shape
    states = np.zeros((DARK + 1, frames, leds), dtype=bool)
    states[DARK] = (answers.levels <= 1).all(axis=-1)
    for lag in range(MOST_LAG + 1):
        expected = shown[answers.asked(lag)]
        near = np.abs(answers.levels - expected) <= answers.tolerance
        states[lag] = near.all(axis=-1)
        states[lag, :lag] = True
    return states
