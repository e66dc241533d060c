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
        if self._keep is not None and self._count >= 2 * self._keep:
            self._drop_oldest()
        self._make_room(1)
        self._times[self._count] = time_ns
        self._drives[self._count] = drives
        self._count += 1

    def extend(self, times_ns: NDArray[np.int64], drives: NDArray[np.uint8]) -> None:
        """Add a stack of frames (T, N, C) latched at `times_ns` (T,)."""
        if self._keep is not None:
            times_ns, drives = times_ns[-self._keep :], drives[-self._keep :]
            if self._count >= self._keep:
                self._drop_oldest()
        more = len(times_ns)
        self._make_room(more)
        self._times[self._count : self._count + more] = times_ns
        self._drives[self._count : self._count + more] = drives
        self._count += more

    def _drop_oldest(self) -> None:
        kept = self._keep or 0
        self._times[:kept] = self._times[self._count - kept : self._count]
        self._drives[:kept] = self._drives[self._count - kept : self._count]
        self._count = kept

    def _make_room(self, more: int) -> None:
        room = len(self._times)
        if self._count + more <= room:
            return
        room = max(2 * room, self._count + more)
        self._times = np.concatenate([self._times, np.empty(room - len(self._times), np.int64)])
        drives = np.empty((room, *self._drives.shape[1:]), dtype=np.uint8)
        drives[: self._count] = self._drives[: self._count]
        self._drives = drives
