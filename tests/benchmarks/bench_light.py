"""Cells to a screen picture: against OpenCV's blur of the same picture, and in frames a second."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from emulator import Display, parse_display
from emulator.light.look import Look
from emulator.light.wall import WallView
from tests.benchmarks.row import Row, best_s

SIDE = 960


def wall(cells: int, walls: str) -> Display:
    """A square wall with 20 mm of depth behind 33.3 mm cells."""
    text = f"[grid]\ncolumns={cells}\nrows={cells}\n[chip]\npart='WS2812B'\n[wiring]\n"
    return parse_display(f"{text}[cover]\ndepth_mm=20\nwalls='{walls}'\n", Path("bench.toml"))


def draw_s(cells: int, pixels: int, walls: str, look: Look | None = None) -> float:
    """Time of one picture, the view already built and used once."""
    view = WallView(wall(cells, walls), pixels, look)
    lit = np.random.default_rng(1).random((cells, cells, 3)).astype(np.float32)
    view.draw(lit)
    return best_s(lambda: view.draw(lit), 25)


def blur_s(dtype: type) -> float:
    """Time OpenCV's GaussianBlur takes for 24 × 24 cells at 960 × 960, as wide as the spot.

    The spot cos⁴θ of a depth h falls to one half at 0.6436 h, a Gaussian at 1.1774 σ.
    """
    lit = np.random.default_rng(1).random((24, 24, 3))
    picture = np.repeat(np.repeat(lit, SIDE // 24, axis=0), SIDE // 24, axis=1)
    picture = picture.astype(dtype) if dtype is np.float32 else (255 * picture).astype(dtype)
    sigma = 20 * 0.6436 / 1.1774 * SIDE / (24 * 1000 / 30)
    return best_s(lambda: cv2.GaussianBlur(picture, (0, 0), sigma), 9)


def rows() -> list[Row]:
    """The rows of this file."""
    linear, codes = blur_s(np.float32), blur_s(np.uint8)
    made = []
    for walls, look in (("black", None), ("none", None), ("black", Look(None, 200, None, True))):
        ours = draw_s(24, SIDE, walls, look)
        kind = f"walls {walls}" if look is None else "the same in the LEDs' own colours, 200 lx"
        made.append(
            Row(
                f"24 × 24 cells to 960 × 960 sRGB, {kind}: {1e3 * ours:.2f} ms",
                f"{linear / ours:.1f}× faster ({codes / ours:.1f}× on 8-bit codes)",
                "≥ 8×",
                f"OpenCV GaussianBlur of linear float32, {1e3 * linear:.1f} ms",
            )
        )
    for walls in ("black", "none"):
        large = draw_s(128, 1024, walls)
        made.append(
            Row(
                f"128 × 128 cells to 1024 × 1024, walls {walls}: {1e3 * large:.2f} ms",
                f"{1 / large:.0f} frames/s",
                "> 60",
                "a screen of 60 frames/s",
            )
        )
    return made
