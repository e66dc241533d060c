"""The window: how many pictures a second it could show, every one of them new.

`rows` for common walls, `large_rows` for walls with small cells.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from emulator import Display, SimulatedClock, load_display, parse_display
from harness.patterns.sources import all_sources
from tests.benchmarks.row import Row, best_s

STEPS = 60


def square(cells: int, walls: str) -> Display:
    """A square wall; what is not said about its power is assumed."""
    text = f"[grid]\ncolumns = {cells}\nrows = {cells}\npitch_mm = 20\n[chip]\npart = 'WS2812B'\n"
    text += f"[wiring]\nlines = {cells}\n[cover]\ndepth_mm = 20\nwalls = '{walls}'\n"
    return parse_display(text, Path("square.toml"))


def rows() -> list[Row]:
    """Two walls, each with SDL drawing in memory and, where DISPLAY names one, on an X screen.

    A virtual screen (Xvfb) has no graphics card to help: the row says which driver was used.
    """
    walls = (load_display("foyer"), square(24, "white"))
    drivers = ("dummy", "x11") if os.environ.get("DISPLAY") else ("dummy",)
    return [_row(wall, driver) for wall in walls for driver in drivers]


def large_rows() -> Iterator[Row]:
    """A wall of 100,000 LEDs, and one whose light passes between the cells; drawn in memory.

    Two threads share these walls (emulator.window.behind): they need two idle cores.
    """
    yield _row(square(316, "black"), "dummy", 1000, 30, steps=4)
    yield _row(square(128, "none"), "dummy", 1024, 60, steps=15)


def _row(
    display: Display, driver: str, wide: int = 960, wanted: int = 60, steps: int = STEPS
) -> Row:
    os.environ["SDL_VIDEODRIVER"] = driver
    import pygame

    from emulator.window import WallWindow

    window = WallWindow(
        display,
        all_sources(display),
        "scene aurora",
        real_time=False,
        pixels_wide=wide,
        clock=SimulatedClock(),
    )
    used = pygame.display.get_driver()
    high = round(wide * display.grid.rows / display.grid.columns)

    def work() -> None:
        for _ in range(steps):
            window.step()

    step_s = best_s(work, 3) / steps
    window.close()
    return Row(
        f"window, {display.name}, {display.grid.columns} by {display.grid.rows} cells at {wide} by"
        f" {high} pixels, SDL driver {used}, sent, powered and drawn: {1e3 * step_s:.1f} ms",
        f"{1 / step_s:.0f} frames/s",
        f"≥ {wanted}",
        f"a screen of {wanted} frames/s",
    )
