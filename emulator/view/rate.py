"""The frames a second, over the last second."""

from __future__ import annotations

from collections import deque

_SPAN_NS = 1_000_000_000


class Rate:
    """Counts frames; times are ns on one clock, in order."""

    def __init__(self) -> None:
        self._times: deque[int] = deque(maxlen=1024)

    def count(self, time_ns: int) -> None:
        """Count a frame at `time_ns`."""
        self._times.append(time_ns)
        while time_ns - self._times[0] > _SPAN_NS:
            self._times.popleft()

    def at(self, time_ns: int) -> float | None:
        """Frames a second at `time_ns`; None before the second frame, or if the last is old."""
        times = self._times
        if len(times) < 2 or times[-1] == times[0] or time_ns - times[-1] > _SPAN_NS:
            return None
        return (len(times) - 1) * 1e9 / (times[-1] - times[0])

    def forget(self) -> None:
        """Start again, after a pause."""
        self._times.clear()
