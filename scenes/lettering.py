"""Text as cells: Pillow's small built-in bitmap font, for walls a few cells high."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont


@lru_cache(maxsize=64)
def text_cells(text: str) -> NDArray[np.bool_]:
    """(height, width) bool, True where the letters are; cut to the ink, but never empty."""
    font = ImageFont.load_default_imagefont()
    left, top, right, bottom = (int(v) for v in font.getbbox(text or " "))
    image = Image.new("1", (max(right - left, 1), max(bottom - top, 1)))
    ImageDraw.Draw(image).text((-left, -top), text, fill=1, font=font)
    cells = np.asarray(image, dtype=bool)
    inked = np.flatnonzero(cells.any(axis=1))
    return cells[inked[0] : inked[-1] + 1] if inked.size else cells


def place(
    cells: NDArray[np.bool_], rows: int, columns: int, top: int, left: int
) -> NDArray[np.bool_]:
    """(rows, columns) bool: `cells` put at (top, left), which may lie outside; cut off there."""
    wall = np.zeros((rows, columns), dtype=bool)
    height, width = cells.shape
    r0, r1 = max(top, 0), min(top + height, rows)
    c0, c1 = max(left, 0), min(left + width, columns)
    if r0 < r1 and c0 < c1:
        wall[r0:r1, c0:c1] = cells[r0 - top : r1 - top, c0 - left : c1 - left]
    return wall
