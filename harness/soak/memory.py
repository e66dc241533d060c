"""Whether a program's memory stays as large as it was soon after its start."""

from __future__ import annotations

from collections.abc import Callable

import psutil

from emulator.clock import SECOND_NS

MINUTE_NS = 60 * SECOND_NS
MOST_GROWTH = 8 << 20  # bytes; in ten hours at 30 frames/s, 8 bytes a frame more would show


def resident_bytes() -> int:
    """Memory of this process that is in RAM (psutil: rss; on Windows the working set)."""
    return int(psutil.Process().memory_info().rss)


class MemoryWatch:
    """Looks once a minute of the show's time.

    early: the most in the first two minutes, or the first twentieth of the looks. late: the most
    in the last twentieth. looks: how often. What a show holds for a while and gives back is none of
    their difference.
    """

    def __init__(self, read: Callable[[], int] = resident_bytes) -> None:
        self._read = read
        self._next_ns = MINUTE_NS
        self._looks: list[int] = []

    def take(self, time_ns: int) -> bool:
        """Look, if a minute has passed; whether it had."""
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
        """Bytes; below 0 where it has shrunk."""
        return self.late - self.early
