"""How long a scene takes to draw its pictures, in CPU time of this process.

The clock of a soak stops while a scene computes, so only this shows a scene that is too slow for
the wall. CPU time does not grow because other programs run.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator

from emulator.clock import cpu_ns


class Drawing:
    """Measures the drawing of pictures.

    drawn: how many. slow: how many took longer than a period. most_ns: the longest.
    """

    def __init__(self, period_ns: float, read: Callable[[], int] = cpu_ns) -> None:
        self._period_ns, self._read = period_ns, read
        self.drawn = self.slow = self.most_ns = 0

    @contextlib.contextmanager
    def timed(self) -> Iterator[None]:
        """Measure the drawing of one picture in a `with` block; it does not count if it raises."""
        begin_ns = self._read()
        yield
        took_ns = self._read() - begin_ns
        self.drawn += 1
        self.slow += took_ns > self._period_ns
        self.most_ns = max(self.most_ns, took_ns)
