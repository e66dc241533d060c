"""One row of the benchmark table."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import NamedTuple


class Row(NamedTuple):
    """What was done, the ratio measured, the ratio wanted, and what it is measured against."""

    work: str
    measured: str
    wanted: str
    anchor: str


def best_s(work: Callable[[], object], repeats: int = 7) -> float:
    """Least time of several runs: the one least disturbed by other programs."""
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)
