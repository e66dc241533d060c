"""Mistakes of code in time: which picture it shows when, and how long it takes.

Each is made once for a run and then called with picture after picture, (rows, columns, 3); it
returns the picture that the right code would have to be given to show what the wrong code shows.
To add one: subclass TimeMistake and enter it in MOMENTS.
"""

from __future__ import annotations

import time
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Picture


class TimeMistake:
    """A mistake in time, in words, and what code that makes it has seen so far."""

    what: ClassVar[str]

    def __init__(self, frame_rate: float) -> None:
        """frame_rate: pictures/s that the display file asks for."""
        self.frame_rate = frame_rate
        self.number = -1  # of this picture
        self._before: Picture | None = None  # the picture before

    def __call__(self, picture: Picture) -> Picture:
        """The picture that is shown in place of this one. The first comes after black."""
        before = self._before
        if before is None or before.shape != picture.shape:
            before = np.zeros_like(picture)
        self.number += 1
        self._before = picture.copy()
        return self._shown(picture, before)

    def _shown(self, picture: Picture, before: Picture) -> Picture:
        raise NotImplementedError


class OneLate(TimeMistake):
    """The picture before."""

    what = "each picture is shown one frame late"

    def _shown(self, picture: Picture, before: Picture) -> Picture:
        return before


class EverySecond(TimeMistake):
    """Half of the frame rate, repeated."""

    what = "every second picture is left out: the one before is repeated"

    def _shown(self, picture: Picture, before: Picture) -> Picture:
        return before if self.number % 2 else picture


class Flicker(TimeMistake):
    """Black now and then."""

    what = "every fifth frame is black"

    def _shown(self, picture: Picture, before: Picture) -> Picture:
        return np.zeros_like(picture) if self.number % 5 == 4 else picture


class Torn(TimeMistake):
    """A buffer that is overwritten while it is sent."""

    what = "the lower half still shows the picture before"

    def _shown(self, picture: Picture, before: Picture) -> Picture:
        half = len(picture) // 2
        return np.concatenate((picture[:half], before[half:]))


class Trail(TimeMistake):
    """A buffer that is not cleared."""

    what = "a quarter of the picture before shines through"

    def _shown(self, picture: Picture, before: Picture) -> Picture:
        mixed: NDArray[Any] = 0.75 * picture + 0.25 * before
        return (np.round(mixed) if picture.dtype.kind in "ui" else mixed).astype(picture.dtype)


class Slow(TimeMistake):
    """Every tenth picture only: a run of tests then still ends soon."""

    what = "every tenth picture takes one and a half frame periods"

    def _shown(self, picture: Picture, before: Picture) -> Picture:
        if self.number % 10 == 9:
            time.sleep(1.5 / self.frame_rate)
        return picture


MOMENTS: dict[str, type[TimeMistake]] = {
    "one late": OneLate,
    "every second": EverySecond,
    "flicker": Flicker,
    "torn": Torn,
    "trail": Trail,
    "slow": Slow,
}
