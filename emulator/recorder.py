"""Keeps the frames a display has shown, with the time each was latched."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


class Recorder:
    """Frames in memory: times (T,) int64 ns and drives (T, N, C) uint8.

    keep: remember only about the last `keep` frames (at least these, at most twice as many),
    so that a display can run all day in bounded memory; None keeps all.
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
        """(T,) when each frame was latched."""
        return self._times[: self._count]

    @property
    def drives(self) -> NDArray[np.uint8]:
        """(T, N, C) what the LEDs showed from then on."""
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
        """Make room for frames, in new arrays where needed: what was read stays as it was."""
        kept = self._count
        if self._keep is not None and kept + more > 2 * self._keep:
            kept = min(kept, self._keep)
        elif kept + more <= len(self._times):
            return
        old = slice(self._count - kept, self._count)
        room = max(64, 2 * kept, kept + more)
        times = np.empty(room, dtype=np.int64)
        drives = np.empty((room, *self._drives.shape[1:]), dtype=np.uint8)
        times[:kept], drives[:kept] = self._times[old], self._drives[old]
        self._times, self._drives, self._count = times, drives, kept
