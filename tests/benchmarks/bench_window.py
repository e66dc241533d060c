"""The window: how many pictures a second it could show, every one of them new."""

from __future__ import annotations

import os

from emulator import SimulatedClock, load_display
from harness.sources import all_sources
from tests.benchmarks.row import Row, best_s

STEPS = 60


def rows() -> list[Row]:
    """The row of this file; without a virtual screen SDL draws in memory."""
    if not os.environ.get("DISPLAY"):
        os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
    from emulator.window import WallWindow

    display = load_display("foyer")
    window = WallWindow(
        display,
        all_sources(display),
        "scene aurora",
        real_time=False,
        pixels_wide=960,
        clock=SimulatedClock(),
    )

    def work() -> None:
        for _ in range(STEPS):
            window.step()

    step_s = best_s(work, 3) / STEPS
    window.close()
    return [
        Row(
            f"window, foyer at 960 pixels, sent, powered and drawn: {1e3 * step_s:.1f} ms",
            f"{1 / step_s:.0f} frames/s",
            "≥ 60",
            "a screen of 60 frames/s",
        )
    ]
