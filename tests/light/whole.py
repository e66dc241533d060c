"""The blocks of an operator's picture, put together."""

from __future__ import annotations

import numpy as np

from emulator.light.operator import Operator


def whole(operator: Operator, cells: np.ndarray) -> np.ndarray:
    """(height, width, 3) light of cells (rows, columns, 3); NaN where no block came."""
    picture = np.full((operator.height, operator.width, 3), np.nan, np.float32)
    operator.blocks_of(
        cells.astype(np.float32), lambda rows, light, _: np.copyto(picture[rows], light)
    )
    return picture
