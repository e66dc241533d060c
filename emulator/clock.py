"""The clock a bench runs on: simulated, which jumps, or real, which waits.

Time is integer nanoseconds from the clock's start. No other module reads the time of day.
"""

from __future__ import annotations

import time
from abc import ABC, abstractmethod

SECOND_NS = 1_000_000_000


class Clock(ABC):
    """Time that only moves forward: whole nanoseconds from the clock's start.

    Subclass it for a clock of your own.
    """

    @abstractmethod
    def now_ns(self) -> int:
        """Nanoseconds since the clock started."""

    @abstractmethod
    def wait_until(self, time_ns: int) -> None:
        """Return when the clock shows `time_ns` or later; at once if it already does. [ns]"""


class SimulatedClock(Clock):
    """Starts at 0 and jumps: every time is exact and repeatable, and waiting takes no time."""

    def __init__(self) -> None:
        self._now_ns = 0

    def now_ns(self) -> int:
        return self._now_ns

    def wait_until(self, time_ns: int) -> None:
        self._now_ns = max(self._now_ns, time_ns)


class RealClock(Clock):
    """The machine's monotonic clock; waits by sleeping."""

    def __init__(self) -> None:
        self._start_ns = time.monotonic_ns()

    def now_ns(self) -> int:
        return time.monotonic_ns() - self._start_ns

    def wait_until(self, time_ns: int) -> None:
        while (left_ns := time_ns - self.now_ns()) > 0:
            time.sleep(left_ns / 1e9)


def queued_ns(process: int | None = None) -> int:
    """Nanoseconds that a process has been ready to run and waited for a processor.

    Other work of the machine causes this part of a duration. process: the id of a process, whose
    first thread counts; None: this thread. Linux gives this as the second number of
    /proc/…/schedstat (Documentation/scheduler/sched-stats). Other systems: 0.
    """
    place = "thread-self" if process is None else str(process)
    try:
        with open(f"/proc/{place}/schedstat", "rb", buffering=0) as told:
            return int(told.read().split()[1])
    except (OSError, IndexError, ValueError):
        return 0


def cpu_ns() -> int:
    """CPU time of all threads of this process so far, in nanoseconds."""
    return time.process_time_ns()


def date_and_time() -> str:
    """The machine's date, local time and offset from UTC: '2026-12-24 19:00:00 +0100'."""
    return time.strftime("%Y-%m-%d %H:%M:%S %z")


def time_of_day_s() -> float:
    """Seconds since midnight by the machine's local time: 0 up to 86400.

    It is what a clock on the wall shows: on a day when clocks change it jumps with them.
    """
    now_s = time.time()
    hands = time.localtime(now_s)
    return hands.tm_hour * 3600 + hands.tm_min * 60 + hands.tm_sec + now_s % 1
