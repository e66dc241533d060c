"""A wall as squares, a PNG picture: for comparing cells, not for its looks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from emulator.picture.srgb import linear_to_srgb

_WIDE = 384  # pixels the longer side fills, roughly: three pictures stand beside each other
_LEAST, _MOST = 4, 32  # pixels a cell
_LINE, _GAP = (48, 50, 58), (84, 88, 98)  # between the cells, and where there is no LED


def cell_picture(cells: NDArray[np.float32], gap: NDArray[np.bool_]) -> Image.Image:
    """Linear light (rows, columns, 3) as squares of one size; a gap is grey, struck through."""
    rows, columns = gap.shape
    side = int(np.clip(_WIDE // max(rows, columns), _LEAST, _MOST))
    codes = np.round(255 * linear_to_srgb(cells)).astype(np.uint8)
    codes[gap] = _LINE
    squares = codes.repeat(side, axis=0).repeat(side, axis=1)
    down, across = np.indices(squares.shape[:2])
    struck = gap.repeat(side, axis=0).repeat(side, axis=1)
    squares[struck & (down % side == across % side)] = _GAP
    squares[(down % side == side - 1) | (across % side == side - 1)] = _LINE
    return Image.fromarray(np.pad(squares, ((1, 0), (1, 0), (0, 0)), constant_values=_LINE[0]))
