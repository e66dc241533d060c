"""A simulated time of day, so that you can see a schedule at the hour it is made for.

The library time-machine replaces the clock in C for everything that reads it: time.time, localtime
and strftime, datetime.now and date.today, also where code keeps these functions elsewhere.
"""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Callable, Iterator

from emulator.clock import SECOND_NS, Clock
from emulator.errors import ForeglowError


def moment(text: str) -> float:
    """Seconds since the epoch of a text such as 2026-12-24T19:00: local time, or with an offset.

    Raises ForeglowError.
    """
    try:
        return datetime.datetime.fromisoformat(text).timestamp()
    except (ValueError, OverflowError, OSError):  # a year that the system does not know
        raise ForeglowError(
            f"'{text}' is not a valid time of day",
            fix="write 2026-12-24T19:00, which is local time, or 2026-12-24T19:00+01:00.",
        ) from None


@contextlib.contextmanager
def day(now_ns: Callable[[], int], here: Callable[[], bool] = lambda: True) -> Iterator[None]:
    """Until the block ends, code that is `here` reads `now_ns()`, in ns since the epoch."""
    import time_machine  # here: it loads pytest if that is installed

    def told_ns() -> int:
        return now_ns() if here() else time_machine.escape_hatch.time.time_ns()

    with time_machine.travel(0, tick=False) as traveller:
        traveller.time_ns = told_ns  # type: ignore[method-assign]
        yield


@contextlib.contextmanager
def day_from(text: str | None, clock: Clock, ahead_s: float = 0.0) -> Iterator[None]:
    """Until the block ends, the time of day follows a clock, from a `moment` plus `ahead_s`.

    text: as `moment` takes it; None leaves the time of day as it is. Raises ForeglowError for an
    invalid text.
    """
    if text is None:
        yield
        return
    begin_ns = round((moment(text) + ahead_s) * SECOND_NS) - clock.now_ns()
    with day(lambda: begin_ns + clock.now_ns()):
        yield
