"""The window: how many pictures a second it could show, every one of them new."""

from __future__ import annotations

import os
from pathlib import Path

from emulator import Display, SimulatedClock, load_display, parse_display
from harness.patterns.sources import all_sources
from tests.benchmarks.row import Row, best_s

STEPS = 60
SQUARE = """
[grid]
columns = 24
rows = 24
pitch_mm = 20
[chip]
part = "WS2812B"
[wiring]
[cover]
depth_mm = 20
walls = "white"
"""


def rows() -> list[Row]:
    """Two walls, each with SDL drawing in memory and, where DISPLAY names one, on an X screen.

    A virtual screen (Xvfb) has no graphics card to help: the row says which driver was used.
    """
    walls = (load_display("foyer"), parse_display(SQUARE, Path("square.toml")))
    drivers = ("dummy", "x11") if os.environ.get("DISPLAY") else ("dummy",)
    return [_row(wall, driver) for wall in walls for driver in drivers]


def _row(display: Display, driver: str) -> Row:
    os.environ["SDL_VIDEODRIVER"] = driver
    import pygame

    from emulator.window import WallWindow

    window = WallWindow(
        display,
        all_sources(display),
        "scene aurora",
        real_time=False,
        pixels_wide=960,
        clock=SimulatedClock(),
    )
    used = pygame.display.get_driver()
    high = round(960 * display.grid.rows / display.grid.columns)

    def work() -> None:
        for _ in range(STEPS):
            window.step()

    step_s = best_s(work, 3) / STEPS
    window.close()
    return Row(
        f"window, {display.name}, {display.grid.columns} by {display.grid.rows} cells at 960 by"
        f" {high} pixels, SDL driver {used}, sent, powered and drawn: {1e3 * step_s:.1f} ms",
        f"{1 / step_s:.0f} frames/s",
        "≥ 60",
        "a screen of 60 frames/s",
    )
