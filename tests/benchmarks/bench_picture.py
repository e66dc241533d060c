"""From a camera's picture to drives: area resampling in linear light, and the canvas."""

from __future__ import annotations

import cv2
import numpy as np

from emulator import canvas, load_display
from emulator.picture.fit import fit
from tests.benchmarks.row import Row, best_s

_SIZES = ((640, 480), (1920, 1080))


def _row(width: int, height: int) -> Row:
    """fit and to_drives against OpenCV's resampling of the same code values, on one core."""
    foyer = load_display("foyer")
    image = np.random.default_rng(1).integers(0, 256, (height, width, 3), np.uint8)
    rows, columns, _ = foyer.picture_shape
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    theirs = best_s(lambda: cv2.resize(image, (columns, rows), interpolation=cv2.INTER_AREA))
    cv2.setNumThreads(threads)
    ours = best_s(lambda: canvas.to_drives(fit(image, foyer.picture_shape, "stretch"), foyer))
    return Row(
        f"{width} × {height} sRGB to {columns} × {rows} in linear light, and to drives",
        f"{1e3 * ours:.2f} ms, {ours / theirs:.1f}×",
        "≤ 3×",
        f"OpenCV INTER_AREA of the code values, {1e3 * theirs:.2f} ms",
    )


def rows() -> list[Row]:
    """The rows of this file."""
    return [_row(*size) for size in _SIZES]
