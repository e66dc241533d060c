"""Cells to a screen picture: against OpenCV's blur of the same picture, and in frames a second."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from emulator import Display, parse_display
from emulator.light.look import Look
from emulator.light.wall import WallView
from tests.benchmarks.row import Row, best_s

SIDE = 960
OWN = Look(None, 200, None, True)


def wall(cells: int, walls: str) -> Display:
    """A square wall with 20 mm of depth behind 33.3 mm cells."""
    text = f"[grid]\ncolumns={cells}\nrows={cells}\n[chip]\npart='WS2812B'\n[wiring]\n"
    return parse_display(f"{text}[cover]\ndepth_mm=20\nwalls='{walls}'\n", Path("bench.toml"))


def drawing(cells: int, pixels: int, walls: str, look: Look | None = None) -> Callable[[], object]:
    """Draws one picture; the view is already built and used once."""
    view = WallView(wall(cells, walls), pixels, look)
    lit = np.random.default_rng(1).random((cells, cells, 3)).astype(np.float32)
    view.draw(lit)
    return lambda: view.draw(lit)


def blurring(dtype: type) -> Callable[[], object]:
    """OpenCV's GaussianBlur of 24 × 24 cells at 960 × 960, as wide as the spot.

    The spot cos⁴θ of a depth h falls to one half at 0.6436 h, a Gaussian at 1.1774 σ.
    """
    lit = np.random.default_rng(1).random((24, 24, 3))
    picture = np.repeat(np.repeat(lit, SIDE // 24, axis=0), SIDE // 24, axis=1)
    picture = picture.astype(dtype) if dtype is np.float32 else (255 * picture).astype(dtype)
    sigma = 20 * 0.6436 / 1.1774 * SIDE / (24 * 1000 / 30)
    return lambda: cv2.GaussianBlur(picture, (0, 0), sigma)


def beside_blur() -> list[Row]:
    """Row 3 of the design's table; both sides have one thread."""
    usual = cv2.getNumThreads()
    cv2.setNumThreads(1)
    made = []
    for walls, look in (("black", None), ("white", None), ("none", None), ("black", OWN)):
        draw = drawing(24, SIDE, walls, look)
        works = {"codes": blurring(np.uint8), "linear": blurring(np.float32), "ours": draw}
        best = dict.fromkeys(works, float("inf"))
        for _ in range(12):  # in turn, so that other programs disturb all in the same way
            for name, work in works.items():
                best[name] = min(best[name], best_s(work, 6 if name == "ours" else 1))
        codes, linear, ours = best.values()
        kind = f"walls {walls}" + (", the LEDs' own colours, 200 lx" if look else "")
        made.append(
            Row(
                f"24 × 24 cells to 960 × 960 sRGB, {kind}: {1e3 * ours:.2f} ms",
                f"{codes / ours:.1f}× ({linear / ours:.1f}× on linear float32)",
                "≥ 8×",
                f"OpenCV GaussianBlur of 8-bit codes, {1e3 * codes:.1f} ms, of linear float32,"
                f" {1e3 * linear:.1f} ms; a thread each",
            )
        )
    cv2.setNumThreads(usual)
    return made


def rows() -> list[Row]:
    """The rows of this file."""
    made = beside_blur()
    for walls in ("black", "none"):
        large = best_s(drawing(128, 1024, walls), 50)
        made.append(
            Row(
                f"128 × 128 cells to 1024 × 1024, walls {walls}: {1e3 * large:.2f} ms",
                f"{1 / large:.0f} frames/s",
                "> 60",
                "a screen of 60 frames/s",
            )
        )
    return made
