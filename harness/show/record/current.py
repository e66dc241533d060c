"""The current of a long show: mean, most, and a curve with a bounded number of points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes
from emulator.canvas import current_a
from emulator.description.display import Display

_BATCH = 64  # frames calculated at a time
_MOST_POINTS = 2000  # of the curve; a chart cannot show more


class CurrentLog:
    """Takes frames one by one and calculates their current as canvas.current_a does.

    frames, mean_a, most_a, most_ns: over all frames so far; the first that took most. over: how
    many took more than the display file's limit. `curve` is bounded however long the show is.
    """

    def __init__(self, display: Display) -> None:
        channels = len(display.chip.channels)
        self._display = display
        self._times_ns = np.empty(_BATCH, dtype=np.int64)
        self._drives = np.empty((_BATCH, display.leds, channels), dtype=np.uint8)
        self._waiting = 0
        self._total_a = self._most_a = 0.0
        self._frames = self._most_ns = self._over = 0
        self._width = _BATCH  # frames a point; doubles when there are too many points
        self._points: list[tuple[int, int, float, float]] = []  # time, frames, sum, most

    def take(self, time_ns: int, drives: Bytes) -> None:
        """Add a frame (N, C) shown from a time on."""
        self._times_ns[self._waiting] = time_ns
        self._drives[self._waiting] = drives
        self._waiting += 1
        if self._waiting == _BATCH:
            self._calculate()

    @property
    def frames(self) -> int:
        return self._frames + self._waiting

    @property
    def mean_a(self) -> float:
        self._calculate()
        return self._total_a / max(self._frames, 1)

    @property
    def most_a(self) -> float:
        self._calculate()
        return self._most_a

    @property
    def most_ns(self) -> int:
        self._calculate()
        return self._most_ns

    @property
    def over(self) -> int:
        self._calculate()
        return self._over

    def curve(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """(P,) seconds at which each point begins, its mean and its most in amperes; P ≤ 2000."""
        self._calculate()
        table = np.array(self._points, dtype=np.float64).reshape(-1, 4)
        return table[:, 0] / 1e9, table[:, 2] / table[:, 1], table[:, 3]

    def _calculate(self) -> None:
        if not self._waiting:
            return
        limit_a = self._display.power.limit_a
        amps = current_a(self._drives[: self._waiting], self._display.chip)
        most = int(amps.argmax())
        if amps[most] > self._most_a:
            self._most_a, self._most_ns = float(amps[most]), int(self._times_ns[most])
        self._total_a += float(amps.sum())
        self._frames += self._waiting
        self._over += 0 if limit_a is None else int((amps > limit_a).sum())
        self._add_point(int(self._times_ns[0]), self._waiting, float(amps.sum()), float(amps.max()))
        self._waiting = 0

    def _add_point(self, time_ns: int, frames: int, total_a: float, most_a: float) -> None:
        last = self._points[-1] if self._points else None
        if last is not None and last[1] + frames <= self._width:
            last_ns, count, total, most = last
            self._points[-1] = last_ns, count + frames, total + total_a, max(most, most_a)
        else:
            self._points.append((time_ns, frames, total_a, most_a))
        if len(self._points) > _MOST_POINTS:
            self._width *= 2
            self._points, finer = [], self._points
            for point in finer:
                self._add_point(*point)
