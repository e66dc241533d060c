"""The time of day, as it is not: so that a schedule is seen at the hour it is made for.

time-machine puts it in place in C, for all that reads it: time.time, localtime and strftime,
datetime.now and date.today, wherever code has put these functions.
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
    """Meanwhile it is `now_ns()`, in nanoseconds since the epoch, for code that is `here`."""
    import time_machine  # here: it loads pytest where that is installed

    def told_ns() -> int:
        return now_ns() if here() else time_machine.escape_hatch.time.time_ns()

    with time_machine.travel(0, tick=False) as traveller:
        traveller.time_ns = told_ns  # type: ignore[method-assign]
        yield


@contextlib.contextmanager
def day_from(text: str | None, clock: Clock, ahead_s: float = 0.0) -> Iterator[None]:
    """Meanwhile the time of day begins at a `moment`, `ahead_s` later, and goes on by a clock.

    None: it is left as it is. Raises ForeglowError.
    """
    if text is None:
        yield
        return
    begin_ns = round((moment(text) + ahead_s) * SECOND_NS) - clock.now_ns()
    with day(lambda: begin_ns + clock.now_ns()):
        yield
