"""A frame drawn straight: so many pixels a cell, whatever the pose and the lens."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from harness.survey.seen import Outline
from harness.survey.shift import Picture32


def straight_map(
    outline: Outline, shape: tuple[int, ...], side: int
) -> tuple[Picture32, Picture32]:
    """x and y in the frame of each pixel of the straight picture of (rows, columns) cells.

    Exact at the corners of cells; between them straight lines are near enough.
    """
    import cv2  # of the extra `camera`

    rows, columns = shape
    corner = np.stack(np.meshgrid(np.arange(columns + 1) - 0.5, np.arange(rows + 1) - 0.5), axis=-1)
    at = outline.pixels(corner).astype(np.float32)
    fine = (np.arange(side, dtype=np.float32) + 0.5) / side
    xs = (np.arange(columns, dtype=np.float32)[:, None] + fine).ravel()
    ys = (np.arange(rows, dtype=np.float32)[:, None] + fine).ravel()
    grid_x, grid_y = np.meshgrid(xs, ys)
    x, y = (
        cv2.remap(np.ascontiguousarray(at[..., axis]), grid_x, grid_y, cv2.INTER_LINEAR)
        for axis in (0, 1)
    )
    return np.asarray(x), np.asarray(y)


def straightened(
    image: NDArray[np.float32], outline: Outline, shape: tuple[int, ...], side: int
) -> Picture32:
    """The picture of (rows, columns) cells of an image (h, w), 0 outside of it."""
    import cv2  # of the extra `camera`

    x, y = straight_map(outline, shape, side)
    return np.asarray(cv2.remap(image, x, y, cv2.INTER_LINEAR))


def by_cell(straight: NDArray[np.floating], side: int) -> NDArray[np.floating]:
    """(rows, columns, side, side) the pixels of each cell of a straight picture."""
    rows, columns = straight.shape[0] // side, straight.shape[1] // side
    return straight.reshape(rows, side, columns, side).transpose(0, 2, 1, 3)


def middles(straight: NDArray[np.floating], side: int) -> Floats:
    """(rows, columns) mean of the middle of each cell of a straight picture."""
    edge = round(side / 4)
    middle = by_cell(straight, side)[..., edge : side - edge, edge : side - edge]
    return np.asarray(middle.mean(axis=(2, 3)), dtype=np.float64)
