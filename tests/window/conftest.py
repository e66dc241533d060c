"""A window without a screen, on a small display, on a clock that tests set."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pygame
import pytest

from emulator import Display, SimulatedClock, parse_display
from emulator.window import WallWindow

SMALL = """
[grid]
columns = 8
rows = 4
gaps = [{ column = 3, row = 1, columns = 2, rows = 2 }]
[chip]
part = "WS2812B-V5"
[wiring]
lines = 2
[controller]
frame_rate = 25
[cover]
depth_mm = 15
"""


@pytest.fixture
def dummy_screen(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """SDL's own driver that draws in memory; no screen is needed or opened."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    yield
    pygame.display.quit()


@pytest.fixture
def display() -> Display:
    """8 × 4 cells, two lines, a gap in the middle."""
    return parse_display(SMALL, Path("small.toml"))


def solid(display: Display, *rgb: float) -> np.ndarray:
    picture = np.zeros(display.picture_shape, dtype=np.float32)
    picture[...] = rgb
    return picture


@pytest.fixture
def make(dummy_screen: None, display: Display) -> Iterator[Callable[..., WallWindow]]:
    """Makes windows of the small display with sources dark, red, green and first; closes them."""
    first = solid(display, 0, 0, 0)
    first[0, 0] = (1, 0, 0)
    sources = {
        "dark": lambda time_s: solid(display, 0, 0, 0),
        "red": lambda time_s: solid(display, 1, 0, 0),
        "green": lambda time_s: solid(display, 0, 1, 0),
        "first": lambda time_s: first,
        "level": lambda time_s: solid(display, 0, 0, min(time_s / 10, 1)),
    }
    made = []

    def window(playing: str = "dark", **options: object) -> WallWindow:
        options.setdefault("real_time", False)
        options.setdefault("clock", SimulatedClock())
        options.setdefault("pixels_wide", 480)
        made.append(WallWindow(display, sources, playing, **options))  # type: ignore[arg-type]
        return made[-1]

    yield window
    for each in made:
        each.close()
