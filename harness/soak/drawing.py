"""How long a scene computes over its pictures, in CPU time of this process.

A soak's clock stands still while a scene computes, so a scene that is too slow for the wall is seen
here alone. CPU time does not grow because other programs run.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator

from emulator.clock import cpu_ns


class Drawing:
    """Counts pictures: use it around the drawing of each.

    drawn: how many. slow: how many took longer than a period. most_ns: the longest.
    """

    def __init__(self, period_ns: float, read: Callable[[], int] = cpu_ns) -> None:
        self._period_ns, self._read = period_ns, read
        self.drawn = self.slow = self.most_ns = 0

    @contextlib.contextmanager
    def timed(self) -> Iterator[None]:
        """One picture is drawn within; one that raises is none."""
        begin_ns = self._read()
        yield
        took_ns = self._read() - begin_ns
        self.drawn += 1
        self.slow += took_ns > self._period_ns
        self.most_ns = max(self.most_ns, took_ns)
