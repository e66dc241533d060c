"""Keeps the frames a display has shown, with the time each was latched."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_CURVE_WIDE, _CURVE_HIGH = 480, 60  # pixels, in a notebook


class Recorder:
    """Frames in memory: times (T,) int64 ns and drives (T, N, C) uint8, channels R G B, W or I.

    leds, channels: N and C. keep: remember at least the last `keep` frames and at most twice as
    many, so that a display can run all day in bounded memory; None keeps all.
    """

    def __init__(self, leds: int, channels: int, keep: int | None = None) -> None:
        self._keep = keep
        self._count = 0
        self._times = np.empty(64, dtype=np.int64)
        self._drives = np.empty((64, leds, channels), dtype=np.uint8)

    def __len__(self) -> int:
        return self._count

    @property
    def times_ns(self) -> NDArray[np.int64]:
        """(T,) int64 ns: when each frame was latched."""
        return self._times[: self._count]

    @property
    def drives(self) -> NDArray[np.uint8]:
        """(T, N, C) uint8 drives that the LEDs showed from then on."""
        return self._drives[: self._count]

    def append(self, time_ns: int, drives: NDArray[np.uint8]) -> None:
        """Add one frame (N, C) latched at `time_ns`."""
        self._make_room(1)
        self._times[self._count] = time_ns
        self._drives[self._count] = drives
        self._count += 1

    def extend(self, times_ns: NDArray[np.int64], drives: NDArray[np.uint8]) -> None:
        """Add a stack of frames (T, N, C) latched at `times_ns` (T,)."""
        if self._keep is not None and len(times_ns) > self._keep:
            self._times, self._drives = times_ns[-self._keep :].copy(), drives[-self._keep :].copy()
            self._count = self._keep
            return
        more = len(times_ns)
        self._make_room(more)
        self._times[self._count : self._count + more] = times_ns
        self._drives[self._count : self._count + more] = drives
        self._count += more

    def _make_room(self, more: int) -> None:
        """Make room for frames, in new arrays if needed: arrays already read do not change."""
        kept = self._count
        if self._keep is not None and kept + more > 2 * self._keep:
            kept = min(kept, self._keep)
        elif kept + more <= len(self._times):
            return
        old = slice(self._count - kept, self._count)
        least = 64 if self._keep is None else min(64, 2 * self._keep)
        room = max(least, 2 * kept, kept + more)
        times = np.empty(room, dtype=np.int64)
        drives = np.empty((room, *self._drives.shape[1:]), dtype=np.uint8)
        times[:kept], drives[:kept] = self._times[old], self._drives[old]
        self._times, self._drives, self._count = times, drives, kept

    def _repr_html_(self) -> str:
        """For a notebook: how much was recorded, and a curve of the mean drive over time."""
        leds, channels = self._drives.shape[1:]
        size = f"{leds} LEDs × {channels} channels"
        if not self._count:
            return f"<p>no frame yet, {size}</p>"
        begin_s, end_s = self.times_ns[0] / 1e9, self.times_ns[-1] / 1e9
        told = f"<p>{self._count} frames, {begin_s:.3f} to {end_s:.3f} s, {size}</p>"
        if self._count < 2:
            return told
        # No more points than you can see.
        shown = np.unique(
            np.linspace(0, self._count - 1, min(self._count, _CURVE_WIDE)).astype(int)
        )
        x = (self.times_ns[shown] / 1e9 - begin_s) / (end_s - begin_s) * _CURVE_WIDE
        y = _CURVE_HIGH * (1 - self.drives[shown].mean(axis=(1, 2)) / 255)
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
        return (
            f"{told}<svg width='{_CURVE_WIDE}' height='{_CURVE_HIGH}' role='img'"
            " aria-label='mean drive over time, 0 to 255'>"
            f"<polyline points='{points}' fill='none' stroke='#0072b2'/></svg>"
        )
