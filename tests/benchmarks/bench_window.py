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


def square(cells: int, walls: str, *, fed: bool = False) -> Display:
    """A square wall. Fed: each line has a supply and a feed every 50 LEDs; else the power is as
    assumed, one feed a line, and most of a long line lacks volts."""
    text = f"[grid]\ncolumns = {cells}\nrows = {cells}\npitch_mm = 20\n[chip]\npart = 'WS2812B'\n"
    text += f"[wiring]\nlines = {cells}\n[cover]\ndepth_mm = 20\nwalls = '{walls}'\n"
    if fed:
        text += "[power]\n" + "[[power.supply]]\nvolts = 5.0\namps = 20.0\n" * cells
        text += "".join(
            f"[[power.feed]]\nline = {line}\nled = {led}\nsupply = {line}\n"
            for line in range(cells)
            for led in range(0, cells, 50)
        )
    return parse_display(text, Path("square.toml"))


def rows() -> list[Row]:
    """Two walls, each with SDL drawing in memory and, where DISPLAY names one, on an X screen.

    A virtual screen (Xvfb) has no graphics card to help: the row says which driver was used.
    """
    walls = (load_display("foyer"), square(24, "white"))
    drivers = ("dummy", "x11") if os.environ.get("DISPLAY") else ("dummy",)
    return [_row(wall, driver) for wall in walls for driver in drivers]


def large_rows() -> Iterator[Row]:
    """Walls of 100,000 LEDs, and one whose light passes between the cells; drawn in memory.

    Two threads share these walls (emulator.window.behind): they need two idle cores. Where LEDs
    lack volts, the rails take several times as long.
    """
    yield _row(square(316, "black", fed=True), "dummy", 1000, 30, steps=8)
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

    step_s = best_s(work, 8) / steps  # other programs disturb some
    window.close()
    fed = ", fed every 50 LEDs" if display.power.feed else ""
    return Row(
        f"window, {display.name}{fed}, {display.grid.columns} by {display.grid.rows} cells at"
        f" {wide} by {high} pixels, SDL driver {used}, sent,"
        f" powered and drawn: {1e3 * step_s:.1f} ms",
        f"{1 / step_s:.0f} frames/s",
        f"≥ {wanted}",
        f"a screen of {wanted} frames/s",
    )
