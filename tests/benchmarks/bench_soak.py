"""Hours of the show on simulated time, with current log and voltages."""

from __future__ import annotations

import time
from pathlib import Path

from emulator import parse_display
from harness.soak.soak import soak
from tests.benchmarks.row import Row

WALL = """
[grid]
columns = 24
rows = 24
[chip]
part = "WS2812B"
[wiring]
[controller]
frame_rate = 30
"""
_HOURS = 10


def minute_s() -> float:
    """Seconds of one core for a simulated minute, whatever else the machine does."""
    display = parse_display(WALL, Path("bench.toml"))
    begin_s = time.process_time()
    soak(display, "clock", 60)
    return time.process_time() - begin_s


def rows() -> list[Row]:
    """The row of this file: one simulated minute measured, ten hours calculated from it.

    Run `foreglow soak foyer clock --hours 10` for the whole, memory included.
    """
    one_s = min(minute_s() for _ in range(3))
    return [
        Row(
            "ten hours at 30 frames/s, 576 LEDs, simulated clock, with current log",
            f"{1 / one_s:.1f} minutes a second, ten hours in {_HOURS * 60 * one_s:.0f} s",
            "≤ 600 s",
            "the clock, one core",
        )
    ]
