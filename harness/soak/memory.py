"""Whether a program's memory grows after its start."""

from __future__ import annotations

from collections.abc import Callable

import psutil

from emulator.clock import SECOND_NS

MINUTE_NS = 60 * SECOND_NS
MOST_GROWTH = 8 << 20  # bytes; ten hours at 30 frames/s exceed it with a leak of 8 bytes a frame


def resident_bytes() -> int:
    """Memory of this process that is in RAM (psutil: rss; on Windows the working set)."""
    return int(psutil.Process().memory_info().rss)


class MemoryWatch:
    """Measures the memory once a minute of the show's time.

    early: the most bytes in the first two minutes, or the first twentieth of the measurements.
    late: the most in the last twentieth. looks: number of measurements. Memory that a show uses for
    a while and releases does not count as growth.
    """

    def __init__(self, read: Callable[[], int] = resident_bytes) -> None:
        self._read = read
        self._next_ns = MINUTE_NS
        self._looks: list[int] = []

    def take(self, time_ns: int) -> bool:
        """Measure if a minute has passed. Returns whether it has."""
        if time_ns < self._next_ns:
            return False
        self._next_ns += MINUTE_NS
        self._looks.append(self._read())
        return True

    @property
    def looks(self) -> int:
        return len(self._looks)

    @property
    def _share(self) -> int:
        return max(2, len(self._looks) // 20)

    @property
    def early(self) -> int:
        return max(self._looks[: self._share], default=0)

    @property
    def late(self) -> int:
        return max(self._looks[-self._share :], default=0)

    @property
    def growth(self) -> int:
        """In bytes; below 0 if the memory has shrunk."""
        return self.late - self.early
