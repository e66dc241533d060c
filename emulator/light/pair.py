"""A second thread for the pixels: numpy lets go of the interpreter while it computes.

It is started when first used, ends with the program, and a forked child gets one of its own.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor


def _new() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(1, thread_name_prefix="foreglow-light")


_second = _new()


def _renew() -> None:
    global _second
    _second = _new()


if hasattr(os, "register_at_fork"):  # not on Windows, which does not fork
    os.register_at_fork(after_in_child=_renew)


def in_pair(work: Callable[[int], None]) -> None:
    """Run work(0) here and work(1) on the second thread at once; back when neither runs.

    The two must share out what there is to do so that work(0) alone does all of it: where the
    second thread is busy, or the program is ending, work(1) is left out. Raises what either does.
    """
    # Emptied at the end, so that the second thread holds on to no screen's memory meanwhile.
    held = [work]
    try:
        other = _second.submit(lambda: held[0](1))
    except RuntimeError:  # the interpreter is shutting down
        work(0)
        return
    try:
        work(0)
    finally:
        if not other.cancel():
            other.result()
        held.clear()
